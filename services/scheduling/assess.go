package scheduling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
)

// Budget of an outlook that the service makes by itself: so many realisations, and fewer when these times the steps come
// to more cells; some hundred are always made. About three seconds of one core at most.
const (
	usualSamples = 1000
	usualCells   = 400_000
	leastSamples = 200
	// mostCells bounds what one call may ask for; about half a minute of one core.
	mostCells = 4_000_000
)

// Budget of the search for buffers: some shifts of an hour, tried on fewer realisations, and not for kitchens so large
// that it would take minutes.
const (
	bufferStep       = time.Hour
	bufferSteps      = 3
	bufferSamples    = 150
	bufferCandidates = 10
	bufferActivities = 600
)

// sureEnough is the probability of being on time above which nobody needs to look (chosen, no source).
const sureEnough = 0.95

// Assess asks how sure a schedule is.
type Assess struct {
	Name    string
	Samples int // 0: as many as the service takes by itself
	Seed    int64
	Buffers bool
}

// AssessSchedule carries a schedule out many times, from the state of the kitchen as it is now. It stores nothing, and holds
// no transaction while it computes.
func (s *Service) AssessSchedule(ctx context.Context, c Assess) (Outlook, error) {
	x, plan, paces, err := s.rebuilt(ctx, c.Name)
	if err != nil {
		return Outlook{}, err
	}
	if cells := c.Samples * len(x.Activities); cells > mostCells {
		return Outlook{}, apierr.InvalidArgument(Malformed, "%d samples of %d steps are too many at once: ask for at most %d samples",
			c.Samples, len(x.Activities), mostCells/len(x.Activities)).With("field", "sample_count").
			WithViolation("sample_count", "must be at most %d for this schedule", mostCells/len(x.Activities))
	}
	out, err := x.outlook(ctx, plan, paces, c)
	out.Schedule = c.Name
	return out, err
}

// Outlook answers the stored outlook of a schedule; nil until there is one.
func (s *Service) Outlook(ctx context.Context, schedule string) (*Outlook, error) {
	o, err := s.store.GetOutlook(ctx, schedule)
	if errors.Is(err, ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &o, nil
}

// rebuilt rebuilds the problem of a schedule with the kitchen as it is now, and its plan in it.
func (s *Service) rebuilt(ctx context.Context, name string) (*instance, sched.Plan, map[paceKey]Pace, error) {
	var c Schedule
	var p Problem
	paces := map[paceKey]Pace{}
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		var err error
		if c, err = s.Schedule(ctx, name); err != nil {
			return err
		}
		if p, err = s.problemNow(ctx, name); err != nil {
			return err
		}
		list, err := s.store.ListPaces(ctx, siteOf(name))
		for _, pace := range list {
			paces[paceKey{pace.Kind, pace.VesselClass}] = pace
		}
		return err
	})
	if err != nil {
		return nil, sched.Plan{}, nil, err
	}
	x, err := build(&p)
	if err != nil {
		return nil, sched.Plan{}, nil, err
	}
	x.Horizon.Start = x.at(p.Start)
	plan, err := x.followed(c)
	return x, plan, paces, err
}

// problemNow is the problem of a schedule with what has happened since: what was cancelled is left out.
func (s *Service) problemNow(ctx context.Context, name string) (Problem, error) {
	p, err := s.store.ScheduleProblem(ctx, name)
	if err != nil {
		return p, err
	}
	p.Start = s.clock.Now().Truncate(time.Second)
	p.End = latest(p.End, p.Start.AddDate(0, 0, 14))
	p.Reference, p.ReferenceName, p.Runs = nil, "", nil
	var batches []Batch
	for _, b := range p.Batches {
		local, err := s.store.GetBatch(ctx, b.Name)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return p, err
		}
		if err == nil && (local.State == BatchCancelled || local.State == BatchDone) {
			continue
		}
		runs, err := s.store.RunsOfBatch(ctx, b.Name)
		if err != nil {
			return p, err
		}
		for _, r := range runs {
			if r.State == RunRunning || r.State == RunFinished {
				p.Runs = append(p.Runs, r)
			}
		}
		batches = append(batches, b)
	}
	p.Batches = batches
	return p, s.equipment(ctx, &p)
}

// followed is the plan of a schedule as far as it is still to be followed.
func (x *instance) followed(c Schedule) (sched.Plan, error) {
	if len(c.Assignments) == 0 {
		return sched.Plan{}, noOutlook(c.Name, "it places nothing")
	}
	plan := x.plan(c.Assignments)
	x.modes = map[string]string{}
	for _, a := range plan.Assignments {
		x.modes[a.Activity] = a.Mode
	}
	for i := range x.Activities {
		a := &x.Activities[i]
		mode, found := x.modes[a.Name]
		if _, possible := x.items[a.Name].modes[mode]; !found || !possible {
			return sched.Plan{}, noOutlook(c.Name, x.stepWords(a.Name)+" has no place in it that is still possible: compute a new schedule")
		}
	}
	if len(x.Activities) == 0 {
		return sched.Plan{}, noOutlook(c.Name, "all that it places is done or cancelled")
	}
	return plan, nil
}

func noOutlook(schedule, why string) error {
	return apierr.FailedPrecondition(OutlookNotPossible, "%s has no outlook: %s", schedule, why).With("schedule", schedule).WithViolation(schedule, "%s", why)
}

// samples is how many realisations are made when nobody says.
func samples(activities int) int {
	return max(min(usualSamples, usualCells/max(activities, 1)), leastSamples)
}

// outlook carries the plan out. The computation is pure: the same instance, paces, seed and number give the same outlook.
func (x *instance) outlook(ctx context.Context, plan sched.Plan, paces map[paceKey]Pace, c Assess) (Outlook, error) {
	x.takeOver()
	spreads, commons, told := x.spreads(paces)
	n := c.Samples
	if n == 0 {
		n = samples(len(x.Activities))
	}
	simulator, err := risk.New(risk.Case{Instance: x.Instance, Plan: plan, Spreads: spreads, Vessels: commons}, risk.Options{
		Seed: uint64(c.Seed), Samples: n, Quantiles: curveShares, Stop: func() bool { return ctx.Err() != nil },
	})
	if err != nil {
		return Outlook{}, fmt.Errorf("outlook of %s: %w", c.Name, err)
	}
	report, err := simulator.Run()
	if err != nil {
		return Outlook{}, stopped(ctx, c.Name, err)
	}
	out := x.read(report)
	out.Schedule, out.Seed, out.Spreads = c.Name, c.Seed, told
	if c.Buffers && out.unsure() && len(x.Activities) <= bufferActivities {
		found, err := simulator.Buffers(risk.BufferOptions{
			Budget: bufferSteps * seconds(bufferStep), Step: seconds(bufferStep), Samples: min(bufferSamples, n), Candidates: bufferCandidates,
		})
		if err != nil {
			return Outlook{}, stopped(ctx, c.Name, err)
		}
		out.Buffers = x.buffers(found)
	}
	return out, nil
}

func stopped(ctx context.Context, name string, err error) error {
	if errors.Is(err, risk.ErrStopped) {
		return apierr.DeadlineExceeded(OutlookNotPossible, "the outlook of %s was not done in time: ask for fewer samples", name).With("schedule", name).Wrap(ctx.Err())
	}
	return fmt.Errorf("outlook of %s: %w", name, err)
}

// FinishQuestion asks how sure it is that a batch is done by a moment.
type FinishQuestion struct {
	Batch string
	By    time.Time
}

// FinishAnswer says so. Refusal says why nothing is known, and is empty when something is.
type FinishAnswer struct {
	Batch              string
	Probability        float64
	Finish50, Finish95 time.Time
	Refusal            string
}

// EstimateFinishes answers from the stored outlook of the published schedule, in the order of the questions; also the name
// of the schedule and the moment of the outlook, as far as there are any.
func (s *Service) EstimateFinishes(ctx context.Context, site string, questions []FinishQuestion) (answers []FinishAnswer, schedule string, at time.Time, err error) {
	for _, q := range questions {
		if err := sameSite(site, "questions.batch", q.Batch); err != nil {
			return nil, "", time.Time{}, err
		}
	}
	err = s.store.InReadTx(ctx, func(ctx context.Context) error {
		answers = nil
		known := map[string]BatchOutlook{}
		refusal := "no schedule of " + site + " is published"
		published, err := s.store.PublishedSchedule(ctx, site)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if err == nil {
			schedule, refusal = published.Name, "the outlook of "+published.Name+" is still being computed"
			o, err := s.Outlook(ctx, published.Name)
			if err != nil {
				return err
			}
			if o != nil {
				at, refusal = o.At, o.Refusal
				for _, b := range o.Batches {
					known[b.Batch] = b
				}
			}
		}
		for _, q := range questions {
			a, err := s.finishOf(ctx, q, known, refusal)
			if err != nil {
				return err
			}
			answers = append(answers, a)
		}
		return nil
	})
	return answers, schedule, at, err
}

func (s *Service) finishOf(ctx context.Context, q FinishQuestion, known map[string]BatchOutlook, refusal string) (FinishAnswer, error) {
	a := FinishAnswer{Batch: q.Batch}
	local, err := s.store.GetBatch(ctx, q.Batch)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return a, err
	}
	if err == nil && local.State == BatchDone {
		runs, err := s.store.RunsOfBatch(ctx, q.Batch)
		if err != nil {
			return a, err
		}
		for _, r := range runs {
			a.Finish50 = latest(a.Finish50, r.Finish)
		}
		a.Finish95 = a.Finish50
		if !a.Finish50.After(q.By) {
			a.Probability = 1
		}
		return a, nil
	}
	if b, found := known[q.Batch]; found {
		a.Probability, a.Finish50, a.Finish95 = b.doneBy(q.By), b.Finish50, b.Finish95
		return a, nil
	}
	if a.Refusal = refusal; refusal == "" {
		a.Refusal = "the published schedule does not place " + q.Batch
	}
	return a, nil
}

// Assessor makes the outlooks that are wanted, one after the other, in the background. Several may serve the same store;
// now and then they do the same work twice, with the same result.
type Assessor struct {
	service *Service
	poll    time.Duration
	looked  time.Time // for old outlooks, real time
}

// outlookAge is how old the outlook of the published schedule becomes when nothing happens, by the kitchen's clock (chosen,
// no source).
const outlookAge = 30 * time.Minute

// NewAssessor returns an assessor that looks for work every so often in real time; 0 means every second.
func NewAssessor(s *Service, poll time.Duration) *Assessor {
	if poll == 0 {
		poll = time.Second
	}
	return &Assessor{service: s, poll: poll}
}

// restShare is how long an assessor rests after an outlook, as a multiple of what that took: it shall not take more than
// about a fifth of a core from schedules and calls, however much happens.
const restShare = 4

// Run works until ctx ends.
func (a *Assessor) Run(ctx context.Context) error {
	rest := time.Duration(0)
	for {
		timer := time.NewTimer(max(rest, a.poll))
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil
		case <-timer.C:
		}
		began := time.Now()
		made, err := a.Once(ctx)
		if err != nil && ctx.Err() == nil {
			a.service.logger.WarnContext(ctx, "make the outlook of a schedule", "error", err)
		}
		rest = 0
		if made {
			rest = restShare * time.Since(began)
		}
	}
}

// Once makes the outlook that is wanted most, and says whether one was.
func (a *Assessor) Once(ctx context.Context) (bool, error) {
	wanted, err := a.service.store.WantedOutlooks(ctx)
	if err == nil && len(wanted) == 0 {
		wanted, err = a.aged(ctx)
	}
	if err != nil || len(wanted) == 0 {
		return false, err
	}
	// Where time in hand helps takes several times as long to find out as how sure the schedule is: first things first.
	for _, buffers := range []bool{false, true} {
		out, err := a.service.safeOutlook(ctx, Assess{Name: wanted[0].Schedule, Buffers: buffers})
		if err != nil {
			return true, err
		}
		err = a.service.store.InTx(ctx, func(ctx context.Context) error {
			return a.service.store.PutOutlook(ctx, out, wanted[0].Wanted)
		})
		if err != nil || !out.unsure() {
			return true, err
		}
	}
	return true, nil
}

// aged asks anew for outlooks that are old: where nothing happens that should, time alone makes batches late.
func (a *Assessor) aged(ctx context.Context) ([]WantedOutlook, error) {
	if time.Since(a.looked) < outlookAge/60 {
		return nil, nil
	}
	a.looked = time.Now()
	asked := int64(0)
	err := a.service.store.InTx(ctx, func(ctx context.Context) error {
		var err error
		asked, err = a.service.store.RequestOldOutlooks(ctx, a.service.clock.Now().Add(-outlookAge))
		return err
	})
	if err != nil || asked == 0 {
		return nil, err
	}
	return a.service.store.WantedOutlooks(ctx)
}

// safeOutlook turns what stands against an outlook, a defect too, into one that says so: it must not be tried for ever.
func (s *Service) safeOutlook(ctx context.Context, c Assess) (out Outlook, err error) {
	name := c.Name
	refuse := func(why string) Outlook {
		return Outlook{Schedule: name, At: s.clock.Now(), Refusal: why, Summary: "How sure the schedule is cannot be said: " + why, Cautions: []string{Caution}}
	}
	defer func() {
		if p := recover(); p != nil {
			s.logger.ErrorContext(ctx, "outlook of a schedule", "schedule", name, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			out, err = refuse("it could not be computed because of a defect; the log says more"), nil
		}
	}()
	out, err = s.AssessSchedule(ctx, c)
	if err == nil || ctx.Err() != nil {
		return out, err
	}
	if known, is := apierr.As(err); is {
		if known.Kind == apierr.KindUnavailable || known.Kind == apierr.KindAborted {
			return out, err
		}
		return refuse(known.Message), nil
	}
	var faults risk.Faults
	var wrong sched.Faults
	if errors.As(err, &faults) || errors.As(err, &wrong) {
		s.logger.WarnContext(ctx, "outlook of a schedule", "schedule", name, "error", err)
		return refuse("it no longer fits the kitchen; compute a new schedule"), nil
	}
	return out, err
}

// percent writes a probability for people; certainty is never claimed from samples.
func percent(p float64) string {
	switch {
	case p > 0.99:
		return "more than 99 %"
	case p < 0.01:
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", math.Round(100*p))
}
