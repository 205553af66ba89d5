package planning

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// BatchState is the state of a batch.
type BatchState string

// The states of a batch.
const (
	BatchPlanned    BatchState = "PLANNED"
	BatchReleased   BatchState = "RELEASED"
	BatchInProgress BatchState = "IN_PROGRESS"
	BatchDone       BatchState = "DONE"
	BatchCancelled  BatchState = "CANCELLED"
)

// Batch is one planned execution of a formula, or of the packing steps of a product.
type Batch struct {
	Meta
	DisplayName    string
	Plan           string
	FormulaVersion string // empty for packing
	Product        string // empty for cooking
	OutputItem     string
	Nominal        units.Milligrams
	Planned        units.Milligrams
	Expected       units.Milligrams
	Containers     int
	ServiceLevel   float64
	Inputs         []BatchInput
	ByProducts     []BatchByProduct
	Steps          []BatchStep
	EarliestStart  time.Time
	Due            time.Time
	ReadyDate      Date
	Duration       time.Duration // set-up, steps and waits as planning counted them
	Pegs           []Peg
	State          BatchState
	Weight         int
	Late           bool
	ShelfLife      time.Duration // of the output; 0: not limited
	StartTime      time.Time
	FinishTime     time.Time
	CancelReason   string
	FinishedSteps  []string // ids, sorted
}

// BatchInput is one input; its sources sum to its mass, except for water from the mains, which has none.
type BatchInput struct {
	Item    string
	Mass    units.Milligrams
	Step    string
	Sources []InputSource
}

// InputSource is where a part of an input comes from. Exactly one of the first four is set.
type InputSource struct {
	Batch     string
	Purchase  string
	Lot       string
	Delivery  string
	Mass      units.Milligrams
	ByProduct bool
}

// BatchByProduct is what comes out beside the main output.
type BatchByProduct struct {
	Item string
	Mass units.Milligrams
}

// BatchStep is a step scaled to the batch.
type BatchStep struct {
	Step       Step
	FillLiters float64
	LoadKg     float64
	OutputKg   float64
	Duration   time.Duration
	Allergens  []string
}

// Peg is a quantity and what it is for: an order, a par, a batch, or stock.
type Peg struct {
	Order      string
	Par        string
	Batch      string
	Stock      bool
	Mass       units.Milligrams
	Containers int
	UseDate    Date
}

// Batch returns one batch.
func (s *Service) Batch(ctx context.Context, name string) (*Batch, error) {
	return s.store.Batches().Get(ctx, name)
}

// ListBatches returns a page of a site's batches in order of due time and name.
func (s *Service) ListBatches(ctx context.Context, q Query) ([]*Batch, error) {
	return s.store.Batches().List(ctx, q)
}

// CancelBatch cancels a batch that has not begun.
func (s *Service) CancelBatch(ctx context.Context, name, etag, reason string) (*Batch, error) {
	var out *Batch
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		batch, err := s.store.Batches().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := batch.checkEtag(etag); err != nil {
			return err
		}
		out = batch
		if batch.State != BatchReleased && batch.State != BatchPlanned {
			state := strings.ToLower(strings.ReplaceAll(string(batch.State), "_", " "))
			return apierr.FailedPrecondition(BatchNotCancellable, "%s is %s: only a batch that has not begun can be cancelled", name, state).
				With("resource", name).With("state", state)
		}
		return s.cancel(ctx, batch, reason)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// cancel marks a batch and tells the other services.
func (s *Service) cancel(ctx context.Context, batch *Batch, reason string) error {
	known := batch.State != BatchPlanned // batches of drafts were never announced
	batch.State, batch.CancelReason = BatchCancelled, reason
	if err := s.save(ctx, batch, func(ctx context.Context) error { return s.store.Batches().Update(ctx, batch) }); err != nil {
		return err
	}
	if !known {
		return nil
	}
	return s.events.BatchCancelled(ctx, batch)
}

// RecordRunStarted notes that a run of a batch has begun. A fact goes before a plan: a batch that was cancelled in the same
// moment is in progress all the same. Repeats and late reports change nothing but an earlier start.
func (s *Service) RecordRunStarted(ctx context.Context, name string, at time.Time) error {
	return s.recordRun(ctx, name, func(batch *Batch) { batch.begin(at) })
}

// RecordRunFinished notes that a step is finished. The batch is done with its last step, or when scheduling says that
// nothing is left of it.
func (s *Service) RecordRunFinished(ctx context.Context, name, step string, start, finish time.Time, all bool) error {
	return s.recordRun(ctx, name, func(batch *Batch) {
		if start.IsZero() {
			start = finish
		}
		batch.begin(start)
		if i, found := slices.BinarySearch(batch.FinishedSteps, step); !found {
			batch.FinishedSteps = slices.Insert(batch.FinishedSteps, i, step)
		}
		last := len(batch.Steps) > 0 && batch.Steps[len(batch.Steps)-1].Step.ID == step
		if last || all {
			batch.State = BatchDone
		}
		if batch.State == BatchDone && finish.After(batch.FinishTime) {
			batch.FinishTime = finish
		}
	})
}

func (b *Batch) begin(at time.Time) {
	if b.State != BatchDone {
		b.State = BatchInProgress
		b.CancelReason = ""
	}
	if b.StartTime.IsZero() || at.Before(b.StartTime) {
		b.StartTime = at
	}
}

func (s *Service) recordRun(ctx context.Context, name string, change func(*Batch)) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		batch, err := s.store.Batches().Get(ctx, name)
		if err != nil {
			return fmt.Errorf("record run: %w", err)
		}
		change(batch)
		return s.save(ctx, batch, func(ctx context.Context) error { return s.store.Batches().Update(ctx, batch) })
	})
}
