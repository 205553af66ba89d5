package inventory

import (
	"context"
	"fmt"
	"time"

	"rondeau.internal/pkg/units"
)

// AccountKind says where mass can be.
type AccountKind string

// The accounts of the double entry. Only places are limited to what is there.
const (
	AtLocation AccountKind = "LOCATION"   // reference: the location
	InProcess  AccountKind = "PROCESS"    // reference: the batch
	AtSupplier AccountKind = "SUPPLIER"   // reference: the supplier
	Mains      AccountKind = "MAINS"      // no reference
	Lost       AccountKind = "LOSS"       // reference: the kind of loss in lower case
	AtOutlet   AccountKind = "OUTLET"     // reference: the outlet
	Adjustment AccountKind = "ADJUSTMENT" // no reference
	Discarded  AccountKind = "DISCARDED"  // no reference
)

// MoveKind says what happened.
type MoveKind string

// The kinds of move.
const (
	MoveReceive  MoveKind = "RECEIVE"
	MoveConsume  MoveKind = "CONSUME"
	MoveProduce  MoveKind = "PRODUCE"
	MovePacking  MoveKind = "PACKING"
	MoveLose     MoveKind = "LOSE"
	MoveTransfer MoveKind = "TRANSFER"
	MoveAdjust   MoveKind = "ADJUST"
	MoveDiscard  MoveKind = "DISCARD"
	MoveShip     MoveKind = "SHIP"
)

// Entry is one side of a move.
type Entry struct {
	Account   AccountKind
	Reference string
	Item      string
	Lot       string
	Mass      units.Milligrams // positive into the account
}

// Move is a change of stock. It is never changed afterwards.
type Move struct {
	Name       string
	Kind       MoveKind
	Entries    []Entry
	Batch      string
	Run        string
	Document   string // delivery or shipment
	Reason     string
	MoveTime   time.Time // when it happened
	RecordTime time.Time // when it was written down
	Actor      string
	UID        string
}

// Balanced says whether the masses of each lot (and of each item without lots) add up to zero, which is the law of the books. The
// error names the first lot that does not.
func (m *Move) Balanced() error {
	type key struct{ item, lot string }
	sums := map[key]units.Milligrams{}
	for i, e := range m.Entries {
		if e.Mass == 0 {
			return fmt.Errorf("move %s: entry %d moves nothing", m.Name, i)
		}
		k := key{e.Item, e.Lot}
		sum := sums[k] + e.Mass
		if (e.Mass > 0 && sum < sums[k]) || (e.Mass < 0 && sum > sums[k]) {
			return fmt.Errorf("move %s: %w", m.Name, units.ErrOverflow)
		}
		sums[k] = sum
	}
	for _, e := range m.Entries {
		if sum := sums[key{e.Item, e.Lot}]; sum != 0 {
			return fmt.Errorf("move %s: entries of lot %q, item %q add up to %v instead of zero", m.Name, e.Lot, e.Item, sum)
		}
	}
	return nil
}

// Balance is what an account holds of a lot.
type Balance struct {
	Account   AccountKind
	Reference string
	Item      string
	Lot       string
	Mass      units.Milligrams
}

// BatchEntry is an entry of a batch's account with its move.
type BatchEntry struct {
	Move     string
	Kind     MoveKind
	Batch    string
	MoveTime time.Time
	Item     string
	Lot      string
	Mass     units.Milligrams
}

// Account is the account of a batch.
type Account struct {
	Batch       string
	Closed      bool
	Input       units.Milligrams
	Output      units.Milligrams
	Loss        units.Milligrams // measured losses
	Unexplained units.Milligrams // negative when more was weighed out than in
	CloseTime   time.Time
	Version     int64
}

// Inside is the mass that is still in the batch.
func (a *Account) Inside() units.Milligrams { return a.Input - a.Output - a.Loss - a.Unexplained }

// Move reads a move.
func (s *Service) Move(ctx context.Context, name string) (*Move, error) {
	return s.store.Moves().Get(ctx, name)
}

// Moves lists moves, oldest first.
func (s *Service) Moves(ctx context.Context, q ListQuery) ([]*Move, error) {
	return s.store.Moves().List(ctx, q)
}
