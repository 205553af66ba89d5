package risk

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
)

// draws knows the uncertain durations and draws them in rounds.
type draws struct {
	seed    uint64
	latin   bool
	columns []column
	causes  []cause
	base    []int64 // planned durations, 3 per activity
	spent   []int64 // per started activity, what has passed at the start of the horizon; else 0

	rows    int
	values  []int64     // rows of one value per column
	factors [][]float64 // per cause, the factor of each row
	scores  [][]float64 // per cause, the standard normal score or the factor of each row
	unit    []float64
	scale   []float64
	perm    []int32
	pcg     rand.PCG
}

// column is one uncertain duration.
type column struct {
	act    int32
	phase  int
	spread *Phase
	causes []int32
	power  float64 // exponent of causes of vessels
	name   string
}

// causeKind says what a cause is.
type causeKind uint8

const (
	causeVessel causeKind = iota
	causeOrder
	causeYield
)

// cause is a factor shared by several columns.
type cause struct {
	kind  causeKind
	name  string
	sigma float64
	yield *Factor
}

func (c *cause) draw(u float64) float64 {
	if c.yield != nil {
		return c.yield.at(u)
	}
	return math.Exp(c.sigma * normalQuantile(u))
}

// newDraws compiles the spreads of a case; all faults at once.
func newDraws(c *Case, p *program, o *Options) (*draws, error) {
	d := &draws{seed: o.Seed, latin: o.Sampling == SamplingLatin, base: make([]int64, 3*len(p.acts)), spent: make([]int64, len(p.acts))}
	for i := range p.acts {
		a := &p.acts[i]
		copy(d.base[3*i:], a.d[:])
		if a.fact {
			// All of a started activity is its middle here; what has passed is certain.
			d.spent[i] = max(0, min(a.end, p.from)-a.start)
			d.base[3*i], d.base[3*i+1], d.base[3*i+2] = 0, a.end-a.start-d.spent[i], 0
		}
	}
	spreads, faults := matchSpreads(c, p, d.base)
	vessels, f := d.commons(c.Vessels, causeVessel, "vessel", func(name string) bool {
		return slices.ContainsFunc(p.vessels, func(v vessel) bool { return v.name == name })
	})
	faults = append(faults, f...)
	orders, f := d.commons(c.Orders, causeOrder, "order", func(name string) bool {
		return slices.ContainsFunc(p.orders, func(v order) bool { return v.name == name })
	})
	if faults = append(faults, f...); len(faults) > 0 {
		return nil, faults
	}
	yields := d.yields(p, spreads)
	for i := range p.acts {
		d.addColumns(p, int32(i), &spreads[i], vessels, orders, yields[i])
		p.acts[i].sure = p.acts[i].fact && !slices.ContainsFunc(d.columns, func(x column) bool { return x.act == int32(i) })
	}
	return d, nil
}

// matchSpreads finds the spread of each activity.
func matchSpreads(c *Case, p *program, base []int64) ([]Spread, Faults) {
	var faults Faults
	acts := indexOf(p.acts, func(a *act) string { return a.name })
	out := make([]Spread, len(p.acts))
	for i := range c.Spreads {
		s := &c.Spreads[i]
		k, known := acts[s.Activity]
		if !known {
			faults = append(faults, fmt.Sprintf("a spread is given for activity %q, which the instance does not have", s.Activity))
			continue
		}
		if out[k].Activity != "" {
			faults = append(faults, fmt.Sprintf("activity %q has two spreads", s.Activity))
			continue
		}
		out[k] = *s
		if p.acts[k].fact {
			out[k].Start, out[k].End = Phase{}, Phase{}
			if base[3*k+1] == 0 {
				out[k].Middle = Phase{} // it is over
			}
		}
		for n, ph := range []*Phase{&out[k].Start, &out[k].Middle, &out[k].End} {
			if err := ph.check(base[3*int(k)+n]); err != nil {
				faults = append(faults, fmt.Sprintf("activity %q, spread of its %s: %v", s.Activity, [3]string{"start", "middle", "end"}[n], err))
			}
		}
		if !(s.VesselPower >= 0 && s.VesselPower <= mostPower) {
			faults = append(faults, fmt.Sprintf("activity %q: the exponent %v of its vessel's common cause must lie between 0 and %v", s.Activity, s.VesselPower, mostPower))
		}
		if err := s.Yield.check(); err != nil {
			faults = append(faults, fmt.Sprintf("activity %q, its yield: %v", s.Activity, err))
		}
	}
	return out, faults
}

// commons compiles common causes of one kind and returns their indices by name.
func (d *draws) commons(list []Common, kind causeKind, word string, known func(string) bool) (map[string]int32, Faults) {
	var faults Faults
	out := map[string]int32{}
	for _, x := range list {
		_, twice := out[x.Name]
		switch {
		case !known(x.Name):
			faults = append(faults, fmt.Sprintf("a common cause is given for %s %q, which the instance does not have", word, x.Name))
		case twice:
			faults = append(faults, fmt.Sprintf("%s %q has two common causes", word, x.Name))
		case !(x.Sigma >= 0 && x.Sigma <= mostSigma):
			faults = append(faults, fmt.Sprintf("%s %q: the sigma %v of its common cause must lie between 0 and %v", word, x.Name, x.Sigma, mostSigma))
		case x.Sigma > 0:
			out[x.Name] = int32(len(d.causes))
			d.causes = append(d.causes, cause{kind: kind, name: x.Name, sigma: x.Sigma})
		default:
			out[x.Name] = -1
		}
	}
	return out, faults
}

// yields returns for each activity the yields of earlier steps of its order that multiply its durations.
func (d *draws) yields(p *program, spreads []Spread) [][]int32 {
	out := make([][]int32, len(p.acts))
	next := make([][]int32, len(p.acts))
	link := func(u, v int32) {
		if p.acts[u].order >= 0 && p.acts[u].order == p.acts[v].order && p.acts[v].start >= p.acts[u].start {
			next[u] = append(next[u], v)
		}
	}
	acts := indexOf(p.acts, func(a *act) string { return a.name })
	for _, l := range p.in.Lags {
		link(acts[l.From], acts[l.To])
	}
	for _, h := range p.in.Holds {
		link(acts[h.Activity], acts[h.Until])
	}
	for _, s := range p.in.Stores {
		if s.Consumer != "" {
			link(acts[s.Producer], acts[s.Consumer])
		}
	}
	for i := range spreads {
		if spreads[i].Yield.certain() {
			continue
		}
		k := int32(len(d.causes))
		d.causes = append(d.causes, cause{kind: causeYield, name: p.acts[i].name, yield: &spreads[i].Yield})
		seen := map[int32]bool{int32(i): true}
		for todo := []int32{int32(i)}; len(todo) > 0; {
			u := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, v := range next[u] {
				if !seen[v] {
					seen[v] = true
					out[v] = append(out[v], k)
					todo = append(todo, v)
				}
			}
		}
	}
	return out
}

func (d *draws) addColumns(p *program, i int32, s *Spread, vessels, orders map[string]int32, yields []int32) {
	a := &p.acts[i]
	var shared []int32
	if !s.IgnoreVessel {
		for _, v := range a.vessels {
			if k, found := vessels[p.vessels[v].name]; found && k >= 0 {
				shared = append(shared, k)
			}
		}
	}
	if !s.IgnoreOrder && a.order >= 0 {
		if k, found := orders[p.orders[a.order].name]; found && k >= 0 {
			shared = append(shared, k)
		}
	}
	power := s.VesselPower
	if power == 0 {
		power = 1
	}
	common := 1
	if d.base[3*i+1] == 0 {
		common = 0
	}
	for n, ph := range []*Phase{&s.Start, &s.Middle, &s.End} {
		if d.base[3*int(i)+n] == 0 {
			continue
		}
		causes := slices.Clone(yields)
		if n == common {
			causes = append(causes, shared...)
		}
		if ph.certain() && len(causes) == 0 {
			continue
		}
		d.columns = append(d.columns, column{act: i, phase: n, spread: ph, causes: causes, power: power, name: fmt.Sprintf("%s\x00%d", a.name, n)})
	}
}

// round draws the realisations of one round.
func (d *draws) round(number, rows int) {
	d.rows = rows
	if len(d.unit) < rows {
		d.unit, d.scale, d.perm = make([]float64, rows), make([]float64, rows), make([]int32, rows)
		d.values = make([]int64, rows*len(d.columns))
		d.factors, d.scores = make([][]float64, len(d.causes)), make([][]float64, len(d.causes))
		for k := range d.causes {
			d.factors[k], d.scores[k] = make([]float64, rows), make([]float64, rows)
		}
	}
	for k := range d.causes {
		c := &d.causes[k]
		d.uniforms(fmt.Sprintf("%d\x00%s", c.kind, c.name), number)
		for i := range rows {
			d.factors[k][i] = c.draw(d.unit[i])
			d.scores[k][i] = math.Log(d.factors[k][i])
		}
	}
	for k := range d.columns {
		d.column(k, number)
	}
}

// column draws one uncertain duration for all rows.
func (d *draws) column(k, number int) {
	c := &d.columns[k]
	planned := float64(d.base[3*int(c.act)+c.phase])
	if c.spread.Factor.certain() {
		for i := range d.rows {
			d.scale[i] = planned
		}
	} else {
		d.uniforms(c.name, number)
		for i := range d.rows {
			d.scale[i] = planned * c.spread.Factor.at(d.unit[i])
		}
	}
	for _, x := range c.causes {
		if c.power != 1 && d.causes[x].kind == causeVessel {
			for i, score := range d.scores[x][:d.rows] { // the logarithm of the factor
				d.scale[i] *= math.Exp(c.power * score)
			}
			continue
		}
		for i, f := range d.factors[x][:d.rows] {
			d.scale[i] *= f
		}
	}
	for i := range d.rows {
		d.values[i*len(d.columns)+k] = max(1, int64(math.Round(min(d.scale[i], float64(longest)))))
	}
	for n, e := range c.spread.Extras {
		if e.Probability == 0 || e.Add == 0 {
			continue
		}
		d.uniforms(fmt.Sprintf("%s\x00%d", c.name, n), number)
		for i := range d.rows {
			if d.unit[i] < e.Probability {
				d.values[i*len(d.columns)+k] += e.Add
			}
		}
	}
}

// uniforms fills unit with numbers in (0, 1) that depend on seed, name and round alone.
func (d *draws) uniforms(name string, number int) {
	h := fnv.New64a()
	h.Write([]byte(name))
	d.pcg.Seed(d.seed^uint64(number)*0x9e3779b97f4a7c15, h.Sum64())
	n := uint64(d.rows)
	if !d.latin {
		for i := range d.rows {
			d.unit[i] = d.open()
		}
		return
	}
	for i := range d.rows {
		d.perm[i] = int32(i)
	}
	for i := n - 1; i > 0; i-- {
		j := d.pcg.Uint64() % (i + 1)
		d.perm[i], d.perm[j] = d.perm[j], d.perm[i]
	}
	for i := range d.rows {
		d.unit[i] = min(1-0x1p-53, (float64(d.perm[i])+d.open())/float64(n))
	}
}

// open is a number in (0, 1), never 0 nor 1.
func (d *draws) open() float64 { return (float64(d.pcg.Uint64()>>12) + 0.5) / (1 << 52) }

// load writes the durations of row i into durations, 3 per activity.
func (d *draws) load(i int, durations []int64) {
	copy(durations, d.base)
	for k, v := range d.values[i*len(d.columns) : (i+1)*len(d.columns)] {
		durations[3*int(d.columns[k].act)+d.columns[k].phase] = v
	}
}
