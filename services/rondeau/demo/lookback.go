package demo

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// lookBack is what the auditor does at the end of the week: orders, traces, balances, records.
func (w *world) lookBack(ctx context.Context) error {
	err := w.heard(ctx)
	if err != nil {
		return err
	}
	err = w.fulfilment(ctx)
	if err != nil {
		return err
	}
	err = w.traceOne(ctx)
	if err != nil {
		return err
	}
	err = w.traceBones(ctx)
	if err != nil {
		return err
	}
	err = w.balances(ctx)
	if err != nil {
		return err
	}
	records, err := all(func(token string) ([]*foodsafetypb.SafetyRecord, string, error) {
		page, err := w.here(auditor).foodsafety.ListSafetyRecords(ctx, &foodsafetypb.ListSafetyRecordsRequest{Parent: w.site, PageSize: fullPage, PageToken: token})
		return page.GetSafetyRecords(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	w.report.Records = len(records)
	return nil
}

// fulfilment compares each order with what was shipped, and says why packs are missing.
func (w *world) fulfilment(ctx context.Context) error {
	orders, err := w.listOrders(ctx)
	if err != nil {
		return err
	}
	sent := map[string]ShipmentSent{}
	for _, s := range w.report.Shipments {
		sent[s.Order] = s
	}
	for _, o := range orders {
		outcome := OrderOutcome{
			Order: o.GetName(), Outlet: strings.Split(o.GetName(), "/")[3], Date: o.GetDispatchDate(), State: o.GetState().String(),
			Cancelled: o.GetState() == planningpb.Order_CANCELLED, Outstanding: o.GetDispatchTime().AsTime().After(w.end),
		}
		s, left := sent[o.GetName()]
		outcome.OnTime = left && s.Sent.Sub(o.GetDispatchTime().AsTime()) <= onTime
		for _, l := range o.GetLines() {
			outcome.Ordered += l.GetContainerCount()
			outcome.Shipped += l.GetShippedContainerCount()
			missing := l.GetContainerCount() - l.GetShippedContainerCount()
			if missing > 0 && !outcome.Cancelled && !outcome.Outstanding {
				outcome.Short = append(outcome.Short, ShortLine{Product: idOf(l.GetProduct()), Missing: missing, Why: w.whyShort(o, l)})
			}
		}
		w.report.Fulfilment = append(w.report.Fulfilment, outcome)
	}
	return nil
}

// onTime is by how much a lorry may leave late and still count as in time (chosen, no source).
const onTime = 15 * time.Minute

// whyShort looks for the batches that were to serve an order line.
func (w *world) whyShort(o *planningpb.Order, l *planningpb.Order_Line) string {
	why := ""
	for _, b := range w.ordered {
		if b.pb.GetProduct() != l.GetProduct() {
			continue
		}
		for _, peg := range b.pb.GetPegs() {
			if peg.GetOrder() != o.GetName() {
				continue
			}
			switch {
			case b.over && b.lastEnd.After(o.GetDispatchTime().AsTime()):
				why = "packed and frozen only on " + w.clock(b.lastEnd)
			case b.over && b.short != "":
				why = "batch made smaller: " + b.short
			case b.cancelled && b.short != "":
				why = "batch given up: " + b.short
			case b.started && !b.over:
				why = "batch still in progress at the end"
			}
		}
	}
	if planned := w.shortage[o.GetName()+" "+l.GetProduct()]; planned != "" {
		why = planned
	}
	if why == "" && l.PlannedContainerCount != nil && l.GetPlannedContainerCount() < l.GetContainerCount() {
		why = fmt.Sprintf("the plan covered %d of %d", l.GetPlannedContainerCount(), l.GetContainerCount())
	}
	if why == "" {
		why = "packs went to other orders or came after the dispatch"
	}
	return why
}

// traceOne follows a shipped container back to its deliveries: one whose product has the longest history.
func (w *world) traceOne(ctx context.Context) error {
	d := w.here(auditor)
	containers, err := all(func(token string) ([]*inventorypb.Container, string, error) {
		page, err := d.inventory.ListContainers(ctx, &inventorypb.ListContainersRequest{Parent: w.site, PageSize: 1000, PageToken: token, Filter: "state = RECEIVED"})
		return page.GetContainers(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	var best *inventorypb.Trace
	seen := map[string]bool{}
	for _, c := range containers {
		if seen[c.GetLot()] {
			continue
		}
		seen[c.GetLot()] = true
		trace, err := d.inventory.TraceBackward(ctx, &inventorypb.TraceBackwardRequest{Name: c.GetName()})
		if err != nil {
			return err
		}
		if best == nil || len(trace.GetNodes()) > len(best.GetNodes()) {
			best = trace
		}
	}
	if best != nil {
		w.report.Trace = w.found(best, true)
	}
	return nil
}

// traceBones follows one delivery of bones forward to every pack.
func (w *world) traceBones(ctx context.Context) error {
	d := w.here(auditor)
	for _, id := range []string{"veal-bones", "chicken-bones"} {
		page, err := d.inventory.ListLots(ctx, &inventorypb.ListLotsRequest{Parent: w.site, PageSize: fullPage, Filter: fmt.Sprintf(`item = "%s/items/%s"`, w.site, id)})
		if err != nil {
			return err
		}
		var first *inventorypb.Lot
		for _, l := range page.GetLots() {
			if l.GetDelivery() != "" && (first == nil || l.GetProduceTime().AsTime().Before(first.GetProduceTime().AsTime())) {
				first = l
			}
		}
		if first == nil {
			continue
		}
		trace, err := d.inventory.TraceForward(ctx, &inventorypb.TraceForwardRequest{Name: first.GetName()})
		if err != nil {
			return err
		}
		w.report.Forward = w.found(trace, false)
		return nil
	}
	return nil
}

// found sums a trace up and picks one path through it.
func (w *world) found(t *inventorypb.Trace, backward bool) TraceFound {
	s := t.GetSummary()
	out := TraceFound{
		Root: t.GetRoot(), Deliveries: int(s.GetDeliveryCount()), Lots: int(s.GetLotCount()), Batches: int(s.GetBatchCount()),
		Containers: int(s.GetContainerCount()), Shipped: int(s.GetShippedContainerCount()), RecoveryPercent: s.GetRecoveryPercent(),
	}
	nodes := map[string]*inventorypb.TraceNode{}
	for _, n := range t.GetNodes() {
		nodes[n.GetName()] = n
		switch n.GetKind() {
		case inventorypb.TraceNode_SUPPLIER:
			out.Suppliers = append(out.Suppliers, n.GetDisplayName())
		case inventorypb.TraceNode_OUTLET:
			out.Outlets = append(out.Outlets, idOf(n.GetName()))
		}
	}
	if root := nodes[t.GetRoot()]; root != nil {
		out.What = w.nodeText(root)
	}
	out.Path = w.path(t, nodes, backward)
	return out
}

// path walks from the root always to the neighbour that lies furthest from any end.
func (w *world) path(t *inventorypb.Trace, nodes map[string]*inventorypb.TraceNode, backward bool) []string {
	next := map[string][]string{}
	for _, e := range t.GetEdges() {
		if backward {
			next[e.GetTarget()] = append(next[e.GetTarget()], e.GetSource())
		} else {
			next[e.GetSource()] = append(next[e.GetSource()], e.GetTarget())
		}
	}
	length := map[string]int{}
	var measure func(name string) int
	measure = func(name string) int {
		if n, known := length[name]; known {
			return n
		}
		length[name] = 0 // a trace has no circle; this only guards
		longest := 0
		for _, to := range next[name] {
			longest = max(longest, measure(to))
		}
		length[name] = longest + 1
		return longest + 1
	}
	var out []string
	for at := t.GetRoot(); at != ""; {
		if n := nodes[at]; n != nil {
			out = append(out, w.nodeText(n))
		}
		to := ""
		for _, candidate := range next[at] {
			if to == "" || measure(candidate) > measure(to) || measure(candidate) == measure(to) && w.nodeKey(nodes[candidate]) < w.nodeKey(nodes[to]) {
				to = candidate
			}
		}
		at = to
	}
	return out
}

// nodeKey orders nodes by what does not differ between two runs of the same story.
func (w *world) nodeKey(n *inventorypb.TraceNode) string {
	return fmt.Sprintf("%d %s %s %s", n.GetKind(), n.GetItem(), n.GetDisplayName(), n.GetCode())
}

func (w *world) nodeText(n *inventorypb.TraceNode) string {
	kind := strings.ToLower(n.GetKind().String())
	switch n.GetKind() {
	case inventorypb.TraceNode_LOT:
		return fmt.Sprintf("%s %s of %s, %.1f kg", kind, n.GetCode(), w.title(n.GetItem()), n.GetMassKg())
	case inventorypb.TraceNode_CONTAINER:
		return fmt.Sprintf("%s %s of %s", kind, n.GetCode(), w.title(n.GetItem()))
	case inventorypb.TraceNode_DELIVERY:
		return fmt.Sprintf("%s of %s", kind, w.clock(n.GetEventTime().AsTime()))
	case inventorypb.TraceNode_BATCH:
		return fmt.Sprintf("%s %s", kind, idOf(n.GetName()))
	case inventorypb.TraceNode_PACKING:
		return fmt.Sprintf("%s by %s", kind, idOf(n.GetBatch()))
	}
	return fmt.Sprintf("%s %s", kind, n.GetDisplayName())
}

// balances reads the books of every batch that was closed.
func (w *world) balances(ctx context.Context) error {
	d := w.here(auditor)
	sum := &w.report.Balance
	for _, b := range w.report.Batches {
		m, err := d.inventory.GetMassBalance(ctx, &inventorypb.GetMassBalanceRequest{Name: b.Name})
		if err != nil {
			return err
		}
		sum.Batches++
		sum.InputKg += m.GetInputMassKg()
		sum.SteamKg += partOf(m, "evaporation")
		sum.UnexplainedKg += math.Abs(m.GetUnexplainedMassKg())
		if m.GetInputMassKg() > 0 {
			if percent := 100 * math.Abs(m.GetUnexplainedMassKg()) / m.GetInputMassKg(); percent > sum.WorstPercent {
				sum.WorstPercent, sum.WorstBatch = percent, b.Title
			}
		}
	}
	return nil
}
