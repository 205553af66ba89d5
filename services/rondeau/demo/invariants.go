package demo

import (
	"context"
	"fmt"
	"math"
	"sort"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

// audit looks at a whole kitchen through the eyes of an auditor.
type audit struct {
	site   string
	d      *desk
	faults []string

	lots       []*inventorypb.Lot
	moves      []*inventorypb.Move
	containers []*inventorypb.Container
	shipments  []*inventorypb.Shipment
	runs       []*schedulingpb.Run
	vessels    []*schedulingpb.Vessel
	orders     []*planningpb.Order
	chills     []*foodsafetypb.Chill
	holds      []*foodsafetypb.Hold
	releases   []*foodsafetypb.Release
}

// Invariants looks at a kitchen and lists what must never be, whatever happened: also after services were killed in the
// middle of the week. It reads only, as an auditor. An empty list is the answer one hopes for. Options needs Conns; the
// kitchen is that of the kitchen file.
//
// Checked are: conservation of mass in every move, lot and batch; a complete genealogy of every shipped container; no
// container shipped from a lot that was held or not released at that moment; one run at a time in each vessel that
// carries one; no container, serial number or shipment twice; no order line shipped beyond what was ordered, and the
// books of planning and inventory alike; and every passed chill judged again, by pkg/chill, from its readings.
func Invariants(ctx context.Context, options Options) ([]string, error) {
	o, file, err := options.complete()
	if err != nil {
		return nil, err
	}
	p := auditor
	p.Site = file.Site
	a := &audit{site: file.Site, d: newCaller(o).as(p)}
	for _, part := range []func(context.Context) error{
		a.readInventory, a.readOthers, a.checkMoves, a.checkStock, a.checkBatches, a.checkContainers,
		a.checkShipments, a.checkGenealogy, a.checkVessels, a.checkOrders, a.checkChills,
	} {
		err = part(ctx)
		if err != nil {
			return a.faults, fmt.Errorf("invariants of %s: %w", a.site, err)
		}
	}
	return a.faults, nil
}

func (a *audit) fault(format string, args ...any) {
	a.faults = append(a.faults, fmt.Sprintf(format, args...))
}

const auditPage = 1000

func (a *audit) readInventory(ctx context.Context) error {
	in := a.d.inventory
	var err error
	a.lots, err = all(func(token string) ([]*inventorypb.Lot, string, error) {
		page, err := in.ListLots(ctx, &inventorypb.ListLotsRequest{Parent: a.site, PageSize: auditPage, PageToken: token})
		return page.GetLots(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.moves, err = all(func(token string) ([]*inventorypb.Move, string, error) {
		page, err := in.ListMoves(ctx, &inventorypb.ListMovesRequest{Parent: a.site, PageSize: auditPage, PageToken: token})
		return page.GetMoves(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.containers, err = all(func(token string) ([]*inventorypb.Container, string, error) {
		page, err := in.ListContainers(ctx, &inventorypb.ListContainersRequest{Parent: a.site, PageSize: auditPage, PageToken: token})
		return page.GetContainers(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.shipments, err = all(func(token string) ([]*inventorypb.Shipment, string, error) {
		page, err := in.ListShipments(ctx, &inventorypb.ListShipmentsRequest{Parent: a.site, PageSize: auditPage, PageToken: token})
		return page.GetShipments(), page.GetNextPageToken(), err
	})
	return err
}

func (a *audit) readOthers(ctx context.Context) error {
	var err error
	a.runs, err = all(func(token string) ([]*schedulingpb.Run, string, error) {
		page, err := a.d.scheduling.ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: a.site + "/batches/-", PageSize: auditPage, PageToken: token})
		return page.GetRuns(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.vessels, err = all(func(token string) ([]*schedulingpb.Vessel, string, error) {
		page, err := a.d.scheduling.ListVessels(ctx, &schedulingpb.ListVesselsRequest{Parent: a.site, PageSize: auditPage, PageToken: token})
		return page.GetVessels(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.orders, err = all(func(token string) ([]*planningpb.Order, string, error) {
		page, err := a.d.planning.ListOrders(ctx, &planningpb.ListOrdersRequest{Parent: a.site + "/outlets/-", PageSize: fullPage, PageToken: token})
		return page.GetOrders(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	fs := a.d.foodsafety
	a.chills, err = all(func(token string) ([]*foodsafetypb.Chill, string, error) {
		page, err := fs.ListChills(ctx, &foodsafetypb.ListChillsRequest{Parent: a.site, PageSize: fullPage, PageToken: token})
		return page.GetChills(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.holds, err = all(func(token string) ([]*foodsafetypb.Hold, string, error) {
		page, err := fs.ListHolds(ctx, &foodsafetypb.ListHoldsRequest{Parent: a.site, PageSize: fullPage, PageToken: token})
		return page.GetHolds(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	a.releases, err = all(func(token string) ([]*foodsafetypb.Release, string, error) {
		page, err := fs.ListReleases(ctx, &foodsafetypb.ListReleasesRequest{Parent: a.site, PageSize: fullPage, PageToken: token})
		return page.GetReleases(), page.GetNextPageToken(), err
	})
	return err
}

// milligram is the precision of the books, in kilograms; sums of many entries of the API's doubles stay far below it.
const milligram = 1e-6

// checkMoves: what leaves one account enters another.
func (a *audit) checkMoves(context.Context) error {
	for _, m := range a.moves {
		sums := map[string]float64{}
		for _, e := range m.GetEntries() {
			sums[e.GetLot()] += e.GetMassKg()
		}
		for _, lot := range sortedKeys(sums) {
			// A batch's losses leave the process without a lot, so the entries without one must add up among themselves.
			if math.Abs(sums[lot]) >= milligram {
				a.fault("move %s (%s) makes %.6f kg of %q out of nothing", m.GetName(), m.GetKind(), sums[lot], lot)
			}
		}
	}
	return nil
}

// checkStock: a lot has on hand what the moves left there, and the summary adds the lots up.
func (a *audit) checkStock(ctx context.Context) error {
	there, made := map[string]float64{}, map[string]bool{}
	for _, m := range a.moves {
		for _, e := range m.GetEntries() {
			if e.GetAccount() == inventorypb.MoveEntry_LOCATION {
				there[e.GetLot()] += e.GetMassKg()
			}
			made[e.GetLot()] = true
		}
	}
	byItem := map[string]float64{}
	for _, l := range a.lots {
		byItem[l.GetItem()] += l.GetOnHandMassKg()
		if !made[l.GetName()] {
			a.fault("lot %s exists without a move", l.GetName())
		}
		if math.Abs(there[l.GetName()]-l.GetOnHandMassKg()) >= milligram {
			a.fault("lot %s has %.6f kg on hand, its moves leave %.6f kg", l.GetName(), l.GetOnHandMassKg(), there[l.GetName()])
		}
		if l.GetOnHandMassKg() < 0 || l.GetReservedMassKg() < 0 || l.GetReservedMassKg() > l.GetOnHandMassKg()+milligram {
			a.fault("lot %s: %.6f kg on hand, %.6f kg promised", l.GetName(), l.GetOnHandMassKg(), l.GetReservedMassKg())
		}
	}
	stock, err := a.d.inventory.SummarizeStock(ctx, &inventorypb.SummarizeStockRequest{Parent: a.site})
	if err != nil {
		return err
	}
	summed := map[string]bool{}
	for _, s := range stock.GetItems() {
		summed[s.GetItem()] = true
		parts := s.GetFreeMassKg() + s.GetReservedMassKg() + s.GetHeldMassKg() + s.GetExpiredMassKg()
		if math.Abs(parts-s.GetOnHandMassKg()) >= milligram || math.Abs(byItem[s.GetItem()]-s.GetOnHandMassKg()) >= milligram {
			a.fault("stock of %s: %.6f kg on hand, %.6f kg in its parts, %.6f kg in its lots", s.GetItem(), s.GetOnHandMassKg(), parts, byItem[s.GetItem()])
		}
	}
	for _, item := range sortedKeys(byItem) {
		if byItem[item] > milligram && !summed[item] {
			a.fault("stock of %s is missing from the summary", item)
		}
	}
	return nil
}

// checkBatches: the books of each closed batch balance within their tolerance, those of an open one hold no less than nothing.
func (a *audit) checkBatches(ctx context.Context) error {
	names := map[string]bool{}
	for _, m := range a.moves {
		if m.GetBatch() != "" {
			names[m.GetBatch()] = true
		}
	}
	for _, name := range sortedKeys(names) {
		m, err := a.d.inventory.GetMassBalance(ctx, &inventorypb.GetMassBalanceRequest{Name: name})
		if err != nil {
			return err
		}
		in, out := 0.0, 0.0
		for _, p := range m.GetInputs() {
			in += p.GetMassKg()
		}
		for _, p := range m.GetOutputs() {
			out += p.GetMassKg()
		}
		tolerance := m.GetToleranceMassKg() + milligram
		if m.GetClosed() && math.Abs(m.GetUnexplainedMassKg()) > tolerance || !m.GetClosed() && m.GetInProcessMassKg() < -tolerance {
			a.fault("batch %s does not balance: %.6f kg unexplained, %.6f kg inside, %.6f kg allowed", name, m.GetUnexplainedMassKg(), m.GetInProcessMassKg(), m.GetToleranceMassKg())
		}
		if math.Abs(m.GetInputMassKg()-m.GetAccountedMassKg()-m.GetUnexplainedMassKg()) >= milligram {
			a.fault("batch %s: %.6f kg in, %.6f accounted and %.6f unexplained", name, m.GetInputMassKg(), m.GetAccountedMassKg(), m.GetUnexplainedMassKg())
		}
		if math.Abs(in-m.GetInputMassKg()) >= milligram {
			a.fault("batch %s: its inputs add up to %.6f kg, %.6f kg are stated (%.6f kg out)", name, in, m.GetInputMassKg(), out)
		}
	}
	return nil
}

// checkContainers: each container once, with a serial number of its own, in one shipment at most.
func (a *audit) checkContainers(context.Context) error {
	seen := map[string]string{}
	count := map[string]int{}
	for _, c := range a.containers {
		for _, key := range []string{"name " + c.GetName(), "serial " + c.GetSerial(), "sgtin " + c.GetSgtin()} {
			if key == "sgtin " {
				continue
			}
			if other, twice := seen[key]; twice {
				a.fault("%s and %s have the same %s", other, c.GetName(), key)
			}
			seen[key] = c.GetName()
		}
		if c.GetState() == inventorypb.Container_PACKED {
			count[c.GetLot()]++
		}
	}
	for _, l := range a.lots {
		if int(l.GetContainerCount()) != count[l.GetName()] {
			a.fault("lot %s counts %d containers in the kitchen, there are %d", l.GetName(), l.GetContainerCount(), count[l.GetName()])
		}
	}
	in := map[string]string{}
	codes := map[string]string{}
	for _, s := range a.shipments {
		if s.GetSscc() != "" && codes[s.GetSscc()] != "" {
			a.fault("%s and %s have the same SSCC", codes[s.GetSscc()], s.GetName())
		}
		codes[s.GetSscc()] = s.GetName()
		if s.GetState() == inventorypb.Shipment_CANCELLED {
			continue
		}
		for _, l := range s.GetLines() {
			for _, c := range l.GetContainers() {
				if in[c] != "" {
					a.fault("%s is in %s and in %s", c, in[c], s.GetName())
				}
				in[c] = s.GetName()
			}
		}
	}
	return nil
}

// checkVessels: one run at a time in a vessel that carries one.
func (a *audit) checkVessels(context.Context) error {
	shared := map[string]bool{}
	for _, v := range a.vessels {
		shared[v.GetName()] = v.GetLoadCapacityKg() > 0
	}
	in := map[string][]*schedulingpb.Run{}
	for _, r := range a.runs {
		if r.GetStartTime() == nil {
			continue
		}
		for _, v := range append([]string{r.GetVessel()}, r.GetAdditionalVessels()...) {
			if v != "" && !shared[v] {
				in[v] = append(in[v], r)
			}
		}
	}
	for _, v := range sortedKeys(in) {
		runs := in[v]
		sort.Slice(runs, func(i, j int) bool { return runs[i].GetStartTime().AsTime().Before(runs[j].GetStartTime().AsTime()) })
		for i := 1; i < len(runs); i++ {
			before := runs[i-1]
			if before.GetFinishTime() == nil || before.GetFinishTime().AsTime().After(runs[i].GetStartTime().AsTime()) {
				a.fault("%s carries %s and %s at the same time", v, before.GetName(), runs[i].GetName())
			}
		}
	}
	return nil
}
