package sqlstore

import (
	"context"
	"fmt"

	"rondeau.internal/services/inventory"
)

// Audit recomputes everything that follows from the moves of a site and names each difference.
func (s *Store) Audit(ctx context.Context, site string) ([]string, error) {
	var faults []string
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	err := s.InReadTx(ctx, func(ctx context.Context) error {
		faults = nil
		for _, check := range []func(context.Context, string, func(string, ...any)) error{s.auditMoves, s.auditBalances, s.auditLots, s.auditBatches, s.auditPlaces} {
			if err := check(ctx, site, fault); err != nil {
				return wrap("audit", err)
			}
		}
		return nil
	})
	return faults, err
}

func (s *Store) auditMoves(ctx context.Context, site string, fault func(string, ...any)) error {
	rows, err := s.q(ctx).UnbalancedMoves(ctx, site)
	for _, r := range rows {
		fault("%s: entries of lot %q, item %q add up to %v", r.Move, r.Lot, r.Item, mg(r.MassMg))
	}
	return err
}

func (s *Store) auditBalances(ctx context.Context, site string, fault func(string, ...any)) error {
	type key struct{ account, reference, item, lot string }
	sums := map[key]int64{}
	rows, err := s.q(ctx).EntrySums(ctx, site)
	if err != nil {
		return err
	}
	for _, r := range rows {
		sums[key{r.Account, r.Reference, r.Item, r.Lot}] = r.MassMg
	}
	balances, err := s.q(ctx).Balances(ctx, site)
	if err != nil {
		return err
	}
	for _, b := range balances {
		k := key{b.Account, b.Reference, b.Item, b.Lot}
		if sums[k] != b.MassMg {
			fault("balance of %v is %v, its entries add up to %v", k, mg(b.MassMg), mg(sums[k]))
		}
		if b.Account == string(inventory.AtLocation) && b.MassMg < 0 {
			fault("%s holds %v of %s", b.Reference, mg(b.MassMg), b.Lot)
		}
		delete(sums, k)
	}
	for k, mass := range sums {
		if mass != 0 {
			fault("account %v has entries of %v and no balance", k, mg(mass))
		}
	}
	return nil
}

func (s *Store) auditLots(ctx context.Context, site string, fault func(string, ...any)) error {
	rows, err := s.q(ctx).AuditLots(ctx, site)
	for _, l := range rows {
		if l.OnHandMg != l.PlacedMg {
			fault("%s: %v on hand, %v in places", l.Name, mg(l.OnHandMg), mg(l.PlacedMg))
		}
		if l.ReservedMg != l.PromisedMg+l.PickedMg {
			fault("%s: %v reserved, %v promised and %v picked", l.Name, mg(l.ReservedMg), mg(l.PromisedMg), mg(l.PickedMg))
		}
		if l.ReservedMg > l.OnHandMg {
			fault("%s: %v reserved of %v", l.Name, mg(l.ReservedMg), mg(l.OnHandMg))
		}
		if l.InitialMg != l.MadeMg {
			fault("%s: began with %v, its move says %v", l.Name, mg(l.InitialMg), mg(l.MadeMg))
		}
		if l.Packed && (l.PackedMg != l.OnHandMg || l.PackedCount != l.ContainerCount) {
			fault("%s: %d containers of %v in the kitchen, the books say %d of %v", l.Name, l.PackedCount, mg(l.PackedMg), l.ContainerCount, mg(l.OnHandMg))
		}
	}
	return err
}

func (s *Store) auditBatches(ctx context.Context, site string, fault func(string, ...any)) error {
	rows, err := s.q(ctx).AuditBatches(ctx, site)
	for _, a := range rows {
		if a.InputMg != a.InMg || a.OutputMg != -a.OutMg || a.LossMg+a.UnexplainedMg != -a.LostMg {
			fault("%s: account says %v in, %v out, %v lost; entries say %v, %v, %v", a.Name, mg(a.InputMg), mg(a.OutputMg), mg(a.LossMg+a.UnexplainedMg), mg(a.InMg), mg(-a.OutMg), mg(-a.LostMg))
		}
		if rest := a.InMg + a.OutMg + a.LostMg; a.Closed && rest != 0 {
			fault("%s is closed with %v inside", a.Name, mg(rest))
		}
	}
	return err
}

// auditPlaces compares containers and balances place by place.
func (s *Store) auditPlaces(ctx context.Context, site string, fault func(string, ...any)) error {
	rows, err := s.q(ctx).AuditContainerPlaces(ctx, site)
	if err != nil {
		return err
	}
	for _, r := range rows {
		places, err := s.LotPlaces(ctx, r.Lot)
		if err != nil {
			return err
		}
		var there int64
		for _, p := range places {
			if p.Location == r.Location {
				there = int64(p.Mass)
			}
		}
		if there != r.MassMg {
			fault("%s: containers in %s weigh %v, the books say %v", r.Lot, r.Location, mg(r.MassMg), mg(there))
		}
	}
	return nil
}
