package inventory_test

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
)

// TestMain makes the property tests short by default: every step is a transaction on a disk. -rapid.checks and -rapid.steps lengthen them.
func TestMain(m *testing.M) {
	for name, value := range map[string]string{"rapid.checks": "10", "rapid.steps": "80"} {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// chaos does random things to a kitchen. Refusals are fine, wrong books are not.
type chaos struct {
	*kitchen
	batches   []string
	shipments []string
	holds     int
	reserved  []string
	outcome   map[string]int
}

// note accepts refusals: errors with a reason, of a kind that a person can do something about.
func (c *chaos) note(t *rapid.T, what string, err error) {
	if err == nil {
		c.outcome[what]++
		return
	}
	switch apierr.KindOf(err) {
	case apierr.KindFailedPrecondition, apierr.KindInvalidArgument:
		if apierr.ReasonOf(err) == "" {
			t.Fatalf("%s: %v has no reason", what, err)
		}
	default:
		t.Fatalf("%s: %v", what, err)
	}
}

func (c *chaos) anyLot(t *rapid.T) *inventory.Lot {
	q := inventory.ListQuery{Site: site, Limit: 1000}
	if rapid.IntRange(0, 9).Draw(t, "in stock") > 0 {
		q.Filter = "state = OPEN"
	}
	if rapid.IntRange(0, 9).Draw(t, "free") > 1 {
		q.Filter = strings.TrimPrefix(q.Filter+" AND held = false", " AND ")
	}
	lots, err := c.store.Lots().List(c.ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	if len(lots) == 0 {
		t.Skip("nothing there")
	}
	return lots[rapid.IntRange(0, len(lots)-1).Draw(t, "lot")]
}

func someMass(t *rapid.T) units.Milligrams {
	return units.Milligrams(rapid.Int64Range(1, 12_000_000).Draw(t, "mass"))
}

func (c *chaos) anyBatch(t *rapid.T) string { return rapid.SampledFrom(c.batches).Draw(t, "batch") }

func (c *chaos) actions() map[string]func(*rapid.T) {
	return map[string]func(*rapid.T){
		"receive": func(t *rapid.T) {
			id := rapid.SampledFrom([]string{"bones", "celery"}).Draw(t, "item")
			d, err := c.CreateDelivery(c.ctx, site, "", &inventory.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []inventory.DeliveryLine{{Item: item(id)}}})
			if err != nil {
				t.Fatal(err)
			}
			temp := float64(rapid.IntRange(2, 6).Draw(t, "temperature"))
			_, err = c.ReceiveDelivery(c.ctx, inventory.Receipt{Delivery: d.Name, Lines: []inventory.ReceiptLine{{LineID: "1", Mass: 2 * someMass(t), Temperature: &temp}}})
			c.note(t, "receive", err)
		},
		"consume": func(t *rapid.T) {
			in := inventory.ConsumptionInput{Mass: someMass(t), Item: item("water")}
			if rapid.IntRange(0, 4).Draw(t, "from stock") > 0 {
				l := c.anyLot(t)
				in.Item = l.Item
				if in.Item == item("pouch") {
					in.Mass = kilos(1)
				}
				if rapid.Bool().Draw(t, "named") {
					in.Lot = l.Name
				}
			}
			_, _, err := c.ConsumeStock(c.ctx, inventory.Consumption{Site: site, Batch: c.anyBatch(t), Inputs: []inventory.ConsumptionInput{in, {Item: item("water"), Mass: someMass(t)}}})
			c.note(t, "consume", err)
		},
		"produce": func(t *rapid.T) {
			id := rapid.SampledFrom([]string{"stock", "fat", "glace", "bones"}).Draw(t, "item")
			_, _, err := c.RecordProduction(c.ctx, inventory.Production{Site: site, Batch: c.anyBatch(t), Outputs: []inventory.ProductionOutput{{Item: item(id), Mass: someMass(t)}}})
			c.note(t, "produce", err)
		},
		"close": func(t *rapid.T) {
			b := c.anyBatch(t)
			loss := someMass(t)
			if m, err := c.MassBalance(c.ctx, b); err == nil && m.Inside > 0 {
				loss = m.Inside - m.Tolerance + units.Milligrams(rapid.Int64Range(-2, 2).Draw(t, "edge"))
			}
			if loss < 0 {
				loss = 0
			}
			_, err := c.CloseBatch(c.ctx, inventory.Closing{Site: site, Batch: b, Losses: []inventory.Loss{{Kind: inventory.Evaporation, Mass: loss}}, ValidateOnly: rapid.Bool().Draw(t, "check only")})
			c.note(t, "close", err)
		},
		"pack": func(t *rapid.T) {
			l := c.anyLot(t)
			src := inventory.PackingSource{Lot: l.Name}
			if rapid.Bool().Draw(t, "with a rest") {
				src.Mass = units.Milligrams(rapid.Int64Range(0, 5_000_000).Draw(t, "bulk"))
			}
			_, err := c.PackContainers(c.ctx, inventory.Packing{Site: site, Batch: c.anyBatch(t), Item: item("pouch"), Sources: []inventory.PackingSource{src}, Count: rapid.IntRange(1, 2).Draw(t, "count")})
			c.note(t, "pack", err)
		},
		"transfer": func(t *rapid.T) {
			l := c.anyLot(t)
			places := []string{location("dry"), location("cold"), location("ice"), location("ice2")}
			sources := places
			if v, err := c.Lot(c.ctx, l.Name); err == nil && len(v.Places) > 0 {
				sources = append(sources, v.Places[0].Location, v.Places[0].Location, v.Places[0].Location)
			}
			tr := inventory.Transfer{Lot: l.Name, Source: rapid.SampledFrom(sources).Draw(t, "source"), Target: rapid.SampledFrom(places).Draw(t, "target")}
			if rapid.Bool().Draw(t, "part") {
				tr.Mass = kilos(1)
			}
			_, err := c.TransferStock(c.ctx, tr)
			c.note(t, "transfer", err)
		},
		"adjust": func(t *rapid.T) {
			if rapid.IntRange(0, 2).Draw(t, "rarely") > 0 {
				t.Skip("counts are rare")
			}
			_, err := c.AdjustStock(c.ctx, inventory.Count{Lot: c.anyLot(t).Name, Location: location("cold"), Counted: someMass(t), Reason: "count"})
			c.note(t, "adjust", err)
		},
		"discard": func(t *rapid.T) {
			if rapid.IntRange(0, 2).Draw(t, "rarely") > 0 {
				t.Skip("waste is rare")
			}
			d := inventory.Discarding{Lot: c.anyLot(t).Name, Reason: "dropped"}
			if rapid.Bool().Draw(t, "part") {
				d.Mass = kilos(1)
			}
			_, err := c.DiscardLot(c.ctx, d)
			c.note(t, "discard", err)
		},
		"reserve": func(t *rapid.T) {
			r, err := c.ReserveStock(c.ctx, site, "", c.anyBatch(t), []inventory.ItemMass{{Item: item(rapid.SampledFrom([]string{"bones", "stock"}).Draw(t, "item")), Mass: someMass(t)}})
			c.note(t, "reserve", err)
			if err == nil {
				c.reserved = append(c.reserved, r.Name)
			}
		},
		"release reservation": func(t *rapid.T) {
			if len(c.reserved) == 0 {
				t.Skip("nothing there")
			}
			_, err := c.ReleaseReservation(c.ctx, rapid.SampledFrom(c.reserved).Draw(t, "reservation"))
			c.note(t, "release", err)
		},
		"ship": func(t *rapid.T) {
			sh, err := c.CreateShipment(c.ctx, inventory.Picking{Site: site, Outlet: site + "/outlets/harbour", AllowPartial: true, Lines: []inventory.PickingLine{{Item: item("pouch"), Count: rapid.IntRange(1, 3).Draw(t, "count")}}})
			c.note(t, "pick", err)
			if err == nil {
				c.shipments = append(c.shipments, sh.Name)
			}
		},
		"send or cancel": func(t *rapid.T) {
			if len(c.shipments) == 0 {
				t.Skip("nothing there")
			}
			name := rapid.SampledFrom(c.shipments).Draw(t, "shipment")
			if rapid.Bool().Draw(t, "send") {
				_, err := c.DispatchShipment(c.ctx, inventory.Dispatch{Shipment: name})
				c.note(t, "dispatch", err)
				return
			}
			_, err := c.CancelShipment(c.ctx, name, "")
			c.note(t, "cancel", err)
		},
		"hold": func(t *rapid.T) {
			l := c.anyLot(t)
			subject := l.Name
			if l.Batch != "" && rapid.Bool().Draw(t, "batch") {
				subject = l.Batch
			}
			c.holds++
			h := inventory.Hold{Name: fmt.Sprintf("%s/holds/h%d", site, rapid.IntRange(1, c.holds).Draw(t, "hold")), Subject: subject, PlaceTime: c.clock.Now(), Lifted: rapid.IntRange(0, 3).Draw(t, "lifted") > 0}
			c.note(t, "hold", c.NoteHold(c.ctx, h))
		},
		"sign": func(t *rapid.T) {
			c.note(t, "sign", c.NoteRelease(c.ctx, c.anyLot(t).Name, c.clock.Advance(time.Second)))
		},
	}
}

// ancestry is what a lot descends from by a plain reading of the moves: all that went into its batch, or into its packing move.
func ancestry(moves []*inventory.Move, lot string) []string {
	found := map[string]bool{}
	var walk func(lot string)
	into := func(m *inventory.Move) {
		for _, e := range m.Entries {
			if e.Account == inventory.InProcess && e.Mass > 0 && e.Lot != "" && !found[e.Lot] {
				found[e.Lot] = true
				walk(e.Lot)
			}
		}
	}
	rest := func(m *inventory.Move) (sum units.Milligrams) {
		for _, e := range m.Entries {
			if e.Account == inventory.InProcess {
				sum += e.Mass
			}
		}
		return sum
	}
	walk = func(lot string) {
		for _, m := range moves {
			makes := slices.ContainsFunc(m.Entries, func(e inventory.Entry) bool {
				return e.Account == inventory.InProcess && e.Mass < 0 && e.Lot == lot
			})
			switch {
			case makes && m.Kind == inventory.MovePacking:
				into(m)
			case makes && m.Kind == inventory.MoveProduce:
				for _, o := range moves {
					if o.Batch == m.Batch && (o.Kind == inventory.MoveConsume || o.Kind == inventory.MovePacking && rest(o) > 0) {
						into(o)
					}
				}
			}
		}
	}
	walk(lot)
	return slices.Sorted(maps.Keys(found))
}

func TestTheBooksStayRightWhateverPeopleDo(t *testing.T) {
	t.Parallel()
	total := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		c := &chaos{kitchen: newKitchen(t), outcome: total}
		c.cook()
		c.pack(4, "p1")
		c.release("p1", "g1")
		for i := range 6 {
			c.batches = append(c.batches, batch(fmt.Sprintf("b%d", i)))
			c.must(c.consume(fmt.Sprintf("b%d", i), "water", 20, ""))
		}
		actions := c.actions()
		actions[""] = func(r *rapid.T) {
			faults, err := c.store.Audit(c.ctx, site)
			if err != nil {
				r.Fatal(err)
			}
			if len(faults) > 0 {
				r.Fatalf("the books are wrong: %v", faults)
			}
		}
		r.Repeat(actions)
		c.genealogyIsComplete(r)
	})
	t.Logf("done: %v", total)
	for _, what := range []string{"receive", "consume", "produce", "close", "pack", "transfer", "reserve", "adjust", "discard", "pick"} {
		if total[what] == 0 {
			t.Errorf("nobody ever managed to %s: the test proves nothing about it", what)
		}
	}
}

// genealogyIsComplete compares every trace with a plain reading of the moves, in both directions.
func (c *chaos) genealogyIsComplete(r *rapid.T) {
	ctx := context.WithoutCancel(c.ctx)
	moves, err := c.store.Moves().List(ctx, inventory.ListQuery{Site: site, Limit: 100_000})
	if err != nil {
		r.Fatal(err)
	}
	var sum units.Milligrams
	for _, m := range moves {
		for _, e := range m.Entries {
			sum += e.Mass
		}
	}
	if sum != 0 {
		r.Fatalf("%v appeared from nowhere", sum)
	}
	lots, err := c.store.Lots().List(ctx, inventory.ListQuery{Site: site, Limit: 100_000})
	if err != nil {
		r.Fatal(err)
	}
	descendants := map[string][]string{}
	for _, l := range lots {
		want := ancestry(moves, l.Name)
		trace, err := c.TraceBackward(ctx, l.Name)
		if err != nil {
			r.Fatal(err)
		}
		got := lotsIn(trace, l.Name)
		want = slices.DeleteFunc(want, func(n string) bool { return n == l.Name })
		if !slices.Equal(got, want) {
			r.Fatalf("%s descends from %v, the moves say %v", l.Name, got, want)
		}
		for _, a := range want {
			descendants[a] = append(descendants[a], l.Name)
		}
		if m, err := c.MassBalance(ctx, l.Name); err != nil || m.Accounted+m.Unexplained != m.Input {
			r.Fatalf("%s: %v in, %v accounted for, %v unexplained, %v", l.Name, m.Input, m.Accounted, m.Unexplained, err)
		}
	}
	for _, l := range lots {
		trace, err := c.TraceForward(ctx, l.Name, true)
		if err != nil {
			r.Fatal(err)
		}
		if got, want := lotsIn(trace, l.Name), sorted(descendants[l.Name]); !slices.Equal(got, want) {
			r.Fatalf("%s went into %v, the moves say %v", l.Name, got, want)
		}
	}
}

func lotsIn(t *inventory.Trace, without string) []string {
	var names []string
	for _, n := range t.Nodes {
		if n.Kind == inventory.NodeLot && n.Name != without {
			names = append(names, n.Name)
		}
	}
	return sorted(names)
}
