package explode

// csr holds, for each of a number of rows, a list of small integers in one array
// (compressed sparse rows).
type csr struct {
	start []int32 // len rows+1
	items []int32
}

func (c *csr) row(i int) []int32 {
	if len(c.start) == 0 {
		return nil
	}
	return c.items[c.start[i]:c.start[i+1]]
}

// group builds a csr with item i in row rowOf(i), in order of i; a negative row drops the item.
func group(rows, items int, rowOf func(i int) int) csr {
	c := csr{start: make([]int32, rows+1)}
	for i := range items {
		if r := rowOf(i); r >= 0 {
			c.start[r+1]++
		}
	}
	for r := range rows {
		c.start[r+1] += c.start[r]
	}
	c.items = make([]int32, c.start[rows])
	fill := make([]int32, rows)
	copy(fill, c.start[:rows])
	for i := range items {
		if r := rowOf(i); r >= 0 {
			c.items[fill[r]] = int32(i)
			fill[r]++
		}
	}
	return c
}
