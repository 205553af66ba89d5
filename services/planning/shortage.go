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
		// The day of dispatch is what people know, not the day before on which the packs must be ready.
		out.NeedDate = ref.order.DispatchDate
	} else {
		out.Par = ref.par.Name
	}
	out.Reason = a.reason(s, &out)
	a.plan.Shortages = append(a.plan.Shortages, out)
}

func (a *answer) addLevelShortage(s explode.Shortage) {
	out := a.shortage(s, s.Quantity)
	if par := a.origins[s.Node].par; par != nil {
		out.Par = par.Name
	}
	out.Reason = a.reason(s, &out)
	a.plan.Shortages = append(a.plan.Shortages, out)
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

// reason tells a planner what is short, why, when it will be there, and what can be done.
func (a *answer) reason(s explode.Shortage, out *Shortage) string {
	amount := fmt.Sprintf("%.4g kg of %s", float64(out.Mass.Mass()), a.f.itemTitle(out.Item))
	if out.Product != "" {
		amount = fmt.Sprintf("%d packs of %s", out.Containers, a.origins[s.Node].product.DisplayName)
	}
	root := a.f.itemTitle(out.RootItem)
	var why, hint string
	switch s.Cause {
	case explode.LeadTime:
		why = fmt.Sprintf("%s takes longer to make than there is time", root)
		hint = "move the demand to a later day or reduce it"
	case explode.OrderTooLate:
		why = fmt.Sprintf("%s had to be ordered from its supplier before %s", root, a.plan.Start)
		hint = "ask the supplier for an extra delivery, enter it as expected, and plan again"
	case explode.NoDelivery:
		why = fmt.Sprintf("the supplier of %s does not deliver in time", root)
		hint = "ask for another delivery day or use stock from elsewhere"
	case explode.SupplyLate:
		why = fmt.Sprintf("%s that is expected or in progress comes later", root)
		hint = "hasten it or move the demand"
	case explode.NoSource:
		why = fmt.Sprintf("%s comes only from stock or as a by-product, and there is not enough", root)
		hint = "approve a formula for it or enter stock"
	case explode.InputExpires:
		why = fmt.Sprintf("what goes into %s spoils before the batch can start", root)
		hint = "have the inputs delivered closer together"
	case explode.BelowMinimum:
		why = fmt.Sprintf("what there is to make %s from does not fill the smallest vessel", root)
		hint = "add inputs or a smaller vessel"
	case explode.WaitsForItself:
		why = fmt.Sprintf("%s would have to wait for its own by-product", root)
		hint = "enter starting stock of the by-product"
	}
	when := "It will not be there within the plan"
	if out.Available != "" {
		when = fmt.Sprintf("It will be ready for use on %s", out.Available)
	}
	return fmt.Sprintf("%s are short for %s: %s. %s; %s.", amount, out.NeedDate, why, when, hint)
}
