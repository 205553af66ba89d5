package sched

// crowd is a set of activities from which one can be drawn, with all operations at constant cost.
type crowd struct {
	list []int32
	at   []int32 // index in list, or -1
}

func newCrowd(n int) crowd {
	c := crowd{at: make([]int32, n)}
	for i := range c.at {
		c.at[i] = -1
	}
	return c
}

// set puts a into the crowd or takes it out.
func (c *crowd) set(a int32, in bool) {
	i := c.at[a]
	switch {
	case in && i < 0:
		c.at[a] = int32(len(c.list))
		c.list = append(c.list, a)
	case !in && i >= 0:
		last := c.list[len(c.list)-1]
		c.list[i], c.at[last], c.at[a] = last, i, -1
		c.list = c.list[:len(c.list)-1]
	}
}

// draw returns one of the crowd, or -1.
func (c *crowd) draw(r *rng) int32 {
	if len(c.list) == 0 {
		return -1
	}
	return c.list[r.n(len(c.list))]
}
