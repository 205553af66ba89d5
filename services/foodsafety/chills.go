package foodsafety

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// NewChill is what a caller says about a chill to start.
type NewChill struct {
	ID          string // "" : derived from the run, or made
	DisplayName string
	Batch       string
	Run         string
	Vessel      string
	Profile     string // "" : the built-in US Food Code profile
	Lots        []string
	Probes      []string  // empty: the probes that are fixed in the vessel
	StartTime   time.Time // zero: now
}

// GetChill returns a chill, judged as of now.
func (s *Service) GetChill(ctx context.Context, name string) (*Chill, error) {
	var c *Chill
	err := s.store.InReadTx(ctx, func(ctx context.Context) error {
		stored, err := s.store.GetChill(ctx, name)
		if err != nil {
			return err
		}
		readings, err := s.store.Readings(ctx, name)
		if err != nil {
			return err
		}
		c = stored.view(readings, s.now())
		return nil
	})
	return c, err
}

// ForecastChill says when a chill will reach its limits, nil when its readings do not tell, and the moment of the
// forecast.
func (s *Service) ForecastChill(ctx context.Context, name string) (*Forecast, time.Time, error) {
	c, err := s.GetChill(ctx, name)
	if err != nil {
		return nil, time.Time{}, err
	}
	if c.State != ChillInProgress {
		return nil, time.Time{}, chillState(c, "only a chill in progress has a forecast")
	}
	return c.Forecast, c.Judgement.At, nil
}

// ListChills returns one page of chills, as last stored, and whether more follow.
func (s *Service) ListChills(ctx context.Context, page Page) ([]Chill, bool, error) {
	return pageOf(page, func(p Page) ([]Chill, error) { return s.store.ListChills(ctx, p) })
}

// StartChill begins to watch a chill, or takes over the one that the news of the same run began.
func (s *Service) StartChill(ctx context.Context, site string, n NewChill) (*Chill, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if err := s.checkNewChill(site, &n); err != nil {
		return nil, err
	}
	var c *Chill
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		begun, err := s.begunByRun(ctx, n.Run)
		if err != nil {
			return err
		}
		if begun != nil && (n.ID == "" || nameOf(site, chillsCollection, n.ID) == begun.Name) {
			c, err = s.takeOver(ctx, who, begun, n)
			return err
		}
		c, err = s.insertChill(ctx, who, site, n, false)
		if err != nil || begun == nil || begun.ReadingCount > 0 {
			return err
		}
		return s.abandon(ctx, who, begun, "replaced by "+c.Name)
	})
	if err != nil {
		return nil, err
	}
	return c, nil
}

func (s *Service) checkNewChill(site string, n *NewChill) error {
	for _, ref := range []struct{ field, name string }{
		{"chill.batch", n.Batch}, {"chill.run", n.Run}, {"chill.vessel", n.Vessel}, {"chill.limits_profile", n.Profile},
	} {
		if err := sameSite(site, ref.field, ref.name); err != nil {
			return err
		}
	}
	for i, name := range n.Lots {
		if err := sameSite(site, fmt.Sprintf("chill.lots[%d]", i), name); err != nil {
			return err
		}
	}
	for i, name := range n.Probes {
		if err := sameSite(site, fmt.Sprintf("chill.probes[%d]", i), name); err != nil {
			return err
		}
	}
	if n.Batch == "" {
		return invalidField(FieldInvalid, "chill.batch", "name the batch whose material is chilled")
	}
	if n.Run != "" && n.Run[:min(len(n.Run), len(n.Batch)+1)] != n.Batch+"/" {
		return invalidField(FieldInvalid, "chill.run", "%s is not a run of %s", n.Run, n.Batch)
	}
	now := s.now()
	if n.StartTime.IsZero() {
		n.StartTime = now
	}
	n.StartTime = n.StartTime.UTC().Truncate(time.Microsecond)
	slices.Sort(n.Probes)
	n.Probes = slices.Compact(n.Probes)
	slices.Sort(n.Lots)
	n.Lots = slices.Compact(n.Lots)
	return checkNotFuture("chill.start_time", n.StartTime, now)
}

// begunByRun is the chill in progress that the news of a run began, nil when there is none.
func (s *Service) begunByRun(ctx context.Context, run string) (*Chill, error) {
	if run == "" {
		return nil, nil
	}
	chills, err := s.store.ChillsOfRun(ctx, run)
	if err != nil {
		return nil, err
	}
	for i := range chills {
		if chills[i].FromRun && chills[i].State == ChillInProgress {
			return &chills[i], nil
		}
	}
	return nil, nil
}

// takeOver adds what a person says to a chill that the news of a run began.
func (s *Service) takeOver(ctx context.Context, who actor, c *Chill, n NewChill) (*Chill, error) {
	before := *c
	profile, err := s.profileFor(ctx, c.Site(), n.Profile)
	if err != nil {
		return nil, err
	}
	if n.Profile != "" && profile.Name != c.Profile {
		c.Profile, c.Limits = profile.Name, *profile
	}
	if n.DisplayName != "" {
		c.DisplayName = n.DisplayName
	}
	if n.Vessel != "" {
		c.Vessel = n.Vessel
	}
	if len(n.Lots) > 0 {
		c.Lots = n.Lots
	}
	if n.StartTime.Before(c.StartTime) {
		c.StartTime = n.StartTime
	}
	if len(n.Probes) > 0 {
		c.Probes = n.Probes
	} else if len(c.Probes) == 0 && c.Vessel != "" {
		if c.Probes, err = s.freeProbesOf(ctx, c.Vessel); err != nil {
			return nil, err
		}
	}
	if err := s.claimProbes(ctx, who, c); err != nil {
		return nil, err
	}
	c.FromRun = false
	c.Starter = who.subject
	c.addRecorder(who.subject)
	if err := s.saveJudged(ctx, who, c, &before, "chill.taken_over", ""); err != nil {
		return nil, err
	}
	return c, nil
}

// insertChill stores a new chill and tells of it.
func (s *Service) insertChill(ctx context.Context, who actor, site string, n NewChill, fromRun bool) (*Chill, error) {
	profile, err := s.profileFor(ctx, site, n.Profile)
	if err != nil {
		return nil, err
	}
	id := n.ID
	if id == "" && n.Run != "" {
		if id, err = s.idForRun(ctx, site, n); err != nil {
			return nil, err
		}
	}
	if id, err = chooseID("chill_id", id, "chill"); err != nil {
		return nil, err
	}
	now := s.now()
	c := &Chill{
		Name: nameOf(site, chillsCollection, id), UID: newUID(), DisplayName: n.DisplayName, Batch: n.Batch, Run: n.Run,
		Vessel: n.Vessel, Profile: profile.Name, Limits: *profile, Lots: n.Lots, Probes: n.Probes, StartTime: n.StartTime,
		State: ChillInProgress, Starter: who.subject, FromRun: fromRun, CreateTime: now, UpdateTime: now, Version: 1,
	}
	c.addRecorder(who.subject)
	if len(c.Probes) == 0 && c.Vessel != "" {
		if c.Probes, err = s.freeProbesOf(ctx, c.Vessel); err != nil {
			return nil, err
		}
	}
	if err := s.claimProbes(ctx, who, c); err != nil {
		return nil, err
	}
	c.rejudge(nil, now)
	if err := s.store.InsertChill(ctx, c); err != nil {
		return nil, err
	}
	if _, err := s.record(ctx, who, c.Name, "chill.started", nil, *c, ""); err != nil {
		return nil, err
	}
	if err := s.events.Publish(ctx, ChillStarted{Chill: c}); err != nil {
		return nil, err
	}
	return c, nil
}

// idForRun derives the id of a chill from its run; a later chill of the same run gets a number. While the earlier one is
// in progress its id stays taken.
func (s *Service) idForRun(ctx context.Context, site string, n NewChill) (string, error) {
	base := idOf(n.Batch) + "-" + idOf(n.Run)
	id := shorten(base)
	for again := 2; ; again++ {
		c, err := s.store.GetChill(ctx, nameOf(site, chillsCollection, id))
		if errors.Is(err, apierr.Reason(ChillMissing)) || err == nil && c.State == ChillInProgress {
			return id, nil
		}
		if err != nil {
			return "", err
		}
		id = shorten(base[:min(len(base), 57)]) + fmt.Sprintf("-%d", again)
	}
}

// freeProbesOf are the probes fixed in a vessel that watch nothing else.
func (s *Service) freeProbesOf(ctx context.Context, vessel string) ([]string, error) {
	probes, err := s.store.ProbesOfVessel(ctx, vessel)
	if err != nil {
		return nil, err
	}
	var free []string
	for _, p := range probes {
		watched, err := s.store.ChillWatchedBy(ctx, p.Name)
		if err != nil {
			return nil, err
		}
		if watched != "" {
			other, err := s.store.GetChill(ctx, watched)
			if err != nil {
				return nil, err
			}
			if other.State == ChillInProgress {
				continue
			}
		}
		free = append(free, p.Name)
	}
	return free, nil
}

// claimProbes checks that the probes of a chill exist, are in use and watch no other chill in progress. A chill that
// failed gives its probes up and ends.
func (s *Service) claimProbes(ctx context.Context, who actor, c *Chill) error {
	for _, name := range c.Probes {
		p, err := s.store.GetProbe(ctx, name)
		if err != nil {
			return err
		}
		if p.Disabled {
			return probeDisabled(name)
		}
		watched, err := s.store.ChillWatchedBy(ctx, name)
		if err != nil {
			return err
		}
		if watched == "" || watched == c.Name {
			continue
		}
		other, err := s.store.GetChill(ctx, watched)
		if err != nil {
			return err
		}
		if other.State == ChillInProgress {
			return apierr.FailedPrecondition(ProbeBusy, "%s watches %s, which is in progress; finish that chill or take another probe", name, watched).
				With("probe", name).With("chill", watched).WithViolation(name, "watches %s", watched).WithResource(name)
		}
		before := *other
		other.FinishTime, other.Finisher = s.now(), who.subject
		if err := s.saveChill(ctx, who, other, &before, "chill.ended", "its probe watches "+c.Name); err != nil {
			return err
		}
	}
	return nil
}

func probeDisabled(name string) *apierr.Error {
	return apierr.FailedPrecondition(ProbeDisabled, "%s is disabled; enable it or take another probe", name).
		With("probe", name).WithViolation(name, "the probe is disabled").WithResource(name)
}

func chillState(c *Chill, format string, args ...any) *apierr.Error {
	return apierr.FailedPrecondition(ChillStateWrong, "%s is %s: %s", c.Name, c.State, fmt.Sprintf(format, args...)).
		With("resource", c.Name).With("state", string(c.State)).WithViolation(c.Name, "the chill is %s", c.State).WithResource(c.Name)
}

// FinishChill ends a chill at a moment (zero: now). It passes when every limit is shown to be met up to that moment,
// fails when one was missed, and is refused while the food is not cold and time is left.
func (s *Service) FinishChill(ctx context.Context, name string, at time.Time, etag string) (*Chill, error) {
	return s.changeChill(ctx, name, etag, func(ctx context.Context, who actor, c *Chill) error {
		return s.finish(ctx, who, c, at)
	})
}

// changeChill changes a chill in one transaction, for the caller that ctx carries.
func (s *Service) changeChill(ctx context.Context, name, etag string, change func(context.Context, actor, *Chill) error) (*Chill, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	var c *Chill
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		c, err = s.store.GetChill(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, c.Etag(), name); err != nil {
			return err
		}
		return change(ctx, who, c)
	})
	if err != nil {
		return nil, err
	}
	return c, nil
}

func (s *Service) finish(ctx context.Context, who actor, c *Chill, at time.Time) error {
	now := s.now()
	if at.IsZero() {
		at = now
	}
	at = at.UTC().Truncate(time.Microsecond)
	if err := checkNotFuture("finish_time", at, now); err != nil {
		return err
	}
	if at.Before(c.StartTime) {
		return invalidField(FieldInvalid, "finish_time", "the chill started at %s; it cannot be finished before", c.StartTime.Format(time.RFC3339))
	}
	before := *c
	c.Finisher = who.subject
	c.addRecorder(who.subject)
	switch {
	case c.State == ChillFailed && c.FinishTime.IsZero():
		c.FinishTime = at
		return s.saveChill(ctx, who, c, &before, "chill.ended", "")
	case c.State != ChillInProgress:
		return chillState(c, "it was finished already")
	}
	readings, err := s.store.Readings(ctx, c.Name)
	if err != nil {
		return err
	}
	// Everything up to now decides whether a limit was missed, what was measured up to the finish whether it passed.
	c.rejudge(readings, now)
	if !c.Judgement.Missed() {
		c.FinishTime = at
		c.rejudge(readings, now)
	}
	switch {
	case c.Judgement.Missed():
		c.FinishTime = at
		if err := s.fail(ctx, who, c); err != nil {
			return err
		}
		return s.saveChill(ctx, who, c, &before, "chill.failed", c.Judgement.Summary)
	case !c.Judgement.Met():
		return notCold(&before, c.Judgement)
	}
	c.State, c.Forecast, c.AtRisk = ChillPassed, nil, false
	if err := s.saveChill(ctx, who, c, &before, "chill.passed", c.Judgement.Summary); err != nil {
		return err
	}
	return s.events.Publish(ctx, ChillFinished{Chill: c})
}

func notCold(c *Chill, j Judgement) *apierr.Error {
	e := apierr.FailedPrecondition(ChillNotCold, "%s is not finished yet: %s. Keep chilling and record readings until the last limit is reached", c.Name, j.Summary).
		With("resource", c.Name).With("summary", j.Summary).WithResource(c.Name)
	for _, st := range j.Stages {
		if st.Verdict != VerdictMet {
			e = e.WithViolation(st.StageID, "%s: no reading shows it yet", st.Text)
		}
	}
	return e
}

// AbandonChill gives up a chill that was started by mistake.
func (s *Service) AbandonChill(ctx context.Context, name, reason, etag string) (*Chill, error) {
	return s.changeChill(ctx, name, etag, func(ctx context.Context, who actor, c *Chill) error {
		if c.State != ChillInProgress {
			return chillState(c, "only a chill in progress can be given up")
		}
		return s.abandon(ctx, who, c, reason)
	})
}

func (s *Service) abandon(ctx context.Context, who actor, c *Chill, reason string) error {
	before := *c
	c.State, c.AbandonReason, c.FinishTime, c.Finisher = ChillAbandoned, reason, s.now(), who.subject
	c.Forecast, c.AtRisk = nil, false
	if err := s.saveChill(ctx, who, c, &before, "chill.abandoned", reason); err != nil {
		return err
	}
	return s.events.Publish(ctx, ChillFinished{Chill: c})
}

// saveChill stores a changed chill with an entry in the audit trail.
func (s *Service) saveChill(ctx context.Context, who actor, c, before *Chill, action, reason string) error {
	c.Version = before.Version + 1
	c.UpdateTime = s.now()
	if err := s.store.UpdateChill(ctx, c); err != nil {
		return err
	}
	_, err := s.record(ctx, who, c.Name, action, *before, *c, reason)
	return err
}

// saveJudged judges a chill by all its readings as of now and stores it; a miss that was not known before fails it. An
// empty action writes to the audit trail only when the chill fails.
func (s *Service) saveJudged(ctx context.Context, who actor, c, before *Chill, action, reason string) error {
	readings, err := s.store.Readings(ctx, c.Name)
	if err != nil {
		return err
	}
	c.rejudge(readings, s.now())
	failed := c.State == ChillInProgress && c.Judgement.Missed() || c.State == ChillPassed && !c.Judgement.Met()
	if failed {
		if err := s.fail(ctx, who, c); err != nil {
			return err
		}
		if action == "" {
			action, reason, who = "chill.failed", c.Judgement.Summary, system
		}
	}
	if action != "" {
		err = s.saveChill(ctx, who, c, before, action, reason)
	} else {
		c.Version, c.UpdateTime = before.Version+1, s.now()
		err = s.store.UpdateChill(ctx, c)
	}
	if err != nil || failed {
		return err
	}
	return s.tellRisk(ctx, c, before)
}

// tellRisk publishes that a forecast began to miss a limit.
func (s *Service) tellRisk(ctx context.Context, c, before *Chill) error {
	stage := c.Forecast.firstAtRisk()
	if stage == nil {
		return nil
	}
	if old := before.Forecast.firstAtRisk(); old != nil && old.StageID == stage.StageID {
		return nil
	}
	return s.events.Publish(ctx, ChillLimitAtRisk{Chill: c, Stage: *stage})
}
