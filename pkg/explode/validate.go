package explode

import (
	"fmt"
	"math"
	"strings"
)

const (
	maxDays     = 3660 // ten years
	maxYield    = 100
	maxQuantity = 1e15 // above this a float64 no longer resolves a gram of a kilogram
)

type checker struct {
	p      *Problem
	faults []Fault
}

func (c *checker) add(path, format string, args ...any) {
	c.faults = append(c.faults, Fault{Path: path, Message: fmt.Sprintf(format, args...)})
}

// number reports a value that is not finite or not in [lo, hi]; positive asks for more than lo.
func (c *checker) number(path string, v, lo, hi float64, positive bool) bool {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		c.add(path, "is %v; give a finite number", v)
	case positive && v <= lo:
		c.add(path, "is %g; give a number above %g", v, lo)
	case v < lo:
		c.add(path, "is %g; give at least %g", v, lo)
	case v > hi:
		c.add(path, "is %g; give at most %g", v, hi)
	default:
		return true
	}
	return false
}

// Check returns nil when the problem can be solved, otherwise a *ProblemError
// with every fault found.
func (p *Problem) Check() error {
	c := &checker{p: p}
	if p.Days < 1 || p.Days > maxDays {
		c.add("days", "is %d; give 1 to %d", p.Days, maxDays)
	}
	if p.StartWeekday < 0 || p.StartWeekday > 6 {
		c.add("start_weekday", "is %d; give 0 (Sunday) to 6 (Saturday)", p.StartWeekday)
	}
	c.number("same_day_hours", p.SameDayHours, 0, 24, false)
	ids := make(map[string]int, len(p.Nodes))
	linksSound := true
	for i := range p.Nodes {
		id := p.Nodes[i].ID
		path := c.path(i)
		if strings.TrimSpace(id) == "" {
			c.add(path+".id", "is empty; give each item a name")
		} else if first, ok := ids[id]; ok {
			c.add(path+".id", "%q is already the name of nodes[%d]; names must differ", id, first)
		} else {
			ids[id] = i
		}
		linksSound = c.node(i, path) && linksSound
	}
	c.demands()
	c.supplies()
	if linksSound {
		c.cycles()
	}
	if len(c.faults) == 0 {
		return nil
	}
	return &ProblemError{Faults: c.faults}
}

func (c *checker) path(node int) string {
	return fmt.Sprintf("nodes[%d] (%s)", node, c.p.Nodes[node].ID)
}

// node checks one node and reports whether its links point to existing nodes.
func (c *checker) node(i int, path string) bool {
	n := &c.p.Nodes[i]
	cooked := n.Kind == Made || n.Kind == Pack
	if n.Kind > Recovered {
		c.add(path+".kind", "is %d; give purchased, made, pack or recovered", n.Kind)
	}
	if cooked && len(n.Inputs) == 0 {
		c.add(path+".inputs", "is empty; a %s item needs at least one input", n.Kind)
	}
	if !cooked && len(n.Inputs)+len(n.ByProducts) > 0 {
		c.add(path, "is %s and has inputs or by-products; only made and pack items have them", n.Kind)
	}
	sound := true
	seen := make(map[int]bool, len(n.Inputs))
	for k, in := range n.Inputs {
		at := fmt.Sprintf("%s.inputs[%d]", path, k)
		sound = c.link(at, in.Node, in.PerOne, seen) && sound
	}
	seen = make(map[int]bool, len(n.ByProducts))
	for k, by := range n.ByProducts {
		at := fmt.Sprintf("%s.by_products[%d]", path, k)
		ok := c.link(at, by.Node, by.PerOne, seen)
		sound = ok && sound
	}
	c.yield(n, path, cooked)
	if n.LeadDays < 0 || n.LeadDays > maxDays {
		c.add(path+".lead_days", "is %d; give 0 to %d", n.LeadDays, maxDays)
	}
	c.number(path+".lead_hours", n.LeadHours, 0, 24*maxDays, false)
	if n.ShelfLife < 0 || n.ShelfLife > maxQuantity {
		c.add(path+".shelf_life", "is %d; give days from 1, or 0 when it keeps", n.ShelfLife)
	}
	c.number(path+".safety", n.Safety, 0, maxQuantity, false)
	for d, v := range n.Pars {
		c.number(fmt.Sprintf("%s.pars[%d]", path, d), v, 0, maxQuantity, false)
	}
	c.sizing(n, path+".sizing")
	c.delivery(n, path+".delivery")
	return sound
}

func (c *checker) link(path string, node int, perOne float64, seen map[int]bool) bool {
	c.number(path+".per_one", perOne, 0, maxQuantity, true)
	if node < 0 || node >= len(c.p.Nodes) {
		c.add(path+".node", "is %d; there are %d nodes, 0 to %d", node, len(c.p.Nodes), len(c.p.Nodes)-1)
		return false
	}
	if seen[node] {
		c.add(path+".node", "names %s a second time; add the quantities up in one line", c.p.Nodes[node].ID)
	}
	seen[node] = true
	return true
}

func (c *checker) yield(n *Node, path string, cooked bool) {
	y := n.Yield
	if !cooked {
		if y != (Yield{}) {
			c.add(path+".yield", "is set on a %s item; only made and pack items have a yield", n.Kind)
		}
		return
	}
	mean := c.number(path+".yield.mean", y.Mean, 0, maxYield, false)
	if mean {
		c.number(path+".yield.sd", y.SD, 0, y.Expected(), false)
	}
	if math.IsNaN(y.Service) || y.Service < 0 || y.Service >= 1 {
		c.add(path+".yield.service", "is %g; give a probability between 0 and 1, or 0 for 0.5", y.Service)
	} else if y.Distribution > Lognormal {
		c.add(path+".yield.distribution", "is %d; give truncated normal or lognormal", y.Distribution)
	} else if mean && y.SD >= 0 && y.SD <= y.Expected() {
		if f := y.Planned(); !(f >= 1e-6) {
			c.add(path+".yield", "plans with a fraction of %g at a service level of %g, from which "+
				"nothing can be made; lower the service level or the deviation", f, y.Service)
		}
	}
}

func (c *checker) sizing(n *Node, path string) {
	s := &n.Sizing
	c.number(path+".minimum", s.Minimum, 0, maxQuantity, false)
	c.number(path+".multiple", s.Multiple, 0, maxQuantity, false)
	c.number(path+".fixed", s.Fixed, 0, maxQuantity, false)
	if s.Period < 0 {
		c.add(path+".period", "is %d; give days from 1, or 0 for day by day", s.Period)
	}
	if n.Kind == Purchased && (len(s.Vessels) > 0 || s.Fixed > 0) {
		c.add(path, "has vessels or a fixed size; a purchased item has a multiple (its case size) and a minimum")
	}
	if s.Fixed > 0 && (s.Minimum > 0 || s.Multiple > 0) {
		c.add(path+".fixed", "is given together with a minimum or a multiple; give only one of them")
	}
	fits := len(s.Vessels) == 0
	bad := false
	for k, v := range s.Vessels {
		at := fmt.Sprintf("%s.vessels[%d] (%s)", path, k, v.ID)
		ok := c.number(at+".min_fill", v.MinFill, 0, maxQuantity, false)
		ok = c.number(at+".max_fill", v.MaxFill, 0, maxQuantity, true) && ok
		if ok && v.MinFill > v.MaxFill {
			c.add(at+".min_fill", "is %g, above max_fill %g; swap or correct them", v.MinFill, v.MaxFill)
			ok = false
		}
		bad = bad || !ok
		if ok {
			_, _, usable := s.bounds(v)
			fits = fits || usable
		}
	}
	if !fits && !bad {
		c.add(path+".vessels", "can hold no batch of the fixed size, minimum (%g) and multiple (%g) given",
			max(s.Minimum, s.Fixed), s.Multiple)
	}
}

func (c *checker) delivery(n *Node, path string) {
	d := &n.Delivery
	if d.Weekdays >= 1<<7 {
		c.add(path+".weekdays", "is %#x; only bits 0 (Sunday) to 6 (Saturday) exist", uint8(d.Weekdays))
	}
	if n.Kind != Purchased && (d.Weekdays != 0 || len(d.Days)+len(d.Closed) > 0 || d.Never) {
		c.add(path, "is set on a %s item; only purchased items are delivered", n.Kind)
	}
	for k, day := range d.Days {
		c.day(fmt.Sprintf("%s.days[%d]", path, k), day)
	}
	for k, day := range d.Closed {
		c.day(fmt.Sprintf("%s.closed[%d]", path, k), day)
	}
}

func (c *checker) day(path string, day int) {
	if day < 0 || day >= c.p.Days {
		c.add(path, "is day %d; the horizon has days 0 to %d", day, c.p.Days-1)
	}
}

func (c *checker) demands() {
	nodes, days := int32(len(c.p.Nodes)), int32(c.p.Days)
	for i := range c.p.Demands {
		d := &c.p.Demands[i]
		if d.Quantity > 0 && d.Quantity <= maxQuantity && d.Node >= 0 && d.Node < nodes &&
			d.Day >= 0 && d.Day < days && d.Kind < demandKinds {
			continue
		}
		path := fmt.Sprintf("demands[%d] (%s)", i, d.ID)
		c.number(path+".quantity", d.Quantity, 0, maxQuantity, true)
		c.nodeIndex(path, int(d.Node))
		c.day(path+".day", int(d.Day))
		if d.Kind >= demandKinds {
			c.add(path+".kind", "is %d; give order, forecast or par", d.Kind)
		}
	}
}

func (c *checker) nodeIndex(path string, node int) {
	if node < 0 || node >= len(c.p.Nodes) {
		c.add(path+".node", "is %d; there are %d nodes, 0 to %d", node, len(c.p.Nodes), len(c.p.Nodes)-1)
	}
}

func (c *checker) supplies() {
	for i := range c.p.Supplies {
		s := &c.p.Supplies[i]
		path := fmt.Sprintf("supplies[%d] (%s)", i, s.ID)
		c.number(path+".quantity", s.Quantity, 0, maxQuantity, true)
		c.nodeIndex(path, s.Node)
		c.day(path+".day", s.Day)
		if s.Kind > Firm {
			c.add(path+".kind", "is %d; give on hand, expected or firm", s.Kind)
		}
		if s.Kind != OnHand && s.Expires && s.LastDay < s.Day {
			c.add(path+".last_day", "is %d, before it comes on day %d; correct one of them", s.LastDay, s.Day)
		}
	}
}
