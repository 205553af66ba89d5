package demo

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

// scheduleBook is what the manager knows of plans and schedules.
type scheduleBook struct {
	planned time.Time // when the plan in force was made
	solved  time.Time // when the last schedule was asked for
	epoch   int       // counts published schedules; expected starts of older ones are void
	pending bool      // a new schedule is asked for already
}

// pending is a fact of another service that planning must have heard of before it plans again.
type pending struct {
	batch   string
	started bool
	done    bool
	order   string
	shipped int32
}

const (
	planDays = 8
	// solveRest is the least time between two schedules that are made because of a delay (chosen, no source).
	solveRest = 45 * time.Minute
	// delayLimit is the delay from which on the manager schedules again (chosen, no source).
	delayLimit = 45 * time.Minute
	// longestSolve is real time; the iteration budget ends a computation long before.
	longestSolve = 30 * time.Second
)

// replan makes a plan from what is known now, puts it in force and schedules it.
func (w *world) replan(ctx context.Context, reason string) error {
	err := w.heard(ctx)
	if err != nil {
		return err
	}
	d := w.here(manager)
	w.plans++
	id := fmt.Sprintf("week-%d", w.plans)
	made, err := d.planning.CreatePlan(ctx, &planningpb.CreatePlanRequest{
		Parent: w.site, PlanId: id,
		Plan: &planningpb.Plan{StartDate: w.date(w.now), EndDate: w.date(w.now.AddDate(0, 0, planDays))},
	})
	if err != nil {
		return err
	}
	err = w.opt.Hook("release " + id)
	if err != nil {
		return err
	}
	plan, err := d.planning.ReleasePlan(ctx, &planningpb.ReleasePlanRequest{Name: made.GetName(), Etag: made.GetEtag()})
	if err != nil {
		return err
	}
	w.plan, w.schedule.planned = plan.GetName(), w.now
	cancelled := w.adopt(plan)
	w.report.Plans = append(w.report.Plans, PlanMade{
		Time: w.now, Plan: idOf(plan.GetName()), Reason: reason, Batches: len(plan.GetBatches()), Cancelled: cancelled,
		Kept: len(plan.GetFirmBatches()), Purchases: len(plan.GetPurchases()), PurchasedKg: plan.GetSummary().GetPurchasedKg(),
		Ordered: plan.GetSummary().GetOrderedContainerCount(), Covered: plan.GetSummary().GetCoveredContainerCount(),
		Shortages: shortageTexts(plan),
	})
	w.say("plan %s (%s): %d batches, %d purchases, %d of %d packs covered", idOf(plan.GetName()), reason, len(plan.GetBatches()),
		len(plan.GetPurchases()), plan.GetSummary().GetCoveredContainerCount(), plan.GetSummary().GetOrderedContainerCount())
	w.noteShortages(plan)
	err = w.purchasesArrive(ctx, plan)
	if err != nil {
		return err
	}
	err = w.opt.Hook("schedule " + id)
	if err != nil {
		return err
	}
	return w.solve(ctx, "plan "+idOf(plan.GetName())+": "+reason)
}

// noteShortages keeps why an order will be short, by the last plan that could still do something about it.
func (w *world) noteShortages(plan *planningpb.Plan) {
	for _, s := range plan.GetShortages() {
		w.say("  short: %s", s.GetReason())
	}
	for _, s := range plan.GetShortages() {
		if s.GetOrder() == "" {
			continue
		}
		why := s.GetReason()
		if _, rest, found := strings.Cut(why, ": "); found {
			why = rest
		}
		w.shortage[s.GetOrder()+" "+s.GetProduct()] = why
	}
}

func shortageTexts(plan *planningpb.Plan) []string {
	var out []string
	for _, s := range plan.GetShortages() {
		out = append(out, s.GetReason())
	}
	return out
}

// adopt takes the batches of a plan over; batches of the plan before that have not begun are cancelled by it.
func (w *world) adopt(plan *planningpb.Plan) (cancelled int) {
	for _, b := range w.ordered {
		if !b.started && !b.cancelled && !b.over {
			b.cancelled = true
			cancelled++
		}
	}
	for _, pb := range plan.GetBatches() {
		b := newBatch(pb)
		w.batches[pb.GetName()] = b
		w.ordered = append(w.ordered, b)
	}
	return cancelled
}

// heard waits until planning has heard what happened at the vessels and on the dock.
func (w *world) heard(ctx context.Context) error {
	d := w.here(manager)
	for _, n := range w.news {
		what := n.batch + n.order
		err := arrive(ctx, "planning's news of "+what, func(ctx context.Context) (string, error) {
			if n.order != "" {
				o, err := d.planning.GetOrder(ctx, &planningpb.GetOrderRequest{Name: n.order})
				if err != nil {
					return "", err
				}
				var sum int32
				for _, l := range o.GetLines() {
					sum += l.GetShippedContainerCount()
				}
				if sum < n.shipped {
					return fmt.Sprintf("it knows of %d shipped packs, %d were shipped", sum, n.shipped), nil
				}
				return "", nil
			}
			b, err := d.planning.GetBatch(ctx, &planningpb.GetBatchRequest{Name: n.batch})
			if err != nil {
				return "", err
			}
			state := b.GetState()
			if n.done && state != planningpb.Batch_DONE || n.started && state == planningpb.Batch_RELEASED {
				return "it takes it for " + state.String(), nil
			}
			return "", nil
		})
		if err != nil {
			return err
		}
	}
	w.news = nil
	return nil
}

// purchasesArrive waits until every purchase of the plan is an expected delivery.
func (w *world) purchasesArrive(ctx context.Context, plan *planningpb.Plan) error {
	d := w.here(manager)
	return arrive(ctx, "the expected deliveries of "+plan.GetName(), func(ctx context.Context) (string, error) {
		deliveries, err := all(func(token string) ([]*inventorypb.Delivery, string, error) {
			page, err := d.inventory.ListDeliveries(ctx, &inventorypb.ListDeliveriesRequest{
				Parent: w.site, PageSize: fullPage, PageToken: token, Filter: "state = EXPECTED",
			})
			return page.GetDeliveries(), page.GetNextPageToken(), err
		})
		if err != nil {
			return "", err
		}
		known := map[string]bool{}
		for _, delivery := range deliveries {
			for _, l := range delivery.GetLines() {
				known[l.GetPurchase()] = true
			}
		}
		for _, p := range plan.GetPurchases() {
			if !known[p.GetName()] {
				return p.GetName() + " is missing", nil
			}
		}
		return "", nil
	})
}

// ask asks for a new schedule because of a delay: at once, or when the last one is old enough.
func (w *world) ask(ctx context.Context, reason string) error {
	if w.schedule.pending {
		return nil
	}
	at := w.schedule.solved.Add(solveRest)
	if !at.After(w.now) {
		return w.solve(ctx, reason)
	}
	w.schedule.pending = true
	w.queue.add(at, "schedule again", func(ctx context.Context) error {
		w.schedule.pending = false
		if w.schedule.solved.Add(solveRest).After(w.now) {
			return nil // somebody scheduled in between
		}
		return w.solve(ctx, reason)
	})
	return nil
}

// solve computes a schedule with what has begun fixed, and publishes it. A kitchen without a publishable schedule works
// on by the old one, and the manager tries again.
func (w *world) solve(ctx context.Context, reason string) error {
	w.schedule.solved = w.now
	made := ScheduleMade{Time: w.now, Reason: reason}
	s, err := w.compute(ctx)
	if err == nil {
		made.Status = s.GetReport().GetStatus().String()
		made.Iterations, made.Gap = s.GetReport().GetIterationCount(), s.GetReport().GetGap()
		made.Summary = s.GetReport().GetSummary()
		made.Late = lateOf(s)
		for _, c := range s.GetReport().GetConflicts() {
			made.Violations = append(made.Violations, c.GetText())
		}
		s, err = w.here(manager).scheduling.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: s.GetName()})
	}
	if err != nil {
		known, ok := apierr.As(err)
		if !ok || known.Kind != apierr.KindFailedPrecondition && known.Kind != apierr.KindAborted {
			return err
		}
		made.Refused = known.Message
		for _, v := range known.Violations {
			made.Violations = append(made.Violations, v.Description)
		}
		w.report.Schedules = append(w.report.Schedules, made)
		w.say("no new schedule (%s): %s", reason, known.Message)
		for _, v := range made.Violations {
			w.say("  %s", v)
		}
		if w.schedule.epoch == 0 {
			return fmt.Errorf("no first schedule: %w", err) // nothing would ever be cooked
		}
		if known.Reason == "NO_BATCHES" {
			return nil
		}
		w.queue.add(w.now.Add(time.Hour), "try to schedule again", func(ctx context.Context) error {
			if w.schedule.solved.Add(55 * time.Minute).After(w.now) {
				return nil
			}
			return w.solve(ctx, reason)
		})
		return nil
	}
	made.Assignments, made.Moved = len(s.GetAssignments()), moved(s)
	w.report.Schedules = append(w.report.Schedules, made)
	w.say("schedule published (%s): %d steps, %d moved, %d batches late", reason, made.Assignments, made.Moved, len(made.Late))
	return w.follow(ctx)
}

func lateOf(s *schedulingpb.Schedule) []LateBatch {
	var out []LateBatch
	for _, l := range s.GetReport().GetLateBatches() {
		late := LateBatch{Batch: l.GetDisplayName(), Delay: l.GetDelay().AsDuration()}
		if len(l.GetReasons()) > 0 {
			late.Reason = l.GetReasons()[len(l.GetReasons())-1]
		}
		out = append(out, late)
	}
	return out
}

// moved counts the steps that start at another time or in another vessel than in the schedule before.
func moved(s *schedulingpb.Schedule) int {
	n := 0
	for _, a := range s.GetAssignments() {
		if a.GetPreviousStartTime() == nil || a.GetStarted() {
			continue
		}
		shift := a.GetStartTime().AsTime().Sub(a.GetPreviousStartTime().AsTime()).Abs()
		if shift >= time.Minute || a.GetPreviousVessel() != a.GetVessel() {
			n++
		}
	}
	return n
}

// compute runs a computation to its end.
func (w *world) compute(ctx context.Context) (*schedulingpb.Schedule, error) {
	d := w.here(manager)
	op, err := d.scheduling.SolveSchedule(ctx, &schedulingpb.SolveScheduleRequest{
		Parent: w.site, Plan: w.plan, StartTime: timestamppb.New(w.now), IterationBudget: w.opt.SolveIterations,
		Seed: int64(w.opt.Seed % (1 << 62)), MaxDuration: durationpb.New(longestSolve),
	})
	if err != nil {
		return nil, err
	}
	limit := time.Now().Add(3*longestSolve + w.opt.Patience)
	for !op.GetDone() {
		if time.Now().After(limit) {
			return nil, fmt.Errorf("%s did not end", op.GetName())
		}
		op, err = d.scheduling.WaitOperation(ctx, &longrunningpb.WaitOperationRequest{Name: op.GetName(), Timeout: durationpb.New(10 * time.Second)})
		if err != nil {
			return nil, err
		}
	}
	if failure := op.GetError(); failure != nil {
		return nil, errors.New(failure.GetMessage())
	}
	s := new(schedulingpb.Schedule)
	err = op.GetResponse().UnmarshalTo(s)
	if err != nil {
		return nil, fmt.Errorf("result of %s: %w", op.GetName(), err)
	}
	return s, nil
}

// follow reads the planned runs and expects their starts.
func (w *world) follow(ctx context.Context) error {
	d := w.here(manager)
	runs, err := all(func(token string) ([]*schedulingpb.Run, string, error) {
		page, err := d.scheduling.ListRuns(ctx, &schedulingpb.ListRunsRequest{
			Parent: w.site + "/batches/-", PageSize: 1000, PageToken: token, Filter: "state = PLANNED",
		})
		return page.GetRuns(), page.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	sort.SliceStable(runs, func(i, j int) bool {
		a, b := runs[i].GetPlannedStartTime().AsTime(), runs[j].GetPlannedStartTime().AsTime()
		if !a.Equal(b) {
			return a.Before(b)
		}
		return runs[i].GetName() < runs[j].GetName()
	})
	w.unscheduled(runs)
	w.schedule.epoch++
	epoch := w.schedule.epoch
	for _, run := range runs {
		w.expectStart(run, epoch, run.GetPlannedStartTime().AsTime())
	}
	return nil
}

// unscheduled tells of batches that have begun and for which the schedule plans nothing more.
func (w *world) unscheduled(runs []*schedulingpb.Run) {
	planned := map[string]bool{}
	for _, r := range runs {
		planned[r.GetBatch()] = true
	}
	for _, name := range sortedKeys(w.runs) {
		if j := w.runs[name]; !j.ended && !j.aborted {
			planned[j.batch.pb.GetName()] = true
		}
	}
	for _, b := range w.ordered {
		if b.started && !b.over && !planned[b.pb.GetName()] {
			w.say("nothing more is planned for %s", title(b))
			w.report.Forgotten = append(w.report.Forgotten, title(b))
		}
	}
}

// expectStart lets a planned run start at a moment, unless another schedule is published before.
func (w *world) expectStart(run *schedulingpb.Run, epoch int, at time.Time) {
	if at.Before(w.now) {
		at = w.now
	}
	w.queue.add(at, "start "+run.GetDisplayName()+" of "+idOf(run.GetBatch()), func(ctx context.Context) error {
		if epoch != w.schedule.epoch {
			return nil
		}
		return w.tryStart(ctx, run, epoch)
	})
}
