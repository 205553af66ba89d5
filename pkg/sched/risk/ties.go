package risk

import (
	"container/heap"
	"fmt"
	"strings"

	"rondeau.internal/pkg/sched"
)

// addTies adds lags, holds and stores.
func (b *compiler) addTies() {
	acts := b.program.acts
	for i, l := range b.in.Lags {
		u, v := b.acts[l.From], b.acts[l.To]
		if acts[u].fact && acts[v].fact {
			continue
		}
		w := watch{index: i, from: 2*u + 1, to: 2 * v, most: l.Max, hasMost: l.HasMax, least: l.Min}
		if l.FromEdge == sched.EdgeStart {
			w.from = 2 * u
		}
		if l.ToEdge == sched.EdgeEnd {
			w.to = 2*v + 1
		}
		switch {
		case l.Min <= -sched.Forever:
		case acts[v].fact || acts[v].start < acts[u].start:
			w.hasLest = true
		case l.ToEdge == sched.EdgeEnd:
			b.need(b.endOf[v], arc{slot: w.from, toEnd: true, add: l.Min})
		default:
			b.need(b.startOf[v], arc{slot: w.from, add: l.Min})
		}
		if l.HasMax && l.FromEdge != sched.EdgeStart && l.ToEdge != sched.EdgeEnd && !acts[v].fact && acts[u].start <= acts[v].start {
			acts[u].ties = append(acts[u].ties, tie{to: v, least: max(l.Min, -sched.Forever), most: l.Max})
			acts[v].tiedTo = append(acts[v].tiedTo, tie{to: u, most: l.Max})
		}
		if w.hasMost || w.hasLest {
			b.watched = append(b.watched, w)
		}
	}
	follows := func(first, second int32) {
		if !acts[second].fact {
			b.need(b.startOf[second], arc{slot: 2*first + 1})
		}
	}
	for _, h := range b.in.Holds {
		follows(b.acts[h.Activity], b.acts[h.Until])
	}
	for _, s := range b.in.Stores {
		x := store{res: b.res[s.Resource], producer: b.acts[s.Producer], consumer: -1, amount: s.Amount, until: s.Until}
		if s.Until == 0 {
			x.until = b.in.Horizon.End
		}
		if s.Consumer != "" {
			x.consumer = b.acts[s.Consumer]
			follows(x.producer, x.consumer)
		}
		if x.amount > 0 {
			b.stores = append(b.stores, x)
		}
	}
}

// ready is a heap of nodes in planned order.
type ready struct {
	b     *compiler
	nodes []int32
}

func (r *ready) Len() int { return len(r.nodes) }
func (r *ready) Less(i, j int) bool {
	x, y := &r.b.nodes[r.nodes[i]], &r.b.nodes[r.nodes[j]]
	if x.kind == nodeFact != (y.kind == nodeFact) {
		return x.kind == nodeFact
	}
	if x.key != y.key {
		return x.key < y.key
	}
	if x.kind != y.kind {
		return x.kind < y.kind
	}
	// Names, not positions, so that the result does not depend on how the instance lists things.
	if a, b := r.b.program.acts[x.act].name, r.b.program.acts[y.act].name; a != b {
		return a < b
	}
	return r.nodes[i] < r.nodes[j]
}
func (r *ready) Swap(i, j int) { r.nodes[i], r.nodes[j] = r.nodes[j], r.nodes[i] }
func (r *ready) Push(x any)    { r.nodes = append(r.nodes, x.(int32)) }
func (r *ready) Pop() any {
	x := r.nodes[len(r.nodes)-1]
	r.nodes = r.nodes[:len(r.nodes)-1]
	return x
}

// sort brings the nodes into an order in which everything is known when it is needed, the planned order as far as that
// goes.
func (b *compiler) sort() error {
	n := len(b.nodes)
	next := make([][]int32, n)
	missing := make([]int, n)
	for v := range b.into {
		for _, r := range b.into[v] {
			if u := b.nodeOf[r.slot]; int(u) != v {
				next[u] = append(next[u], int32(v))
				missing[v]++
			}
		}
	}
	h := &ready{b: b}
	for v := range missing {
		if missing[v] == 0 {
			heap.Push(h, int32(v))
		}
	}
	sorted := make([]node, 0, n)
	place := make([]int32, n)
	for h.Len() > 0 {
		u := heap.Pop(h).(int32)
		x := b.nodes[u]
		x.lo = int32(len(b.arcs))
		b.arcs = append(b.arcs, b.into[u]...)
		x.hi = int32(len(b.arcs))
		place[u] = int32(len(sorted))
		sorted = append(sorted, x)
		for _, v := range next[u] {
			if missing[v]--; missing[v] == 0 {
				heap.Push(h, v)
			}
		}
	}
	if len(sorted) < n {
		return Faults{b.circle(missing)}
	}
	b.nodes = sorted
	for _, u := range b.nodeOf {
		b.nodeAt = append(b.nodeAt, place[u])
	}
	b.uses = make([][]int32, len(b.base))
	for i := range b.nodes {
		x := &b.nodes[i]
		dems := b.program.acts[x.act].dems
		if x.kind == nodeClean {
			dems = b.cleans[x.clean].needs
		}
		for _, d := range dems {
			if x.kind == nodeEnd != d.ended && !(x.kind == nodeEnd && d.open) {
				continue
			}
			if u := b.uses[d.res]; len(u) == 0 || u[len(u)-1] != int32(i) {
				b.uses[d.res] = append(u, int32(i))
			}
		}
	}
	return nil
}

// circle names activities of the plan that wait for each other.
func (b *compiler) circle(missing []int) string {
	v := 0
	for missing[v] == 0 {
		v++
	}
	seen := map[int]int{}
	var path []int
	for {
		if at, found := seen[v]; found {
			path = path[at:]
			break
		}
		seen[v] = len(path)
		path = append(path, v)
		for _, r := range b.into[v] {
			if u := int(b.nodeOf[r.slot]); u != v && missing[u] > 0 {
				v = u
				break
			}
		}
	}
	var names []string
	for _, v := range path {
		if name := b.program.acts[b.nodes[v].act].name; len(names) == 0 || names[len(names)-1] != name {
			names = append(names, name)
		}
	}
	return fmt.Sprintf("in the order of the plan these activities wait for each other: %s; check the plan, or move one of them apart from the others", strings.Join(names, ", "))
}
