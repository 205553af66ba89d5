package explode

import (
	"slices"
	"strings"
)

// cycles reports every group of nodes that need each other, and every loop through by-products
// that would take no time. Each is named by one way round.
func (c *checker) cycles() {
	p := c.p
	uses := make([][]int, len(p.Nodes)) // node -> what must be planned after it
	flow := make([][]int, len(p.Nodes)) // node -> what it becomes on the same day
	for i := range p.Nodes {
		n := &p.Nodes[i]
		sameDay := p.leadDays(n) == 0
		for _, in := range n.Inputs {
			uses[i] = append(uses[i], in.Node)
			if sameDay {
				flow[in.Node] = append(flow[in.Node], i)
			}
		}
		for _, by := range n.ByProducts {
			uses[i] = append(uses[i], by.Node)
			if sameDay {
				for _, in := range n.Inputs {
					flow[in.Node] = append(flow[in.Node], by.Node)
				}
			}
		}
	}
	found := loops(uses)
	for _, loop := range found {
		c.add("nodes", "need each other in a circle: %s; take one of these links out", c.names(loop))
	}
	if len(found) > 0 {
		return // a loop of needs is a loop of flow too; once is enough
	}
	for _, loop := range loops(flow) {
		c.add("nodes", "feed each other through by-products on the same day: %s; give one of them a lead of a day",
			c.names(loop))
	}
}

func (c *checker) names(loop []int) string {
	var b strings.Builder
	for _, n := range loop {
		b.WriteString(c.p.Nodes[n].ID)
		b.WriteString(" -> ")
	}
	b.WriteString(c.p.Nodes[loop[0]].ID)
	return b.String()
}

// loops returns one shortest loop through the first node of every strongly connected component that has
// one. Components are found by Tarjan, "Depth-first search and linear graph
// algorithms", SIAM J. Comput. 1 (1972), run on an explicit stack.
func loops(edges [][]int) [][]int {
	n := len(edges)
	index, low, comp := make([]int, n), make([]int, n), make([]int, n)
	for i := range comp {
		comp[i] = -1
	}
	var out [][]int
	var stack []int
	type frame struct{ v, edge int }
	next := 1
	for root := range n {
		if index[root] != 0 {
			continue
		}
		frames := []frame{{v: root}}
		for len(frames) > 0 {
			f := &frames[len(frames)-1]
			if f.edge == 0 && index[f.v] == 0 {
				index[f.v], low[f.v] = next, next
				next++
				stack = append(stack, f.v)
			}
			if f.edge < len(edges[f.v]) {
				w := edges[f.v][f.edge]
				f.edge++
				if index[w] == 0 {
					frames = append(frames, frame{v: w})
				} else if comp[w] < 0 {
					low[f.v] = min(low[f.v], index[w])
				}
				continue
			}
			v := f.v
			frames = frames[:len(frames)-1]
			if len(frames) > 0 {
				up := frames[len(frames)-1].v
				low[up] = min(low[up], low[v])
			}
			if low[v] != index[v] {
				continue
			}
			first := v
			for {
				w := stack[len(stack)-1]
				stack = stack[:len(stack)-1]
				comp[w] = v
				first = min(first, w)
				if w == v {
					break
				}
			}
			if loop := wayRound(edges, comp, first); loop != nil {
				out = append(out, loop)
			}
		}
	}
	slices.SortFunc(out, slices.Compare)
	return out
}

// wayRound returns the shortest way from start back to itself inside its component, or nil.
func wayRound(edges [][]int, comp []int, start int) []int {
	from := map[int]int{}
	queue := []int{start}
	for len(queue) > 0 {
		v := queue[0]
		queue = queue[1:]
		for _, w := range edges[v] {
			if comp[w] != comp[start] {
				continue
			}
			if w == start {
				loop := []int{v}
				for v != start {
					v = from[v]
					loop = append(loop, v)
				}
				slices.Reverse(loop)
				return loop
			}
			if _, ok := from[w]; !ok {
				from[w] = v
				queue = append(queue, w)
			}
		}
	}
	return nil
}
