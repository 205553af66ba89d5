package planning

import (
	"cmp"
	"fmt"
	"slices"

	"rondeau.internal/pkg/explode"
)

var causeNames = map[explode.Cause]string{
	explode.LeadTime: "LEAD_TIME", explode.OrderTooLate: "ORDER_TOO_LATE", explode.NoDelivery: "NO_DELIVERY",
	explode.SupplyLate: "SUPPLY_LATE", explode.NoSource: "NO_SOURCE", explode.InputExpires: "INPUT_EXPIRES",
	explode.BelowMinimum: "BELOW_MINIMUM", explode.WaitsForItself: "WAITS_FOR_ITSELF",
}

// listShortages names the orders and pars behind every shortage, and fills the coverage of the orders.
func (a *answer) listShortages() {
	short := make([]float64, len(a.demands)) // of each demand, on its day
	buckets := map[int][]explode.Shortage{}
	var order []int
	for _, s := range a.r.Shortages {
		if s.Level {
			a.addLevelShortage(s)
			continue
		}
		if buckets[s.Bucket] == nil {
			order = append(order, s.Bucket)
		}
		buckets[s.Bucket] = append(buckets[s.Bucket], s)
	}
	for _, bucket := range order {
		a.dealShortages(bucket, buckets[bucket], short)
	}
	for d, ref := range a.demands {
		if ref.order != nil {
			covered := max(ref.count-a.count(int(a.p.Demands[d].Node), short[d]), 0)
			a.plan.Coverage = append(a.plan.Coverage, Coverage{Order: ref.order.Name, Product: ref.product.Name, Count: covered})
		}
	}
}

// dealShortages shares the shortages of a bucket among its short demands: who is served first gets what comes first.
func (a *answer) dealShortages(bucket int, list []explode.Shortage, short []float64) {
	slices.SortStableFunc(list, func(x, y explode.Shortage) int {
		return cmp.Compare(uint(x.Available), uint(y.Available)) // -1, never, comes last
	})
	next := 0
	for _, s := range a.r.ShortDemands(bucket) {
		short[s.Demand] += s.Quantity
		for open := s.Quantity; open > 1e-9*s.Quantity && next < len(list); {
			part := min(open, list[next].Quantity)
			if part > 1e-9*s.Quantity {
				a.addShortage(s.Demand, list[next], part)
			}
			open -= part
			if list[next].Quantity -= part; list[next].Quantity <= 1e-9*s.Quantity {
				next++
			}
		}
	}
}

func (a *answer) addShortage(demand int, s explode.Shortage, quantity float64) {
	ref := &a.demands[demand]
	out := a.shortage(s, quantity)
	if ref.order != nil {
		out.Order = ref.order.Name
	} else {
		out.Par = ref.par.Name
	}
	// The day of dispatch is what people know, not the day before on which the packs must be ready for a morning.
	out.NeedDate = ref.day
	if ref.morning && out.Available != "" {
		out.Available = out.Available.AddDays(1)
	}
	why, hint := a.why(s)
	if s.Cause == explode.LeadTime {
		hint = "move the order to a later day or reduce it"
		if ref.order == nil {
			hint = "the outlet waits until then"
		}
	}
	when := "they cannot leave within the plan"
	if out.Available != "" {
		when = "they can leave on " + string(out.Available)
	}
	out.Reason = fmt.Sprintf("%s short for the dispatch of %s: %s. As planned, %s; %s.", a.amount(&out, s.Node), out.NeedDate, why, when, hint)
	a.plan.Shortages = append(a.plan.Shortages, out)
}

// addLevelShortage tells of the kitchen's own freezer.
func (a *answer) addLevelShortage(s explode.Shortage) {
	out := a.shortage(s, s.Quantity)
	par := a.origins[s.Node].par
	if par != nil {
		out.Par = par.Name
	}
	until := "to the end of the plan"
	if out.Available != "" {
		until = "until " + string(out.Available)
	}
	why, hint := a.why(s)
	level := "the level to hold"
	if par != nil {
		level = fmt.Sprintf("the par of %d", par.Count)
	}
	out.Reason = fmt.Sprintf("%s missing to %s in the kitchen's freezer from %s %s: %s; %s.", a.amount(&out, s.Node), level, out.NeedDate, until, why, hint)
	a.plan.Shortages = append(a.plan.Shortages, out)
}

// amount says how much is short, with its verb.
func (a *answer) amount(out *Shortage, node int) string {
	if out.Product == "" {
		return fmt.Sprintf("%.4g kg of %s are", float64(out.Mass.Mass()), a.f.itemTitle(out.Item))
	}
	name := a.origins[node].product.DisplayName
	if out.Containers == 1 {
		return "1 pack of " + name + " is"
	}
	return fmt.Sprintf("%d packs of %s are", out.Containers, name)
}

func (a *answer) shortage(s explode.Shortage, quantity float64) Shortage {
	o := &a.origins[s.Node]
	out := Shortage{
		Item: o.item, Mass: a.milligrams(s.Node, quantity), Containers: a.count(s.Node, quantity), NeedDate: a.date(s.Day),
		RootItem: a.origins[s.Root].item, Cause: causeNames[s.Cause],
	}
	if o.product != nil {
		out.Product = o.product.Name
	}
	if s.Available >= 0 {
		out.Available = a.date(s.Available)
	}
	return out
}

// why tells a planner the reason of a shortage, and what can be done about it.
func (a *answer) why(s explode.Shortage) (why, hint string) {
	root := a.f.itemTitle(a.origins[s.Root].item)
	switch s.Cause {
	case explode.LeadTime:
		why = fmt.Sprintf("what there is comes too late to make %s in time", root)
		if s.Root == s.Node {
			why = "it takes longer to make, and to get what goes into it, than there is time"
		}
		hint = "it fills up as soon as it can"
	case explode.OrderTooLate:
		why = fmt.Sprintf("%s had to be ordered from its supplier before %s", root, a.plan.Start)
		hint = "ask the supplier for an extra delivery, enter it as expected, and plan again"
	case explode.NoDelivery:
		why = fmt.Sprintf("the supplier of %s does not deliver in time", root)
		hint = "ask for another delivery day or use stock from elsewhere"
	case explode.SupplyLate:
		why = fmt.Sprintf("%s that is expected or in progress comes later", root)
		hint = "hasten it, or move what needs it"
	case explode.NoSource:
		why = fmt.Sprintf("%s comes only from stock or as a by-product, and there is not enough", root)
		hint = "approve a formula for it or enter stock"
	case explode.InputExpires:
		why = fmt.Sprintf("%s spoils before the batch that it goes into can start", root)
		hint = "have the inputs delivered closer together"
	case explode.BelowMinimum:
		why = fmt.Sprintf("what there is to make %s from does not fill the smallest vessel", root)
		hint = "add inputs or a smaller vessel"
	case explode.WaitsForItself:
		why = fmt.Sprintf("%s would have to wait for its own by-product", root)
		hint = "enter starting stock of the by-product"
	}
	return why, hint
}
