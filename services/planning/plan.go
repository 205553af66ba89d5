package planning

import (
	"context"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// maxPlanDays is the longest plan.
const maxPlanDays = 120

// PlanState is the state of a plan.
type PlanState string

// The states of a plan.
const (
	PlanDraft      PlanState = "DRAFT"
	PlanReleased   PlanState = "RELEASED"
	PlanSuperseded PlanState = "SUPERSEDED"
)

// Plan is the batches and purchases for a span of days.
type Plan struct {
	Meta
	DisplayName  string
	Start        Date
	End          Date // day after the last
	State        PlanState
	ServiceLevel float64
	Purchases    []Purchase
	Shortages    []Shortage
	Summary      PlanSummary
	Base         string   // plan in force when this one was computed; may be empty
	Firm         []string // batches in progress that it counts on
	Replaces     []string // batches of the base that had not begun; it does not count on them
	Notes        []string
	Coverage     []Coverage
	Releaser     string
	ReleaseTime  time.Time
}

// Purchase is one line to order from a supplier.
type Purchase struct {
	Name         string
	Item         string
	Supplier     string
	Mass         units.Milligrams
	Cases        int
	OrderDate    Date
	DeliveryDate Date
	NeedDate     Date
	Pegs         []Peg
}

// Shortage is demand that will not be met on its day.
type Shortage struct {
	Order      string
	Par        string
	Item       string
	Product    string
	Containers int
	Mass       units.Milligrams
	NeedDate   Date
	Available  Date // empty: not within the plan
	RootItem   string
	Cause      string // name in the API: LEAD_TIME, NO_DELIVERY and so on
	Reason     string
}

// PlanSummary holds figures of the plan as a whole.
type PlanSummary struct {
	Orders            int
	OrderedContainers int
	CoveredContainers int
	Batches           int
	Nominal           units.Milligrams
	Purchases         int
	Purchased         units.Milligrams
	Shortages         int
	Expiring          units.Milligrams
}

// Coverage is how many packs of an order line are there by the moment of dispatch.
type Coverage struct {
	Order   string
	Product string
	Count   int
}

// PlanRequest says what to plan.
type PlanRequest struct {
	ID           string // last part of the name; made up when empty
	DisplayName  string
	Start, End   Date
	ServiceLevel float64 // 0: that of the site
}

// CreatePlan computes a plan and, unless dryRun is set, saves it as a draft with its batches.
func (s *Service) CreatePlan(ctx context.Context, parent string, r PlanRequest, dryRun bool) (*Plan, []*Batch, error) {
	name, err := childName(parent, "plans", r.ID, "plan")
	if err != nil {
		return nil, nil, err
	}
	facts, err := s.gather(ctx, parent, &r)
	if err != nil {
		return nil, nil, err
	}
	plan, batches, err := compute(facts, name, r)
	if err != nil {
		return nil, nil, err
	}
	if dryRun {
		return plan, batches, nil
	}
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.store.Plans().Insert(ctx, plan); err != nil {
			return err
		}
		for _, b := range batches {
			if err := s.store.Batches().Insert(ctx, b); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	return plan, batches, nil
}

// checkSpan refuses days that cannot be planned.
func checkSpan(r *PlanRequest, site *Site, now time.Time) error {
	var f faults
	for _, d := range []struct {
		field string
		day   *Date
	}{{"plan.start_date", &r.Start}, {"plan.end_date", &r.End}} {
		if *d.day == "" {
			f.add(d.field, "is empty: give a day as in 2026-03-29")
		} else if parsed, err := ParseDate(string(*d.day)); err != nil {
			f.add(d.field, "%s", err)
		} else {
			*d.day = parsed
		}
	}
	if len(f.list) == 0 {
		switch days := r.Start.DaysUntil(r.End); {
		case days < 1:
			f.add("plan.end_date", "%s is not after the first day %s: give the day after the last day", r.End, r.Start)
		case days > maxPlanDays:
			f.add("plan.end_date", "makes a plan of %d days: plan at most %d at a time", days, maxPlanDays)
		}
	}
	if err := f.err("plan of " + site.Name); err != nil {
		return err
	}
	if today := DateOf(now, site.Zone()); r.Start < today {
		return apierr.FailedPrecondition(PlanStartsInPast, "the plan of %s would begin on %s, and today is %s: begin today or later", site.Name, r.Start, today).
			With("site", site.Name).With("start_date", string(r.Start)).With("today", string(today))
	}
	return nil
}

// Plan returns one plan with its batches.
func (s *Service) Plan(ctx context.Context, name string) (*Plan, []*Batch, error) {
	var plan *Plan
	var batches []*Batch
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if plan, err = s.store.Plans().Get(ctx, name); err != nil {
			return err
		}
		batches, err = s.store.PlanBatches(ctx, name)
		return err
	})
	return plan, batches, err
}

// ListPlans returns a page of a site's plans, newest first, without batches.
func (s *Service) ListPlans(ctx context.Context, q Query) ([]*Plan, error) {
	return s.store.Plans().List(ctx, q)
}

// DeletePlan deletes a draft and its batches.
func (s *Service) DeletePlan(ctx context.Context, name, etag string) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		plan, err := s.store.Plans().Get(ctx, name)
		if err != nil {
			return err
		}
		if err := plan.checkEtag(etag); err != nil {
			return err
		}
		if plan.State != PlanDraft {
			return notDraftError(plan, "only drafts can be deleted")
		}
		return s.store.DeletePlan(ctx, name)
	})
}
