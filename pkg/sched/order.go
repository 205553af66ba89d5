package sched

// order fills the decoder's sequence with the activities that were taken out, and their wishes.
func (r *rebuilder) order() {
	d, p, rnd := r.d, r.p, &r.r
	var span int64 = 1
	for _, b := range r.taken {
		a := p.blocks[b].acts[0]
		switch r.rule {
		case ruleUrgent:
			r.key[b] = float64(r.keys.latest[a])
		case ruleDue:
			r.key[b] = float64(r.keys.due[a])
		case ruleEarly:
			r.key[b] = float64(p.es[a])
		default:
			r.key[b] = float64(d.s.pl[a].start)
		}
		span = max(span, d.s.pl[a].end-p.from)
	}
	noise := float64(span) * 0.3 * rnd.unit() * rnd.unit()
	switch r.rule {
	case ruleMixed:
		noise = float64(span)
	case ruleSeed:
		noise = 0
	}
	for _, b := range r.taken {
		r.key[b] += noise * rnd.unit()
		if r.rule == ruleSeed && b == p.blockOf[r.seed] {
			r.key[b] = -float64(Forever)
		}
		r.key[b] = r.keys.press(b, r.key[b])
	}
	r.list()
	for i := 0; i < len(d.seq); {
		b := p.blockOf[d.seq[i]]
		n := len(p.blocks[b].acts)
		r.wishes(b, i)
		i += n
	}
}

// list puts the blocks that are taken out into the sequence: what others need first, then small keys first. There are
// few of them, so that looking through all for each place is quick.
func (r *rebuilder) list() {
	d, p := r.d, r.p
	d.seq = d.seq[:0]
	for range r.taken {
		best := int32(-1)
	next:
		for _, b := range r.taken {
			if r.done[b] || best >= 0 && (r.key[b] > r.key[best] || r.key[b] == r.key[best] && b > best) {
				continue
			}
			for _, q := range p.blocks[b].preds {
				if r.out[q] && !r.done[q] {
					continue next
				}
			}
			best = b
		}
		r.done[best] = true
		d.seq = append(d.seq, p.blocks[best].acts...)
	}
	for _, b := range r.taken {
		r.done[b] = false
	}
}

// wishes says for the activities of block b, which stand from i on in the sequence, in which modes and from when on they
// are to be placed.
func (r *rebuilder) wishes(b int32, i int) {
	d, p, rnd := r.d, r.p, &r.r
	seed := r.seed >= 0 && b == p.blockOf[r.seed]
	own := r.style == styleOwn && rnd.n(4) > 0 || r.style == styleStay && !seed && rnd.n(2) == 0
	calm := r.style == styleCalm && rnd.n(6) > 0 && !(seed && rnd.n(2) == 0) // what is late has to leave its place
	published := calm && rnd.n(4) > 0
	from := r.near(b)
	for k, a := range p.blocks[b].acts {
		x := &d.s.pl[a]
		d.pos[a], d.s.lb[a], d.mode[a] = int32(i+k), max(-2*Forever, x.start-from), -1
		switch {
		case r.style == styleStay && !seed:
			d.s.lb[a] = x.start
		case calm:
			if pr := p.in.Activities[a].Previous; pr != nil {
				d.s.lb[a] = pr.Start
				if published && p.acts[a].prevMode >= 0 {
					d.mode[a] = p.acts[a].prevMode
				}
			}
		case r.style == styleLater && rnd.n(3) == 0:
			d.s.lb[a] = r.later(a)
		}
		free := len(p.acts[a].links) == 0
		switch {
		case own && (!free || rnd.n(3) > 0):
			d.mode[a] = x.mode
		case !calm && free && len(p.acts[a].modes) > 1 && rnd.n(12) == 0:
			d.mode[a] = int32(rnd.n(len(p.acts[a].modes)))
		}
	}
}

// near is how far before its present place a block may go. Looking for room everywhere since the release costs the more
// the later things are, and little is found far away, so that is done now and then only, in long plans seldom.
func (r *rebuilder) near(b int32) int64 {
	if r.r.n(max(4, len(r.p.acts)/500)) == 0 {
		return 2 * Forever
	}
	first, last := int64(Forever), int64(noPath)
	for _, a := range r.p.blocks[b].acts {
		x := &r.d.s.pl[a]
		first, last = min(first, x.start), max(last, x.end)
	}
	return (last - first + 1) << r.r.n(4) / 2
}

// later is a moment from which on the activity may be cheaper: when overtime is over, or a little after its start.
func (r *rebuilder) later(a int32) int64 {
	x := &r.d.s.pl[a]
	m := &r.p.acts[a].modes[x.mode]
	if cal := m.cal[0]; cal != nil && len(cal.over) > 0 && r.r.n(2) == 0 {
		return min(cal.afterOvertime(x.start), r.p.ls[a])
	}
	return min(x.start+int64(r.r.next()%uint64(x.end-x.start+1)), r.p.ls[a])
}
