package demo

import (
	"context"
	"fmt"
	"sort"
	"time"

	"rondeau.internal/pkg/chill"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/units"
)

// left says whether a shipment has left the kitchen.
func left(s *inventorypb.Shipment) bool {
	return s.GetState() == inventorypb.Shipment_DISPATCHED || s.GetState() == inventorypb.Shipment_RECEIVED
}

// checkShipments: nothing left the kitchen from a lot that was held or not released at that moment.
func (a *audit) checkShipments(context.Context) error {
	lotOf, batchOf := map[string]string{}, map[string]string{}
	for _, c := range a.containers {
		lotOf[c.GetName()] = c.GetLot()
	}
	for _, l := range a.lots {
		batchOf[l.GetName()] = l.GetBatch()
	}
	for _, s := range a.shipments {
		if !left(s) {
			continue
		}
		sent := s.GetDispatchTime().AsTime()
		lots := map[string]bool{}
		for _, line := range s.GetLines() {
			for _, c := range line.GetContainers() {
				if lotOf[c] == "" {
					a.fault("%s left with %s, which does not exist", s.GetName(), c)
				}
				lots[lotOf[c]] = true
			}
		}
		for _, lot := range sortedKeys(lots) {
			a.checkLotAt(s.GetName(), lot, batchOf[lot], sent)
		}
	}
	return nil
}

// checkLotAt looks at holds and releases as they were at a moment.
func (a *audit) checkLotAt(shipment, lot, batch string, at time.Time) {
	var placed time.Time // last hold placed before the moment
	for _, h := range a.holds {
		if h.GetSubject() != lot && h.GetSubject() != batch || h.GetPlaceTime().AsTime().After(at) {
			continue
		}
		if placed.Before(h.GetPlaceTime().AsTime()) {
			placed = h.GetPlaceTime().AsTime()
		}
		if h.GetLiftTime() == nil || h.GetLiftTime().AsTime().After(at) {
			a.fault("%s left at %s with lot %s under %s", shipment, at.Format(time.RFC3339), lot, h.GetName())
		}
	}
	for _, r := range a.releases {
		signed := r.GetSignTime().AsTime()
		if r.GetLot() == lot && !signed.After(at) && !signed.Before(placed) {
			return
		}
	}
	a.fault("%s left at %s with lot %s, which was not released", shipment, at.Format(time.RFC3339), lot)
}

// checkGenealogy: every container that left goes back to at least one delivery, and every made lot on the way has inputs.
func (a *audit) checkGenealogy(ctx context.Context) error {
	lots := map[string]bool{}
	for _, c := range a.containers {
		switch c.GetState() {
		case inventorypb.Container_SHIPPED, inventorypb.Container_RECEIVED, inventorypb.Container_MISSING:
			lots[c.GetLot()] = true
		}
	}
	for _, lot := range sortedKeys(lots) {
		trace, err := a.d.inventory.TraceBackward(ctx, &inventorypb.TraceBackwardRequest{Name: lot})
		if err != nil {
			return err
		}
		a.checkTrace(lot, trace)
	}
	return nil
}

func (a *audit) checkTrace(lot string, trace *inventorypb.Trace) {
	kinds := map[string]inventorypb.TraceNode_Kind{}
	deliveries := 0
	for _, n := range trace.GetNodes() {
		kinds[n.GetName()] = n.GetKind()
		if n.GetKind() == inventorypb.TraceNode_DELIVERY {
			deliveries++
		}
	}
	if deliveries == 0 {
		a.fault("packs of lot %s were shipped, and no delivery is behind them", lot)
	}
	from := map[string]int{}
	for _, e := range trace.GetEdges() {
		if kinds[e.GetSource()] == inventorypb.TraceNode_KIND_UNSPECIFIED || kinds[e.GetTarget()] == inventorypb.TraceNode_KIND_UNSPECIFIED {
			a.fault("the trace of %s has an edge from %s to %s, of which one is no node", lot, e.GetSource(), e.GetTarget())
		}
		from[e.GetTarget()]++
	}
	for _, n := range trace.GetNodes() {
		if n.GetKind() != inventorypb.TraceNode_SUPPLIER && from[n.GetName()] == 0 && n.GetKind() != inventorypb.TraceNode_DELIVERY {
			a.fault("the trace of %s ends at %s %s, which came out of nothing", lot, n.GetKind(), n.GetName())
		}
	}
}

// checkOrders: no line shipped beyond the order, and planning counts what inventory shipped.
func (a *audit) checkOrders(context.Context) error {
	shipped := map[string]int32{}
	for _, s := range a.shipments {
		if !left(s) {
			continue
		}
		for _, l := range s.GetLines() {
			shipped[s.GetOrder()+" "+l.GetProduct()] += int32(len(l.GetContainers()))
		}
	}
	for _, o := range a.orders {
		for _, l := range o.GetLines() {
			key := o.GetName() + " " + l.GetProduct()
			if l.GetShippedContainerCount() > l.GetContainerCount() {
				a.fault("%s: %d of %d packs of %s shipped", o.GetName(), l.GetShippedContainerCount(), l.GetContainerCount(), l.GetProduct())
			}
			if l.GetShippedContainerCount() != shipped[key] {
				a.fault("%s: planning counts %d shipped packs of %s, inventory %d", o.GetName(), l.GetShippedContainerCount(), l.GetProduct(), shipped[key])
			}
		}
	}
	return nil
}

// checkChills: each passed chill is judged again from its readings, probe by probe; each failed one has a deviation and a hold.
func (a *audit) checkChills(ctx context.Context) error {
	held := map[string]bool{}
	for _, h := range a.holds {
		held[h.GetDeviation()] = true
	}
	profiles := map[string]chill.Limits{}
	for _, c := range a.chills {
		if c.GetState() == foodsafetypb.Chill_FAILED {
			if c.GetDeviation() == "" || !held[c.GetDeviation()] {
				a.fault("%s failed and has deviation %q, held %v", c.GetName(), c.GetDeviation(), held[c.GetDeviation()])
			}
			continue
		}
		if c.GetState() != foodsafetypb.Chill_PASSED {
			continue
		}
		limits, known := profiles[c.GetLimitsProfile()]
		if !known {
			profile, err := a.d.foodsafety.GetLimitsProfile(ctx, &foodsafetypb.GetLimitsProfileRequest{Name: c.GetLimitsProfile()})
			if err != nil {
				return err
			}
			limits = limitsOf(profile)
			profiles[c.GetLimitsProfile()] = limits
		}
		err := a.judgeAgain(ctx, c, limits)
		if err != nil {
			return err
		}
	}
	return nil
}

// limitsOf turns a profile into limits in the unit of its rule.
func limitsOf(p *foodsafetypb.LimitsProfile) chill.Limits {
	degrees := units.InCelsius
	if p.GetScale() == foodsafetypb.LimitsProfile_FAHRENHEIT {
		degrees = units.InFahrenheit
	}
	out := chill.Limits{Name: p.GetDisplayName(), Source: p.GetSource()}
	for _, s := range p.GetStages() {
		out.Stages = append(out.Stages, chill.Stage{
			Name: s.GetStageId(), From: degrees(p.GetStartDegrees()), To: degrees(s.GetTargetDegrees()), Within: s.GetWithinDuration().AsDuration(),
		})
	}
	return out
}

func (a *audit) judgeAgain(ctx context.Context, c *foodsafetypb.Chill, limits chill.Limits) error {
	readings, err := all(func(token string) ([]*foodsafetypb.Reading, string, error) {
		page, err := a.d.foodsafety.ListReadings(ctx, &foodsafetypb.ListReadingsRequest{Parent: c.GetName(), PageSize: auditPage, PageToken: token})
		return page.GetReadings(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	byProbe := map[string][]chill.Reading{}
	for _, r := range readings {
		byProbe[r.GetProbe()] = append(byProbe[r.GetProbe()], chill.Reading{
			At: r.GetObserveTime().AsTime(), Temperature: units.InCelsius(r.GetJudgedTemperatureCelsius()),
		})
	}
	if len(readings) == 0 {
		a.fault("%s passed without a reading", c.GetName())
	}
	for _, probe := range sortedKeys(byProbe) {
		series := byProbe[probe]
		sort.SliceStable(series, func(i, j int) bool { return series[i].At.Before(series[j].At) })
		verdict, err := chill.Judge(limits, series, chill.Options{Began: c.GetStartTime().AsTime()})
		if err != nil {
			return fmt.Errorf("judge %s again: %w", c.GetName(), err)
		}
		if verdict.Verdict != chill.Passed {
			a.fault("%s passed, and its readings by %q say %s", c.GetName(), probe, verdict.Verdict)
		}
	}
	return nil
}
