package explode

import "math"

// never is the day of what does not come within any horizon.
const never = math.MaxInt32

// leadDays returns the lead of a node in whole days.
func (p *Problem) leadDays(n *Node) int {
	if n.LeadHours <= p.SameDayHours {
		return n.LeadDays
	}
	return n.LeadDays + int(math.Ceil(n.LeadHours/24))
}

// lastUsable returns the last day on which output available on a day can be used.
func (n *Node) lastUsable(day int32) int32 {
	if n.ShelfLife == 0 || n.ShelfLife > never-int(day) || day == never {
		return never
	}
	return day + int32(n.ShelfLife) - 1
}

// level returns what the node should hold at the end of a day.
func (n *Node) level(day int) float64 {
	if len(n.Pars) == 0 {
		return n.Safety
	}
	return max(n.Safety, n.Pars[min(day, len(n.Pars)-1)])
}

// truckDays returns for each day of the horizon whether the supplier comes.
func (p *Problem) truckDays(n *Node) []bool {
	days := make([]bool, p.Days)
	d := &n.Delivery
	if d.Never {
		return days
	}
	for day := range days {
		weekday := (p.StartWeekday + day) % 7
		everyDay := d.Weekdays == 0 && len(d.Days) == 0
		days[day] = everyDay || d.Weekdays&(1<<weekday) != 0
	}
	for _, day := range d.Days {
		days[day] = true
	}
	for _, day := range d.Closed {
		days[day] = false
	}
	return days
}

// source tells when new supply of a node can be there.
type calendar struct {
	node  *Node
	lead  int32
	days  int32
	truck []bool // purchased only
}

func (p *Problem) calendar(n *Node) calendar {
	c := calendar{node: n, lead: int32(p.leadDays(n)), days: int32(p.Days)}
	if n.Kind == Purchased {
		c.truck = p.truckDays(n)
	}
	return c
}

// availableFor returns the day on which new supply for a need of a day is best there: the
// last one not after it that still is fresh then, otherwise the first one after it, or never.
func (c *calendar) availableFor(day int32) int32 {
	switch c.node.Kind {
	case Recovered:
		return never
	case Purchased:
		if d, ok := c.truckBefore(day, c.lead); ok {
			return d
		}
		for d := max(day+1, c.lead); d < c.days; d++ {
			if c.truck[d] {
				return d
			}
		}
		return never
	}
	if d := max(day, c.lead); d < c.days {
		return d
	}
	return never
}

// truckBefore returns the last delivery from day first to the day, if it keeps until then.
func (c *calendar) truckBefore(day, first int32) (int32, bool) {
	for d := day; d >= first; d-- {
		if c.truck[d] {
			return d, c.node.lastUsable(d) >= day
		}
	}
	return 0, false
}

// lateness returns why new supply cannot be there on a day.
func (c *calendar) lateness(day int32) Cause {
	switch c.node.Kind {
	case Recovered:
		return NoSource
	case Purchased:
		if _, ok := c.truckBefore(day, 0); ok {
			return OrderTooLate
		}
		for d := day + 1; d < c.days; d++ {
			if c.truck[d] && d < c.lead {
				return OrderTooLate
			}
		}
		return NoDelivery
	}
	return LeadTime
}
