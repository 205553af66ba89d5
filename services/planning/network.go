package planning

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/explode"
)

// network is the items of a site as nodes of an explosion.
type network struct {
	f       *facts
	level   float64 // service level of the plan
	nodes   []explode.Node
	origins []origin // of each node
	index   map[string]int
	notes   []string
	missing []apierr.Violation // items that inventory does not know
	vessels []apierr.Violation // formulas and products that fit no vessel
}

// origin is what a node stands for.
type origin struct {
	item    string
	version *FormulaVersion // cooked
	product *Product        // packed
	unitKg  float64         // kilograms in one unit: 1, or the net mass of a pack
	lines   []int           // for each ingredient or the source item: index of the node's Inputs, or -1 for the mains
	par     *Par            // of the kitchen's own freezer
}

func (o *origin) steps() []Step {
	switch {
	case o.version != nil:
		return o.version.Steps
	case o.product != nil:
		return o.product.Steps
	}
	return nil
}

// owner names the formula version or product that the steps belong to.
func (o *origin) owner() string {
	switch {
	case o.version != nil:
		return o.version.Name
	case o.product != nil:
		return o.product.Name
	}
	return ""
}

// buildNetwork makes a node for every product and approved formula and for all that they use.
func buildNetwork(f *facts, level float64) (*network, error) {
	n := &network{f: f, level: level, index: map[string]int{}}
	for _, v := range f.versions {
		n.add(v.OutputItem, explode.Node{Kind: explode.Made}, origin{version: v, unitKg: 1}, v.Name)
	}
	for _, p := range f.products {
		if f.planned(p) {
			n.add(p.Item, explode.Node{Kind: explode.Pack}, origin{product: p, unitKg: p.NetMassKg}, p.Name)
		}
	}
	for i := range len(n.nodes) { // nodes added below are bought or recovered and need nothing
		switch o := n.origins[i]; {
		case o.version != nil:
			n.fillCooked(i, o.version)
		case o.product != nil:
			n.fillPacked(i, o.product)
		}
	}
	return n, n.err()
}

// planned says whether a product is part of the plan.
func (f *facts) planned(p *Product) bool { return p.Active || f.wanted(p.Name) }

// wanted says whether a product has an order or a par, so that it is planned although it is not active any more.
func (f *facts) wanted(product string) bool {
	for _, o := range f.orders {
		if slices.ContainsFunc(o.Lines, func(l OrderLine) bool { return l.Product == product }) {
			return true
		}
	}
	return slices.ContainsFunc(f.pars, func(p *Par) bool { return p.Product == product && p.Count > 0 })
}

func (n *network) add(item string, node explode.Node, o origin, usedBy string) int {
	node.ID, o.item = item, item
	if known := n.f.items[item]; known != nil {
		node.ShelfLife = shelfDays(known.ShelfLife)
	} else {
		n.missing = append(n.missing, apierr.Violation{Field: item, Description: "is used by " + usedBy + " and is not known to inventory: create it there"})
	}
	n.index[item] = len(n.nodes)
	n.nodes, n.origins = append(n.nodes, node), append(n.origins, o)
	return len(n.nodes) - 1
}

// shelfDays turns a shelf life into whole days of use; less than a day counts as the day itself.
func shelfDays(life time.Duration) int {
	if life <= 0 {
		return 0
	}
	return max(int(life/(24*time.Hour)), 1)
}

// use returns the node of an input, adding it when it is bought or only recovered; -1 for the mains.
func (n *network) use(item, usedBy string) int {
	if i, ok := n.index[item]; ok {
		return i
	}
	known := n.f.items[item]
	switch {
	case known != nil && known.Kind == ItemUtility:
		return -1
	case known != nil && known.Kind == ItemPurchased:
		return n.add(item, explode.Node{
			Kind: explode.Purchased, LeadDays: known.LeadDays,
			Sizing:   explode.Sizing{Multiple: known.CaseMassKg},
			Delivery: explode.Delivery{Weekdays: explode.Weekdays(known.DeliveryWeekdays)},
		}, origin{unitKg: 1}, usedBy)
	}
	return n.add(item, explode.Node{Kind: explode.Recovered}, origin{unitKg: n.unitKg(known)}, usedBy)
}

func (n *network) unitKg(item *Item) float64 {
	if item != nil && item.Kind == ItemPack && item.NetMassKg > 0 {
		return item.NetMassKg
	}
	return 1
}

func (n *network) fillCooked(i int, v *FormulaVersion) {
	ranges, problem := fits(v.Steps, v.MinBatchKg, v.MaxBatchKg, n.f.vessels)
	if problem != "" {
		n.vessels = append(n.vessels, apierr.Violation{Field: v.Name, Description: problem})
	}
	duration := n.f.times.sum(v.Name, v.Steps, largestKg(ranges, max(v.MaxBatchKg, v.BaseOutputKg)))
	level := v.ServiceLevel
	if level == 0 {
		level = n.level
	}
	node := n.nodes[i]
	lines := make([]int, len(v.Ingredients))
	for k, in := range v.Ingredients {
		lines[k] = n.input(&node, n.use(in.Item, v.Name), in.MassKg/v.BaseOutputKg)
	}
	for _, by := range v.ByProducts {
		if at := n.use(by.Item, v.Name); at >= 0 {
			node.ByProducts = append(node.ByProducts, explode.ByProduct{Node: at, PerOne: by.MassKg / v.BaseOutputKg / n.origins[at].unitKg})
		}
	}
	node.Yield = explode.Yield{Mean: v.yieldMean(), SD: v.YieldSD, Service: level}
	node.LeadHours = duration.Hours()
	node.Sizing = explode.Sizing{Vessels: sizingVessels(ranges, 1), Minimum: v.MinBatchKg, Period: v.PeriodDays}
	n.nodes[i], n.origins[i].lines = node, lines
}

func (n *network) fillPacked(i int, p *Product) {
	least := float64(max(p.MinBatch, 1)) * p.NetMassKg
	ranges, problem := fits(p.Steps, least, float64(p.MaxBatch)*p.NetMassKg, n.f.vessels)
	if problem != "" {
		n.vessels = append(n.vessels, apierr.Violation{Field: p.Name, Description: problem})
	}
	duration := n.f.times.sum(p.Name, p.Steps, largestKg(ranges, max(least, float64(p.MaxBatch)*p.NetMassKg)))
	node := n.nodes[i]
	at := n.input(&node, n.use(p.SourceItem, p.Name), p.NetMassKg/(1-p.LossFraction))
	node.LeadHours = duration.Hours()
	node.Sizing = explode.Sizing{Vessels: sizingVessels(ranges, p.NetMassKg), Minimum: float64(max(p.MinBatch, 1)), Multiple: 1, Period: p.PeriodDays}
	if p.ShelfLife != nil {
		node.ShelfLife = shelfDays(*p.ShelfLife)
	}
	n.nodes[i], n.origins[i].lines = node, []int{at}
}

// input adds a need of perUnitKg kilograms for each unit of the node and returns its index; -1 for the mains.
func (n *network) input(node *explode.Node, at int, perUnitKg float64) int {
	if at < 0 {
		return -1
	}
	perOne := perUnitKg / n.origins[at].unitKg
	for k := range node.Inputs {
		if node.Inputs[k].Node == at {
			node.Inputs[k].PerOne += perOne
			return k
		}
	}
	node.Inputs = append(node.Inputs, explode.Input{Node: at, PerOne: perOne})
	return len(node.Inputs) - 1
}

// err reports everything that must be corrected before anything can be planned.
func (n *network) err() error {
	for _, c := range []struct {
		reason string
		list   []apierr.Violation
	}{{ItemMissing, n.missing}, {NoVesselFits, n.vessels}} {
		if len(c.list) == 0 {
			continue
		}
		texts := make([]string, len(c.list))
		for i, v := range c.list {
			texts[i] = v.Field + ": " + v.Description
		}
		e := apierr.FailedPrecondition(c.reason, "no plan can be made: %s", strings.Join(texts, "; ")).With("details", strings.Join(texts, "; "))
		e.Violations = c.list
		return e
	}
	for i, o := range n.origins {
		item := n.f.items[o.item]
		if n.nodes[i].Kind == explode.Recovered && item != nil && item.Kind == ItemMade && !n.isByProduct(i) {
			n.notes = append(n.notes, fmt.Sprintf("%s (%s) has no approved formula: only what is in stock is counted", item.DisplayName, item.Name))
		}
	}
	return nil
}

func (n *network) isByProduct(i int) bool {
	return slices.ContainsFunc(n.nodes, func(node explode.Node) bool {
		return slices.ContainsFunc(node.ByProducts, func(b explode.ByProduct) bool { return b.Node == i })
	})
}
