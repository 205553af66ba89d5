package inventory

import (
	"context"
	"fmt"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// LossKind says where mass went that became no lot.
type LossKind string

// The kinds of loss. Unexplained is written by CloseBatch alone.
const (
	Evaporation    LossKind = "EVAPORATION"
	StrainedSolids LossKind = "STRAINED_SOLIDS"
	Trim           LossKind = "TRIM"
	Spill          LossKind = "SPILL"
	Sample         LossKind = "SAMPLE"
	PackingLoss    LossKind = "PACKING"
	Unexplained    LossKind = "UNEXPLAINED"
)

// Loss is mass that left a batch without becoming a lot.
type Loss struct {
	Kind LossKind
	Mass units.Milligrams
}

// MassBalance says where the mass of a lot or a batch went.
type MassBalance struct {
	Name        string
	Input       units.Milligrams
	Accounted   units.Milligrams // everything but unexplained differences
	Unexplained units.Milligrams
	Inputs      []BalancePart
	Outputs     []BalancePart
	Closed      bool             // batches: the books are closed
	Inside      units.Milligrams // open batches: mass that is still inside
	Tolerance   units.Milligrams // batches: unexplained difference that closing accepts
}

// Recovery is the accounted mass in per cent of the input, 0 when nothing came in.
func (m *MassBalance) Recovery() float64 {
	if m.Input <= 0 {
		return 0
	}
	return 100 * float64(m.Accounted) / float64(m.Input)
}

// BalancePart is a part of a mass balance.
type BalancePart struct {
	Title     string
	Reference string
	Item      string
	Mass      units.Milligrams
}

// Closing asks to close the books of a batch.
type Closing struct {
	Site         string
	Batch        string
	Losses       []Loss
	Time         time.Time // zero means now
	ValidateOnly bool
}

// CloseBatch closes the books of a batch. Inputs must equal outputs plus measured losses but for the tolerance of the policy; the rest is
// booked as an unexplained loss, so that the account ends at zero. What the batch had reserved becomes free.
func (s *Service) CloseBatch(ctx context.Context, c Closing) (*MassBalance, error) {
	when, err := s.moment(c.Time, "close_time")
	if err != nil {
		return nil, err
	}
	var out *MassBalance
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		b, err := s.open(ctx, c.Site, MoveLose, when)
		if err != nil {
			return err
		}
		a, err := b.openAccount(c.Batch, "")
		if err != nil {
			return err
		}
		if a.Version == 0 {
			return unknownBatch(c.Batch)
		}
		for i, l := range c.Losses {
			if err := b.lose(l, i); err != nil {
				return err
			}
		}
		if err := b.balance(a); err != nil {
			return err
		}
		a.Closed, a.CloseTime = true, when
		own, err := b.ownReservations(c.Batch)
		if err != nil {
			return err
		}
		for _, r := range own {
			if err := b.free(r); err != nil {
				return err
			}
		}
		if err := b.commit(); err != nil {
			return err
		}
		if out, err = s.batchBalance(ctx, c.Batch); err != nil {
			return err
		}
		if c.ValidateOnly {
			return errDryRun
		}
		return s.events.Append(ctx, BatchClosedEvent{Batch: c.Batch, Balance: out, Time: when})
	})
	if c.ValidateOnly && isDryRun(err) {
		err = nil
	}
	return out, err
}

func unknownBatch(batch string) error {
	return apierr.FailedPrecondition(BatchUnknown, "nothing went into %s and nothing came out of it; record what it took first", batch).
		With("batch", batch).WithViolation(batch, "has no books")
}

func (b *book) lose(l Loss, i int) error {
	field := fmt.Sprintf("losses[%d]", i)
	switch l.Kind {
	case Evaporation, StrainedSolids, Trim, Spill, Sample, PackingLoss:
	default:
		return apierr.InvalidArgument(RequestInvalid, "%q is no loss that can be measured", l.Kind).With("kind", string(l.Kind)).
			WithViolation(field+".kind", "must be a measured loss")
	}
	if l.Mass < 0 {
		return positive(l.Mass, field+".mass_kg")
	}
	if l.Mass > 0 {
		b.loss(l.Kind, l.Mass)
		b.account.Loss += l.Mass
	}
	return nil
}

func (b *book) loss(kind LossKind, mass units.Milligrams) {
	b.move.Entries = append(b.move.Entries,
		Entry{Account: InProcess, Reference: b.move.Batch, Mass: -mass},
		Entry{Account: Lost, Reference: strings.ToLower(string(kind)), Mass: mass})
}

// balance books the rest of an account as unexplained when it is within the tolerance.
func (b *book) balance(a *Account) error {
	diff := a.Inside()
	tol := b.policy.tolerance(a.Input)
	if diff > tol || diff < -tol {
		hint := "more came out than went in; weigh again or record what is missing among the inputs"
		if diff > 0 {
			hint = "weigh what was strained off, steamed off or spilled and record it as a loss"
		}
		size := diff
		if size < 0 {
			size = -size
		}
		return apierr.FailedPrecondition(BatchUnbalanced, "%s does not balance: %s in, %s out as lots, %s measured losses; %s is unexplained and %s is allowed; %s",
			a.Batch, kg(a.Input), kg(a.Output), kg(a.Loss), kg(size), kg(tol), hint).
			With("batch", a.Batch).With("input", kg(a.Input)).With("output", kg(a.Output)).With("loss", kg(a.Loss)).
			With("difference", kg(diff)).With("tolerance", kg(tol)).
			WithViolation(a.Batch, "%s unexplained, %s allowed", kg(size), kg(tol))
	}
	if diff != 0 {
		b.loss(Unexplained, diff)
		a.Unexplained += diff
	}
	return nil
}

// MassBalance says where the mass of a lot or a batch went.
func (s *Service) MassBalance(ctx context.Context, name string) (*MassBalance, error) {
	var out *MassBalance
	err := s.store.InReadTx(ctx, func(ctx context.Context) (err error) {
		if Collection(name) == "batches" {
			out, err = s.batchBalance(ctx, name)
			return err
		}
		l, err := s.store.Lots().Get(ctx, name)
		if err != nil {
			return err
		}
		out, err = s.lotBalance(ctx, l)
		return err
	})
	return out, err
}

func (s *Service) batchBalance(ctx context.Context, batch string) (*MassBalance, error) {
	a, err := s.store.Account(ctx, batch)
	if err != nil {
		return nil, err
	}
	if a == nil {
		return nil, unknownBatch(batch)
	}
	policy, err := s.Policy(ctx, SiteOf(batch))
	if err != nil {
		return nil, err
	}
	m := &MassBalance{Name: batch, Input: a.Input, Accounted: a.Output + a.Loss, Unexplained: a.Unexplained, Closed: a.Closed, Tolerance: policy.tolerance(a.Input)}
	if !a.Closed {
		m.Inside = a.Inside()
		m.Accounted += m.Inside
	}
	entries, err := s.store.BatchEntries(ctx, batch)
	if err != nil {
		return nil, err
	}
	add := func(parts *[]BalancePart, title string, e BatchEntry, mass units.Milligrams) {
		for i, p := range *parts {
			if p.Title == title && p.Reference == e.Lot && p.Item == e.Item {
				(*parts)[i].Mass += mass
				return
			}
		}
		*parts = append(*parts, BalancePart{Title: title, Reference: e.Lot, Item: e.Item, Mass: mass})
	}
	for _, e := range entries {
		switch {
		case e.Item == "": // losses are added by kind below
		case e.Mass > 0:
			add(&m.Inputs, "consumed", e, e.Mass)
		default:
			add(&m.Outputs, "produced", e, -e.Mass)
		}
	}
	losses, err := s.store.BatchLosses(ctx, batch)
	if err != nil {
		return nil, err
	}
	for _, l := range losses {
		m.Outputs = append(m.Outputs, BalancePart{Title: strings.ReplaceAll(l.Reference, "_", " "), Mass: l.Mass})
	}
	return m, nil
}

// lotBalance follows a lot: everything that was received or made is in a place, in a batch, at an outlet or discarded; what counts could
// not find is unexplained.
func (s *Service) lotBalance(ctx context.Context, l *Lot) (*MassBalance, error) {
	balances, err := s.store.LotAccounts(ctx, l.Name)
	if err != nil {
		return nil, err
	}
	m := &MassBalance{Name: l.Name, Input: l.Initial, Inputs: []BalancePart{{Title: "received", Reference: l.Delivery, Item: l.Item, Mass: l.Initial}}}
	if l.Batch != "" {
		m.Inputs[0] = BalancePart{Title: "produced", Reference: l.Batch, Item: l.Item, Mass: l.Initial}
	}
	titles := map[AccountKind]string{AtLocation: "in stock", InProcess: "consumed", AtOutlet: "shipped", Discarded: "discarded", Adjustment: "unexplained"}
	for _, b := range balances {
		mass := b.Mass
		switch {
		case b.Account == AtSupplier:
			continue
		case b.Account == InProcess && b.Reference == l.Batch:
			mass += l.Initial // what came out of its own batch is the input; the rest went back in
		}
		if mass == 0 {
			continue
		}
		m.Outputs = append(m.Outputs, BalancePart{Title: titles[b.Account], Reference: b.Reference, Item: l.Item, Mass: mass})
		if b.Account == Adjustment {
			m.Unexplained += mass
		} else {
			m.Accounted += mass
		}
	}
	return m, nil
}
