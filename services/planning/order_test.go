package planning_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/planning"
)

// The zone changes are those of calendar_test.go: clocks in Paris go forward on 2026-03-29 and back on 2026-10-25.
func TestCutOffIsElapsedTimeBeforeDispatchOnTheClocksOfTheSite(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name             string
		day              planning.Date
		dispatch, cutOff string
	}{
		{"winter", "2026-03-28", "2026-03-28T05:00:00Z", "2026-03-27T05:00:00Z"},
		{"the day clocks go forward: 06:00 is 23 hours after 06:00", "2026-03-29", "2026-03-29T04:00:00Z", "2026-03-28T04:00:00Z"},
		{"the day after", "2026-03-30", "2026-03-30T04:00:00Z", "2026-03-29T04:00:00Z"},
		{"the day clocks go back: 06:00 is 25 hours after 06:00", "2026-10-25", "2026-10-25T05:00:00Z", "2026-10-24T05:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			k := newKitchen(t)
			o := k.order("pier", "o", c.day, 1)
			if got := o.DispatchTime.Format(time.RFC3339); got != c.dispatch {
				t.Errorf("dispatch at %s, want %s", got, c.dispatch)
			}
			if got := o.CutOffTime.Format(time.RFC3339); got != c.cutOff {
				t.Errorf("cut-off at %s, want %s", got, c.cutOff)
			}
			k.clock.Set(o.CutOffTime.Add(-time.Microsecond))
			if _, err := k.UpdateOrder(t.Context(), o.Name, "", func(o *planning.Order) error { o.Note = "back door"; return nil }); err != nil {
				t.Errorf("a microsecond before the cut-off: %v", err)
			}
			k.clock.Set(o.CutOffTime)
			_, err := k.UpdateOrder(t.Context(), o.Name, "", func(o *planning.Order) error { o.Note = "too late"; return nil })
			if !errors.Is(err, apierr.Reason(planning.OrderAfterCutOff)) {
				t.Errorf("at the cut-off: %v", err)
			}
			if got := o.StateAt(o.CutOffTime); got != planning.OrderConfirmed {
				t.Errorf("state at the cut-off is %s", got)
			}
		})
	}
}

func TestLateOrderIsToldTheNextOpenDay(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	must(t)(k.UpdateOutlet(ctx, outlet("pier"), "", func(o *planning.Outlet) error {
		o.Weekdays = weekdays(time.Tuesday, time.Friday)
		return nil
	}))
	place := func(day planning.Date) error {
		_, err := k.CreateOrder(ctx, outlet("pier"), "", &planning.Order{DispatchDate: day, Lines: []planning.OrderLine{{Product: product("demi-1kg"), Count: 1}}})
		return err
	}
	// Monday 08:00: Tuesday 06:00 closed at Monday 06:00.
	err := place("2026-03-03")
	if !errors.Is(err, apierr.Reason(planning.OrderAfterCutOff)) || !strings.Contains(err.Error(), "Friday 2026-03-06") {
		t.Errorf("Tuesday: %v", err)
	}
	var e *apierr.Error
	if errors.As(err, &e) && e.Metadata["next_dispatch_date"] != "2026-03-06" {
		t.Errorf("metadata %v", e.Metadata)
	}
	if err := place("2026-03-05"); !errors.Is(err, apierr.Reason(planning.NotADispatchDay)) || !strings.Contains(err.Error(), "2026-03-06") {
		t.Errorf("Thursday: %v", err)
	}
	if err := place("2026-03-06"); err != nil {
		t.Errorf("Friday: %v", err)
	}
}

func TestOrderRefusals(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	line := planning.OrderLine{Product: product("demi-1kg"), Count: 1}
	for _, c := range []struct {
		name, reason string
		order        planning.Order
	}{
		{"no lines", planning.FieldInvalid, planning.Order{DispatchDate: "2026-03-11"}},
		{"a product twice", planning.FieldInvalid, planning.Order{DispatchDate: "2026-03-11", Lines: []planning.OrderLine{line, line}}},
		{"an impossible day", planning.FieldInvalid, planning.Order{DispatchDate: "2026-02-30", Lines: []planning.OrderLine{line}}},
		{"a product of another site", planning.FieldInvalid, planning.Order{DispatchDate: "2026-03-11", Lines: []planning.OrderLine{{Product: "sites/x/products/y", Count: 1}}}},
		{"an unknown product", planning.ProductMissing, planning.Order{DispatchDate: "2026-03-11", Lines: []planning.OrderLine{{Product: product("nothing"), Count: 1}}}},
	} {
		if _, err := k.CreateOrder(ctx, outlet("pier"), "", &c.order); !errors.Is(err, apierr.Reason(c.reason)) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	must(t)(k.UpdateProduct(ctx, product("demi-1kg"), "", func(p *planning.Product) error { p.Active = false; return nil }))
	if _, err := k.CreateOrder(ctx, outlet("pier"), "", &planning.Order{DispatchDate: "2026-03-11", Lines: []planning.OrderLine{line}}); !errors.Is(err, apierr.Reason(planning.ProductInactive)) {
		t.Errorf("inactive product: %v", err)
	}
	must(t)(k.UpdateOutlet(ctx, outlet("pier"), "", func(o *planning.Outlet) error { o.Active = false; return nil }))
	if _, err := k.CreateOrder(ctx, outlet("pier"), "", &planning.Order{DispatchDate: "2026-03-11", Lines: []planning.OrderLine{line}}); !errors.Is(err, apierr.Reason(planning.OutletInactive)) {
		t.Errorf("inactive outlet: %v", err)
	}
	if len(k.ledger.kinds) != 0 {
		t.Errorf("refused orders were published: %v", k.ledger.kinds)
	}
}

func TestOrderIsChangedOnlyByWhoSawItLast(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	o := k.order("pier", "o1", "2026-03-11", 5)
	changed, err := k.UpdateOrder(ctx, o.Name, o.Etag(), func(o *planning.Order) error {
		o.Lines[0].Count, o.DispatchDate = 8, "2026-03-12"
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if changed.Lines[0].Count != 8 || changed.CutOffTime.Format(time.RFC3339) != "2026-03-11T05:00:00Z" || changed.Name != o.Name {
		t.Errorf("changed to %+v", changed)
	}
	if _, err := k.CancelOrder(ctx, o.Name, o.Etag()); !errors.Is(err, apierr.Reason(planning.EtagMismatch)) {
		t.Errorf("cancel with an old etag: %v", err)
	}
	for range 2 { // cancelling again changes nothing
		if _, err := k.CancelOrder(ctx, o.Name, ""); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := k.UpdateOrder(ctx, o.Name, "", func(*planning.Order) error { return nil }); !errors.Is(err, apierr.Reason(planning.OrderClosed)) {
		t.Errorf("change a cancelled order: %v", err)
	}
	if want := []string{"order.placed", "order.changed", "order.cancelled"}; !slices.Equal(k.ledger.kinds, want) {
		t.Errorf("events %v, want %v", k.ledger.kinds, want)
	}
}

func TestShipmentsAreCountedOnceAndInAnyOrder(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	o := k.order("pier", "o1", "2026-03-11", 5)
	ship := func(id string, line planning.ShippedLine) {
		t.Helper()
		if err := k.RecordShipment(ctx, site+"/shipments/"+id, o.Name, []planning.ShippedLine{line}); err != nil {
			t.Fatal(err)
		}
	}
	ship("s2", planning.ShippedLine{Product: product("demi-1kg"), Count: 2})
	ship("s2", planning.ShippedLine{Product: product("demi-1kg"), Count: 2})
	if _, err := k.CancelOrder(ctx, o.Name, ""); !errors.Is(err, apierr.Reason(planning.OrderPartlyShipped)) {
		t.Errorf("cancel a partly shipped order: %v", err)
	}
	got, err := k.Order(ctx, o.Name)
	if err != nil || got.Lines[0].Shipped != 2 || got.State != planning.OrderPlaced {
		t.Fatalf("%+v, %v", got, err)
	}
	ship("s1", planning.ShippedLine{Item: item("demi-pack"), Count: 3})
	if got, err = k.Order(ctx, o.Name); err != nil || got.Lines[0].Shipped != 5 || got.State != planning.OrderShipped {
		t.Errorf("%+v, %v", got, err)
	}
	if err := k.RecordShipment(ctx, site+"/shipments/s3", "", nil); err != nil {
		t.Errorf("a shipment without order: %v", err)
	}
	if err := k.RecordShipment(ctx, site+"/shipments/s3", outlet("pier")+"/orders/none", nil); !errors.Is(err, apierr.Reason(planning.OrderMissing)) {
		t.Errorf("a shipment of an unknown order must be kept for a person: %v", err)
	}
}

func TestAvailabilityNeverTakesFromALaterOrder(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	ctx := t.Context()
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{
		{Lot: site + "/lots/a", Containers: 12}, {Lot: site + "/lots/b", Containers: 5, UseBy: "2026-03-05"},
	}}
	check := func(day planning.Date) *planning.Availability {
		t.Helper()
		a, err := k.CheckAvailability(ctx, outlet("pier"), product("demi-1kg"), day)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	if a := check("2026-03-05"); a.Promised != 17 || a.Stock != 17 || !a.Open {
		t.Errorf("nothing ordered: %+v", a)
	}
	k.order("hill", "later", "2026-03-10", 9)
	// On the 5th 17 are there; on the 10th 12 are left in date, 9 of them taken: at most 3 may go before.
	if a := check("2026-03-05"); a.Promised != 3 || a.Committed != 0 {
		t.Errorf("with an order for the 10th: %+v", a)
	}
	if a := check("2026-03-10"); a.Promised != 3 || a.Committed != 9 || a.Stock != 12 {
		t.Errorf("on the 10th: %+v", a)
	}
	// Packs that are picked for the order but have not left are not free any more, and the order is still open.
	k.stock.stock[item("demi-pack")] = planning.Stock{Lots: []planning.StockLot{
		{Lot: site + "/lots/a", Containers: 3}, {Lot: site + "/lots/b", Containers: 5, UseBy: "2026-03-05"},
	}, ReservedKg: 9}
	if a := check("2026-03-10"); a.Promised != 3 || a.Committed != 9 || a.Stock != 12 {
		t.Errorf("after picking: %+v", a)
	}
	plan, drafts := k.plan("week", "2026-03-02", "2026-03-16")
	if len(drafts) != 0 {
		t.Errorf("%d batches are planned for packs that are picked already", len(drafts))
	}
	k.order("hill", "more", "2026-03-12", 20)
	if _, _, err := k.ReleasePlan(ctx, plan.Name, "", "manager", false); err != nil {
		t.Fatal(err)
	}
	// 12 less 9 less 20 is short: nothing can be promised, and it says so.
	if a := check("2026-03-05"); a.Promised != 0 {
		t.Errorf("overbooked: %+v", a)
	}
	plan2, _ := k.plan("week-2", "2026-03-02", "2026-03-16")
	if _, _, err := k.ReleasePlan(ctx, plan2.Name, "", "manager", false); err != nil {
		t.Fatal(err)
	}
	if a := check("2026-03-13"); a.Planned < 17 || a.Promised != a.Stock+a.Planned-a.Committed {
		t.Errorf("after the plan: %+v", a)
	}
	a, err := k.CheckAvailability(ctx, outlet("pier"), product("demi-1kg"), "")
	if err != nil || a.Day != "2026-03-04" || a.NextOpenDay != a.Day || !strings.Contains(a.Explanation, "Orders close at 2026-03-03 06:00 CET") {
		t.Errorf("next open day: %+v, %v", a, err)
	}
}
