package sqlstore

import (
	"context"
	"errors"
	"fmt"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/sqlstore/internal/db"
)

// Post appends a move and changes the balances of its accounts. This is the one place through which mass moves.
func (s *Store) Post(ctx context.Context, m *inventory.Move) error {
	if err := m.Balanced(); err != nil {
		return fmt.Errorf("refuse to post: %w", err)
	}
	site := inventory.SiteOf(m.Name)
	q := s.q(ctx)
	err := q.InsertMove(ctx, db.InsertMoveParams{
		Name: m.Name, Site: site, Uid: m.UID, Kind: string(m.Kind), Batch: m.Batch, Run: m.Run, Document: m.Document, Reason: m.Reason,
		MoveUs: sqldb.Micros(m.MoveTime), CreateUs: sqldb.Micros(m.RecordTime), Actor: m.Actor,
	})
	if err != nil {
		return wrap("insert move", err)
	}
	for i, e := range m.Entries {
		err := q.InsertEntry(ctx, db.InsertEntryParams{
			Move: m.Name, Line: int64(i), Site: site, Account: string(e.Account), Reference: e.Reference, Item: e.Item, Lot: e.Lot, MassMg: int64(e.Mass),
		})
		if err != nil {
			return wrap("insert entry", err)
		}
		if err := s.book(ctx, q, site, e); err != nil {
			return err
		}
	}
	return nil
}

// book adds an entry to its balance.
func (s *Store) book(ctx context.Context, q *db.Queries, site string, e inventory.Entry) error {
	n, err := q.AddToBalance(ctx, db.AddToBalanceParams{Account: string(e.Account), Reference: e.Reference, Item: e.Item, Lot: e.Lot, Delta: int64(e.Mass)})
	if err == nil && n == 0 {
		n, err = q.InsertBalance(ctx, db.InsertBalanceParams{Account: string(e.Account), Reference: e.Reference, Item: e.Item, Lot: e.Lot, Site: site, MassMg: int64(e.Mass)})
	}
	if err = sqldb.Translate(written(n, err)); errors.Is(err, sqldb.ErrCheck) {
		return apierr.FailedPrecondition(inventory.StockShort, "%s does not hold that much of %s; read the stock again", e.Reference, e.Lot).
			With("lot", e.Lot).With("place", e.Reference).WithViolation(e.Lot, "less than nothing would be left in %s", e.Reference).Wrap(err)
	}
	return wrap("change balance", err)
}

// LotPlaces are the places where a lot is.
func (s *Store) LotPlaces(ctx context.Context, lot string) ([]inventory.Place, error) {
	rows, err := s.q(ctx).LotPlaces(ctx, lot)
	var out []inventory.Place
	for _, r := range rows {
		out = append(out, inventory.Place{Location: r.Reference, Mass: mg(r.MassMg)})
	}
	return out, wrap("read places", err)
}

// LotAccounts are all balances of a lot, those that came to zero too.
func (s *Store) LotAccounts(ctx context.Context, lot string) ([]inventory.Balance, error) {
	rows, err := s.q(ctx).LotAccounts(ctx, lot)
	var out []inventory.Balance
	for _, r := range rows {
		out = append(out, inventory.Balance{Account: inventory.AccountKind(r.Account), Reference: r.Reference, Item: r.Item, Lot: r.Lot, Mass: mg(r.MassMg)})
	}
	return out, wrap("read balances", err)
}

func batchEntry(move, kind, batch string, moveUS int64, item, lot string, mass int64) inventory.BatchEntry {
	return inventory.BatchEntry{Move: move, Kind: inventory.MoveKind(kind), Batch: batch, MoveTime: sqldb.FromMicros(moveUS), Item: item, Lot: lot, Mass: mg(mass)}
}

// BatchEntries are the entries of the account of a batch.
func (s *Store) BatchEntries(ctx context.Context, batch string) ([]inventory.BatchEntry, error) {
	rows, err := s.q(ctx).BatchEntries(ctx, batch)
	var out []inventory.BatchEntry
	for _, r := range rows {
		out = append(out, batchEntry(r.Move, r.Kind, r.Batch, r.MoveUs, r.Item, r.Lot, r.MassMg))
	}
	return out, wrap("read batch entries", err)
}

// LotUses are the entries by which a lot went into batches.
func (s *Store) LotUses(ctx context.Context, lot string) ([]inventory.BatchEntry, error) {
	rows, err := s.q(ctx).LotUses(ctx, lot)
	var out []inventory.BatchEntry
	for _, r := range rows {
		out = append(out, batchEntry(r.Move, r.Kind, r.Batch, r.MoveUs, r.Item, r.Lot, r.MassMg))
	}
	return out, wrap("read uses of a lot", err)
}

// MoveEntries are the entries of a move in its batch's account.
func (s *Store) MoveEntries(ctx context.Context, move string) ([]inventory.BatchEntry, error) {
	rows, err := s.q(ctx).MoveProcessEntries(ctx, move)
	var out []inventory.BatchEntry
	for _, r := range rows {
		out = append(out, batchEntry(r.Move, r.Kind, r.Batch, r.MoveUs, r.Item, r.Lot, r.MassMg))
	}
	return out, wrap("read move entries", err)
}

// BatchLosses are the losses of a batch by kind.
func (s *Store) BatchLosses(ctx context.Context, batch string) ([]inventory.Balance, error) {
	rows, err := s.q(ctx).BatchLosses(ctx, batch)
	var out []inventory.Balance
	for _, r := range rows {
		out = append(out, inventory.Balance{Account: inventory.Lost, Reference: r.Reference, Mass: mg(r.MassMg)})
	}
	return out, wrap("read losses", err)
}

// InProcess is what went into open batches, by item.
func (s *Store) InProcess(ctx context.Context, site string) (map[string]units.Milligrams, error) {
	rows, err := s.q(ctx).InProcess(ctx, site)
	out := map[string]units.Milligrams{}
	for _, r := range rows {
		out[r.Item] = mg(r.MassMg)
	}
	return out, wrap("read what is in process", err)
}

// Account is the account of a batch, or nil.
func (s *Store) Account(ctx context.Context, batch string) (*inventory.Account, error) {
	r, err := s.q(ctx).Account(ctx, batch)
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, wrap("read account", err)
	}
	return &inventory.Account{
		Batch: r.Name, Closed: r.Closed, Input: mg(r.InputMg), Output: mg(r.OutputMg), Loss: mg(r.LossMg), Unexplained: mg(r.UnexplainedMg),
		CloseTime: sqldb.FromMicros(r.CloseUs), Version: r.Version,
	}, nil
}

// PutAccount creates or replaces the account of a batch; its version is one above the stored one.
func (s *Store) PutAccount(ctx context.Context, a *inventory.Account) error {
	q := s.q(ctx)
	if a.Version == 1 {
		n, err := q.InsertAccount(ctx, db.InsertAccountParams{
			Name: a.Batch, Site: inventory.SiteOf(a.Batch), Closed: a.Closed, InputMg: int64(a.Input), OutputMg: int64(a.Output), LossMg: int64(a.Loss),
			UnexplainedMg: int64(a.Unexplained), CloseUs: sqldb.Micros(a.CloseTime), Version: a.Version,
		})
		return wrap("insert account", written(n, err))
	}
	n, err := q.UpdateAccount(ctx, db.UpdateAccountParams{
		Name: a.Batch, Closed: a.Closed, InputMg: int64(a.Input), OutputMg: int64(a.Output), LossMg: int64(a.Loss),
		UnexplainedMg: int64(a.Unexplained), CloseUs: sqldb.Micros(a.CloseTime), Version: a.Version, Before: a.Version - 1,
	})
	if err == nil && n == 0 {
		return apierr.Aborted(inventory.EtagMismatch, "%s was changed in the meantime; read it again and repeat the change", a.Batch).With("resource", a.Batch)
	}
	return wrap("update account", err)
}
