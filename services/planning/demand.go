package planning

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rondeau.internal/pkg/explode"
)

const noonHour = 12

// demandRef is what stands behind a demand of the problem.
type demandRef struct {
	order   *Order
	par     *Par
	product *Product
	count   int
	moment  time.Time // when the packs leave
	day     Date      // of the dispatch; the plan's first for one that is over
	morning bool      // the dispatch is before noon, so that packs of the same day come too late
	weight  int
}

// supplyRef is what stands behind a given supply of the problem.
type supplyRef struct {
	lot, delivery, batch, purchase string
	byProduct                      bool
	arrival                        time.Time // zero: already there, or known to scheduling
}

// problem is an explosion together with what its parts stand for.
type problem struct {
	*network
	plan     *Plan
	days     int
	p        explode.Problem
	demands  []demandRef
	supplies []supplyRef
}

func newProblem(n *network, plan *Plan) *problem {
	b := &problem{network: n, plan: plan, days: plan.Start.DaysUntil(plan.End)}
	b.addOrders()
	b.addPars()
	b.addStock()
	b.addBought()
	b.addRunning()
	b.p.Days, b.p.StartWeekday = b.days, int(plan.Start.Weekday())
	b.p.SameDayHours = n.f.site.sameDay().Hours()
	b.p.Nodes = n.nodes
	return b
}

func (b *problem) note(format string, args ...any) {
	if note := fmt.Sprintf(format, args...); !slices.Contains(b.notes, note) { // several lines of one delivery say the same
		b.notes = append(b.notes, note)
	}
}

// plural counts things in words.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// date returns the civil day of a day of the problem.
func (b *problem) date(day int) Date { return b.plan.Start.AddDays(day) }

// readyDay returns the day of the problem on which packs must be ready for a dispatch: the day before for a dispatch before
// noon, because work of the same day would come too late.
func (b *problem) readyDay(day Date, at TimeOfDay) int {
	d := b.plan.Start.DaysUntil(day)
	if at < noonHour*60 {
		d--
	}
	return min(max(d, 0), b.days-1)
}

func (b *problem) addDemand(item string, quantity float64, day int, kind explode.DemandKind, weight int, id string, ref demandRef) {
	b.p.Demands = append(b.p.Demands, explode.Demand{
		ID: id, Node: int32(b.index[item]), Quantity: quantity, Day: int32(day), Kind: kind, Priority: uint8(100 - weight),
	})
	b.demands = append(b.demands, ref)
}

func (b *problem) addOrders() {
	products := b.productsByName()
	for _, o := range b.f.orders {
		outlet := b.f.outlets[o.Outlet()]
		if outlet == nil {
			continue // not reached: an order lies under its outlet
		}
		for i := range o.Lines {
			line := &o.Lines[i]
			product := products[line.Product]
			if line.Open() == 0 || product == nil {
				continue
			}
			at := o.DispatchTime.In(b.f.site.Zone())
			day := b.readyDay(o.DispatchDate, TimeOfDay(at.Hour()*60+at.Minute()))
			ref := demandRef{
				order: o, product: product, count: line.Open(), moment: o.DispatchTime, day: o.DispatchDate, morning: at.Hour() < noonHour,
				weight: 100 * outlet.Weight(),
			}
			if o.DispatchDate < b.plan.Start {
				ref.day, ref.moment, ref.morning = b.plan.Start, startOfDay(b.plan.Start.AddDays(1), b.f.site.Zone()), false
				b.note("%s: %d packs of %s were to leave on %s and are not shipped; the plan takes them as due on its first day. If they are not wanted any more, cancel the order and plan again",
					o.Name, line.Open(), product.DisplayName, o.DispatchDate)
			}
			b.addDemand(product.Item, float64(line.Open()), day, explode.Order, outlet.Weight(), o.Name, ref)
			b.plan.Summary.OrderedContainers += line.Open()
		}
		b.plan.Summary.Orders++
	}
	if n := len(b.f.overdue); n > 0 {
		b.note("left out: %s with a dispatch more than %d days ago, the first being %s of %s; enter what was shipped, or cancel what is not wanted",
			plural(n, "open order", "open orders"), overdueDays, b.f.overdue[0].Name, b.f.overdue[0].DispatchDate)
	}
}

func (b *problem) productsByName() map[string]*Product {
	products := map[string]*Product{}
	for _, p := range b.f.products {
		products[p.Name] = p
	}
	return products
}

func (b *problem) addPars() {
	products := b.productsByName()
	for _, par := range b.f.pars {
		product := products[par.Product]
		if par.Count == 0 || product == nil {
			continue
		}
		if par.Outlet == "" {
			at := b.index[product.Item]
			b.nodes[at].Pars = []float64{float64(par.Count)}
			b.origins[at].par = par
			continue
		}
		b.addOutletPar(par, product)
	}
}

// addOutletPar asks for what an outlet's freezer lacks, less what the outlet has ordered, on its next dispatch.
func (b *problem) addOutletPar(par *Par, product *Product) {
	outlet := b.f.outlets[par.Outlet]
	if outlet == nil || !outlet.Active {
		return
	}
	if par.Counted == nil {
		b.note("the par of %s for %s was never counted, so nothing is planned for it: enter a count", outlet.DisplayName, product.DisplayName)
		return
	}
	lacking := par.Count - *par.Counted
	for _, o := range b.f.orders {
		for i := range o.Lines {
			if o.Outlet() == outlet.Name && o.Lines[i].Product == product.Name {
				lacking -= o.Lines[i].Open()
			}
		}
	}
	if lacking <= 0 {
		return
	}
	for i := range b.days {
		day := b.date(i)
		moment := dispatchMoment(b.f.site, outlet, day)
		if !outlet.Weekdays.Has(day.Weekday()) || !moment.After(b.f.now) {
			continue
		}
		b.addDemand(product.Item, float64(lacking), b.readyDay(day, outlet.dispatchTime()), explode.Par, outlet.Weight(), par.Name,
			demandRef{
				par: par, product: product, count: lacking, moment: moment, day: day, morning: outlet.dispatchTime() < noonHour*60, weight: 10,
			})
		return
	}
	b.note("%s has no dispatch within the plan, so its par for %s is not served", outlet.DisplayName, product.DisplayName)
}

func (b *problem) addSupply(s explode.Supply, ref supplyRef) {
	if s.Quantity > 0 && s.Day < b.days {
		b.p.Supplies = append(b.p.Supplies, s)
		b.supplies = append(b.supplies, ref)
	}
}

// units returns how many units of a node a mass is; whole packs only.
func (b *problem) units(node int, massKg float64, containers int) float64 {
	o := &b.origins[node]
	if o.product == nil && o.unitKg == 1 {
		return massKg
	}
	if containers > 0 {
		return float64(containers)
	}
	return math.Floor(massKg/o.unitKg + 1e-6)
}

func (b *problem) addStock() {
	if today := DateOf(b.f.now, b.f.site.Zone()); b.plan.Start > today {
		b.note("the plan begins after today (%s): stock is counted as it is now", today)
	}
	for _, stock := range b.f.stock {
		node, ok := b.index[stock.Item]
		if !ok {
			continue
		}
		for _, lot := range stock.Lots {
			s := explode.Supply{ID: lot.Lot, Node: node, Kind: explode.OnHand, Quantity: b.units(node, lot.MassKg, lot.Containers)}
			if lot.UseBy != "" {
				s.Expires, s.LastDay = true, b.plan.Start.DaysUntil(lot.UseBy)
			}
			b.addSupply(s, supplyRef{lot: lot.Lot})
		}
		if b.origins[node].product != nil {
			b.addSupply(explode.Supply{Node: node, Kind: explode.OnHand, Quantity: b.units(node, stock.ReservedKg, 0)}, supplyRef{})
		}
		for _, e := range stock.Expected {
			day := b.plan.Start.DaysUntil(e.Date)
			if day < 0 {
				b.note("%s was expected on %s and is not booked in yet: the plan counts on it for the first day", e.Delivery, e.Date)
				day = 0
			}
			b.addSupply(explode.Supply{ID: e.Delivery, Node: node, Kind: explode.Expected, Quantity: b.units(node, e.MassKg, 0), Day: day},
				supplyRef{delivery: e.Delivery, arrival: Moment(b.date(day), b.f.site.deliveryTime(), b.f.site.Zone())})
		}
	}
}

// addBought counts on purchases of the plan in force that inventory has not made deliveries of yet: they will come all the same.
func (b *problem) addBought() {
	count := 0
	for _, p := range b.f.bought {
		node, ok := b.index[p.Item]
		if !ok {
			continue
		}
		count++
		day := max(b.plan.Start.DaysUntil(p.DeliveryDate), 0)
		b.addSupply(explode.Supply{ID: p.Name, Node: node, Kind: explode.Expected, Quantity: b.units(node, float64(p.Mass.Mass()), 0), Day: day},
			supplyRef{purchase: p.Name, arrival: Moment(b.date(day), b.f.site.deliveryTime(), b.f.site.Zone())})
	}
	if count > 0 {
		b.note("counted on although not among the expected deliveries yet: %s of %s", plural(count, "purchase", "purchases"), b.f.base.Name)
	}
}

// addRunning counts on the output of batches in progress.
func (b *problem) addRunning() {
	for _, batch := range b.f.running {
		b.plan.Firm = append(b.plan.Firm, batch.Name)
		day := max(b.plan.Start.DaysUntil(batch.ReadyDate), 0)
		firm := func(item string, massKg float64, containers int, byProduct bool) {
			node, ok := b.index[item]
			if !ok {
				return
			}
			b.addSupply(explode.Supply{ID: batch.Name, Node: node, Kind: explode.Firm, Quantity: b.units(node, massKg, containers), Day: day},
				supplyRef{batch: batch.Name, byProduct: byProduct})
		}
		firm(batch.OutputItem, float64(batch.Planned.Mass()), batch.Containers, false)
		for _, by := range batch.ByProducts {
			firm(by.Item, float64(by.Mass.Mass()), 0, true)
		}
	}
}
