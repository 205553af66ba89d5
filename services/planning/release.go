package planning

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

func notDraftError(plan *Plan, hint string) error {
	state := strings.ToLower(string(plan.State))
	return apierr.FailedPrecondition(PlanNotDraft, "%s is %s: %s", plan.Name, state, hint).With("resource", plan.Name).With("state", state)
}

func outdatedError(plan *Plan, format string, args ...any) error {
	why := fmt.Sprintf(format, args...)
	return apierr.FailedPrecondition(PlanOutdated, "%s is out of date: %s. Make a new plan and release that", plan.Name, why).
		With("resource", plan.Name).With("why", why)
}

// ReleasePlan puts a draft in force. The plan before is superseded: its batches that have not begun are cancelled, those
// in progress go on and are counted on by the new plan. With dryRun nothing is changed.
func (s *Service) ReleasePlan(ctx context.Context, name, etag, actor string, dryRun bool) (*Plan, []*Batch, error) {
	var plan *Plan
	var batches []*Batch
	run := s.store.InTx
	if dryRun {
		run = s.store.InReadTx
	}
	err := run(ctx, func(ctx context.Context) error {
		var err error
		if plan, err = s.store.Plans().Get(ctx, name); err != nil {
			return err
		}
		if batches, err = s.store.PlanBatches(ctx, name); err != nil {
			return err
		}
		if err := plan.checkEtag(etag); err != nil {
			return err
		}
		if plan.State != PlanDraft {
			return notDraftError(plan, "only a draft can be released")
		}
		base, old, err := s.checkCurrent(ctx, plan)
		if err != nil {
			return err
		}
		plan.State, plan.Releaser, plan.ReleaseTime = PlanReleased, actor, s.now()
		batches = slices.DeleteFunc(batches, func(b *Batch) bool { return b.State != BatchPlanned })
		for _, b := range batches {
			b.State = BatchReleased
		}
		if dryRun {
			return nil
		}
		return s.release(ctx, plan, batches, base, old)
	})
	if err != nil {
		return nil, nil, err
	}
	return plan, batches, nil
}

// checkCurrent refuses a plan that was computed from facts that no longer hold, and returns the plan in force with its batches.
func (s *Service) checkCurrent(ctx context.Context, plan *Plan) (*Plan, []*Batch, error) {
	siteName := SiteOf(plan.Name)
	site, err := s.store.Sites().Get(ctx, siteName)
	if err != nil {
		return nil, nil, err
	}
	if today := DateOf(s.now(), site.Zone()); plan.End <= today {
		return nil, nil, outdatedError(plan, "its last day is over")
	}
	base, err := s.store.ReleasedPlan(ctx, siteName)
	if err != nil {
		return nil, nil, err
	}
	baseName := ""
	if base != nil {
		baseName = base.Name
	}
	if baseName != plan.Base {
		return nil, nil, outdatedError(plan, "%s was released since it was computed", baseName)
	}
	running, err := s.store.BatchesInProgress(ctx, siteName)
	if err != nil {
		return nil, nil, err
	}
	var old []*Batch
	if base != nil {
		if old, err = s.store.PlanBatches(ctx, base.Name); err != nil {
			return nil, nil, err
		}
	}
	for _, b := range slices.Concat(running, old) {
		unforeseen := b.State == BatchInProgress && !slices.Contains(plan.Firm, b.Name)
		over := b.State == BatchDone && slices.Contains(plan.Replaces, b.Name)
		if unforeseen || over {
			return nil, nil, outdatedError(plan, "%s was begun since it was computed", b.Name)
		}
	}
	return base, old, nil
}

// release writes what ReleasePlan decided and publishes it.
func (s *Service) release(ctx context.Context, plan *Plan, batches []*Batch, base *Plan, old []*Batch) error {
	kept := slices.Clone(plan.Firm)
	superseded := ""
	if base != nil {
		superseded = base.Name
		base.State = PlanSuperseded
		if err := s.save(ctx, base, func(ctx context.Context) error { return s.store.Plans().Update(ctx, base) }); err != nil {
			return err
		}
		for _, b := range old {
			if b.State != BatchReleased {
				continue
			}
			if err := s.cancel(ctx, b, "replaced by "+plan.Name); err != nil {
				return err
			}
		}
	}
	if err := s.save(ctx, plan, func(ctx context.Context) error { return s.store.Plans().Update(ctx, plan) }); err != nil {
		return err
	}
	for _, b := range batches {
		if err := s.save(ctx, b, func(ctx context.Context) error { return s.store.Batches().Update(ctx, b) }); err != nil {
			return err
		}
	}
	if err := s.markCoverage(ctx, plan); err != nil {
		return err
	}
	if err := s.events.PlanReleased(ctx, plan, batches, superseded, kept); err != nil {
		return err
	}
	for i := range plan.Purchases {
		if err := s.events.PurchaseProposed(ctx, plan, &plan.Purchases[i]); err != nil {
			return err
		}
	}
	return nil
}

// markCoverage writes on each order line how many packs the plan covers. Lines changed since are left alone: the plan does
// not know them.
func (s *Service) markCoverage(ctx context.Context, plan *Plan) error {
	byOrder := map[string][]Coverage{}
	var names []string
	for _, c := range plan.Coverage {
		if byOrder[c.Order] == nil {
			names = append(names, c.Order)
		}
		byOrder[c.Order] = append(byOrder[c.Order], c)
	}
	for _, name := range names {
		order, err := s.store.Orders().Get(ctx, name)
		if err != nil {
			return err
		}
		if order.State != OrderPlaced || changedSince(order, plan.CreateTime) {
			continue
		}
		for _, c := range byOrder[name] {
			for i := range order.Lines {
				if order.Lines[i].Product == c.Product {
					order.Lines[i].Planned = &c.Count
				}
			}
		}
		if err := s.save(ctx, order, func(ctx context.Context) error { return s.store.Orders().Update(ctx, order) }); err != nil {
			return err
		}
	}
	return nil
}

func changedSince(order *Order, t time.Time) bool { return order.UpdateTime.After(t) }
