package storetest

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/inventory"
)

func move(name string, entries ...inventory.Entry) *inventory.Move {
	return &inventory.Move{Name: site + "/moves/" + name, UID: name, Kind: inventory.MoveTransfer, MoveTime: noon, RecordTime: noon, Entries: entries}
}

func entry(account inventory.AccountKind, reference string, kilos int64) inventory.Entry {
	return inventory.Entry{Account: account, Reference: reference, Item: site + "/items/bones", Lot: site + "/lots/x", Mass: kg(kilos)}
}

func post(t *testing.T, s inventory.Store, m *inventory.Move) error {
	return s.InTx(t.Context(), func(ctx context.Context) error { return s.Post(ctx, m) })
}

func unbalancedMove(t *testing.T, s inventory.Store) {
	if err := post(t, s, move("m1", entry(inventory.AtSupplier, "", -5), entry(inventory.AtLocation, "a", 4))); err == nil {
		t.Error("a move that loses a kilogram was posted")
	}
	other := entry(inventory.AtLocation, "a", 5)
	other.Lot = site + "/lots/y"
	if err := post(t, s, move("m2", entry(inventory.AtSupplier, "", -5), other)); err == nil {
		t.Error("a move that turns one lot into another was posted")
	}
	if _, err := s.Moves().Get(t.Context(), site+"/moves/m1"); !errors.Is(err, apierr.Reason(inventory.MoveMissing)) {
		t.Errorf("a refused move was kept: %v", err)
	}
}

func noPlaceBelowNothing(t *testing.T, s inventory.Store) {
	must(t, post(t, s, move("m1", entry(inventory.AtSupplier, "", -5), entry(inventory.AtLocation, "a", 5))))
	err := post(t, s, move("m2", entry(inventory.AtLocation, "a", -6), entry(inventory.AtLocation, "b", 6)))
	wantReason(t, err, inventory.StockShort)
	err = post(t, s, move("m3", entry(inventory.AtLocation, "c", -1), entry(inventory.AtLocation, "b", 1)))
	wantReason(t, err, inventory.StockShort)
	places, err := s.LotPlaces(t.Context(), site+"/lots/x")
	must(t, err)
	if !slices.Equal(places, []inventory.Place{{Location: "a", Mass: kg(5)}}) {
		t.Errorf("places are %v", places)
	}
}

func rollback(t *testing.T, s inventory.Store) {
	boom := errors.New("boom")
	err := s.InTx(t.Context(), func(ctx context.Context) error {
		if err := s.Post(ctx, move("m1", entry(inventory.AtSupplier, "", -5), entry(inventory.AtLocation, "a", 5))); err != nil {
			return err
		}
		if _, err := s.Next(ctx, site, "n", 1); err != nil {
			return err
		}
		return boom
	})
	if !errors.Is(err, boom) {
		t.Fatal(err)
	}
	if places, err := s.LotPlaces(t.Context(), site+"/lots/x"); err != nil || len(places) != 0 {
		t.Errorf("places are %v, %v", places, err)
	}
	must(t, s.InTx(t.Context(), func(ctx context.Context) error {
		n, err := s.Next(ctx, site, "n", 1)
		if n != 1 {
			t.Errorf("next is %d", n)
		}
		return err
	}))
}

func counters(t *testing.T, s inventory.Store) {
	var mu sync.Mutex
	seen := map[int64]bool{}
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			for range 5 {
				var first int64
				err := s.InTx(t.Context(), func(ctx context.Context) (err error) {
					first, err = s.Next(ctx, site, "n", 3)
					return err
				})
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				for i := range int64(3) {
					if seen[first+i] {
						t.Errorf("%d was given twice", first+i)
					}
					seen[first+i] = true
				}
				mu.Unlock()
			}
		})
	}
	group.Wait()
	if len(seen) != 60 || !seen[1] || !seen[60] {
		t.Errorf("%d numbers were given", len(seen))
	}
}

func promiseWhatIsThere(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	lot := receive(t, service, "b1", 5, "")
	err := s.InTx(t.Context(), func(ctx context.Context) error {
		l, err := s.Lots().Get(ctx, lot)
		if err != nil {
			return err
		}
		l.Reserved, l.Version = kg(6), l.Version+1
		return s.Lots().Update(ctx, l)
	})
	wantReason(t, err, inventory.StockShort)
}

// outcome counts what became of concurrent calls.
type outcome struct{ won, short, other atomic.Int64 }

func (o *outcome) note(t *testing.T, err error) {
	switch {
	case err == nil:
		o.won.Add(1)
	case errors.Is(err, apierr.Reason(inventory.StockShort)):
		o.short.Add(1)
	default:
		o.other.Add(1)
		t.Error(err)
	}
}

// twoConsumers lets ten batches want 3 kg each of 20 kg in two lots, half of them by reserving first: six can have it.
func twoConsumers(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	a := receive(t, service, "b1", 10, "2026-03-12")
	b := receive(t, service, "b2", 10, "2026-03-13")
	var o outcome
	var group sync.WaitGroup
	for i := range 10 {
		group.Go(func() {
			batch := site + "/batches/" + string(rune('a'+i))
			if i%2 == 0 {
				if _, err := service.ReserveStock(t.Context(), site, "", batch, []inventory.ItemMass{{Item: site + "/items/bones", Mass: kg(3)}}); err != nil {
					o.note(t, err)
					return
				}
			}
			_, _, err := service.ConsumeStock(t.Context(), inventory.Consumption{Site: site, Batch: batch, Inputs: []inventory.ConsumptionInput{{Item: site + "/items/bones", Mass: kg(3)}}})
			o.note(t, err)
		})
	}
	group.Wait()
	if o.won.Load() != 6 || o.short.Load() != 4 {
		t.Errorf("%d batches got stock, %d were told that it is short", o.won.Load(), o.short.Load())
	}
	left := kg(0)
	for _, name := range []string{a, b} {
		l, err := s.Lots().Get(t.Context(), name)
		must(t, err)
		left += l.OnHand
	}
	if left != kg(2) {
		t.Errorf("%v is left", left)
	}
	audited(t, s)
}

func twoShipments(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	lot := receive(t, service, "b1", 10, "")
	_, err := service.PackContainers(t.Context(), inventory.Packing{Site: site, Batch: site + "/batches/p", Item: site + "/items/pouch", Sources: []inventory.PackingSource{{Lot: lot}}, Count: 10})
	must(t, err)
	var o outcome
	var group sync.WaitGroup
	for range 5 {
		group.Go(func() {
			sh, err := service.CreateShipment(t.Context(), inventory.Picking{Site: site, Outlet: site + "/outlets/o", Lines: []inventory.PickingLine{{Item: site + "/items/pouch", Count: 3}}})
			if err == nil {
				_, err = service.DispatchShipment(t.Context(), inventory.Dispatch{Shipment: sh.Name})
			}
			o.note(t, err)
		})
	}
	group.Wait()
	if o.won.Load() != 3 || o.short.Load() != 2 {
		t.Errorf("%d shipments left, %d were told that it is short", o.won.Load(), o.short.Load())
	}
	cs, err := s.Containers().List(t.Context(), inventory.ListQuery{Site: site, Limit: 20, Filter: "state = SHIPPED"})
	must(t, err)
	if len(cs) != 9 {
		t.Errorf("%d containers left", len(cs))
	}
	audited(t, s)
}

func firstExpiredFirst(t *testing.T, s inventory.Store) {
	service := kitchen(t, s)
	receive(t, service, "none", 1, "2026-12-01")
	receive(t, service, "b2", 1, "2026-03-12")
	receive(t, service, "b1", 1, "2026-03-12")
	receive(t, service, "a", 1, "2026-03-20")
	lots, err := s.OpenLots(t.Context(), site, site+"/items/bones")
	must(t, err)
	var got []string
	for _, l := range lots {
		got = append(got, l.Name[len(site+"/lots/"):])
	}
	if want := []string{"b1", "b2", "a", "none"}; !slices.Equal(got, want) {
		t.Errorf("order is %v, want %v", got, want)
	}
}

func packOne(t *testing.T, service *inventory.Service, lot string) error {
	_, err := service.PackContainers(t.Context(), inventory.Packing{Site: site, Batch: site + "/batches/p", Item: site + "/items/pouch", Sources: []inventory.PackingSource{{Lot: lot}}, Count: 1})
	return err
}
