package foodsafety

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"strconv"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// NewReading is a temperature as it was sent.
type NewReading struct {
	Chill       string    // "" : the chill that the probe watched at the moment
	Probe       string    // "" : a thermometer held by hand
	ObserveTime time.Time // zero: now
	Temperature units.Celsius
	Note        string
}

// Refusal is a reading that was not stored.
type Refusal struct {
	Index   int64
	Reading NewReading
	Err     *apierr.Error
}

// Intake tells what became of readings. Every one is accepted, a duplicate or refused.
type Intake struct {
	Accepted   int64
	Duplicates int64
	Refusals   []Refusal
	Failed     []string // chills of the readings, new or not, that are failed
	AtRisk     []string // chills of the readings that are in progress and whose forecast misses a limit
	Touched    []string // chills of the readings
}

// OtherChill refuses a reading that names another chill than the one it is recorded under.
func OtherChill(named, parent string) error {
	return invalidField(FieldInvalid, "reading.chill", "the reading names %s but is recorded under %s; leave the field empty or make them equal", named, parent)
}

// RecordReading stores one reading of a chill. The same reading again changes nothing and returns the stored one.
func (s *Service) RecordReading(ctx context.Context, r NewReading) (*Reading, error) {
	if r.ObserveTime.IsZero() {
		r.ObserveTime = s.now()
	}
	r.ObserveTime = r.ObserveTime.UTC().Truncate(time.Microsecond)
	var stored *Reading
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		in, err := s.RecordReadings(ctx, SiteOf(r.Chill), []NewReading{r}, 0)
		if err != nil {
			return err
		}
		if len(in.Refusals) > 0 {
			return in.Refusals[0].Err
		}
		stored, err = s.store.GetReading(ctx, r.Chill, r.Probe, r.ObserveTime)
		return err
	})
	if err != nil {
		return nil, err
	}
	return stored, nil
}

// RecordReadings stores readings of a site in one transaction and judges each chill that they touch once. A reading
// that cannot be kept is refused by itself; first is the index of the first one in the caller's stream. When it
// returns without error, every accepted reading is committed, or part of the transaction that ctx carries.
func (s *Service) RecordReadings(ctx context.Context, site string, list []NewReading, first int64) (*Intake, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	var in *Intake
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		in = &Intake{}
		work := &intakeWork{s: s, who: who, site: site, now: s.now(), in: in, chills: map[string]*touched{}, probes: map[string]*Probe{}}
		for i, n := range list {
			r, err := work.check(ctx, n)
			if err == nil {
				work.readings, work.index = append(work.readings, r), append(work.index, i)
			} else if err := work.refuse(first+int64(i), n, err); err != nil {
				return err
			}
		}
		if err := work.store(ctx, list, first); err != nil {
			return err
		}
		slices.SortFunc(in.Refusals, func(a, b Refusal) int { return cmp.Compare(a.Index, b.Index) })
		return work.judge(ctx)
	})
	if err != nil {
		return nil, err
	}
	return in, nil
}

// ListReadings returns one page of the readings of a chill and whether more follow.
func (s *Service) ListReadings(ctx context.Context, chill string, cursor []string, limit int) ([]Reading, bool, error) {
	if _, err := s.store.GetChill(ctx, chill); err != nil {
		return nil, false, err
	}
	return pageOf(Page{Cursor: cursor, Limit: limit}, func(p Page) ([]Reading, error) {
		return s.store.ListReadings(ctx, chill, p.Cursor, p.Limit)
	})
}

// intakeWork is the taking in of some readings in one transaction.
type intakeWork struct {
	s      *Service
	who    actor
	site   string
	now    time.Time
	in     *Intake
	chills map[string]*touched
	probes map[string]*Probe

	readings []*Reading // checked, to be stored
	index    []int      // of each of them in the list that was sent
}

// touched is a chill that readings belong to.
type touched struct {
	chill  *Chill
	before Chill
	fresh  int // readings that are new
}

// refuse notes why a reading is not stored. An error that is not about the reading comes back.
func (w *intakeWork) refuse(index int64, n NewReading, err error) error {
	var refused *apierr.Error
	if !errors.As(err, &refused) || refused.Kind == apierr.KindInternal || refused.Kind == apierr.KindAborted {
		return err
	}
	w.in.Refusals = append(w.in.Refusals, Refusal{Index: index, Reading: n, Err: refused})
	return nil
}

// store stores the checked readings and counts them.
func (w *intakeWork) store(ctx context.Context, list []NewReading, first int64) error {
	added, err := w.s.store.InsertReadings(ctx, w.readings)
	if err != nil {
		return err
	}
	for i, r := range w.readings {
		if added[i] {
			t := w.chills[r.Chill]
			t.fresh++
			t.chill.addRecorder(w.who.subject)
			w.in.Accepted++
			continue
		}
		if err := w.duplicate(ctx, r); err != nil {
			if err := w.refuse(first+int64(w.index[i]), list[w.index[i]], err); err != nil {
				return err
			}
		}
	}
	return nil
}

// check makes a reading of what was sent, or says why it cannot be kept.
func (w *intakeWork) check(ctx context.Context, n NewReading) (*Reading, error) {
	if n.ObserveTime.IsZero() {
		n.ObserveTime = w.now
	}
	n.ObserveTime = n.ObserveTime.UTC().Truncate(time.Microsecond)
	for _, ref := range []struct{ field, name string }{{"reading.chill", n.Chill}, {"reading.probe", n.Probe}} {
		if err := sameSite(w.site, ref.field, ref.name); err != nil {
			return nil, err
		}
	}
	if err := checkReading(n.Temperature, n.ObserveTime, w.now); err != nil {
		return nil, err
	}
	probe, err := w.probe(ctx, n.Probe)
	if err != nil {
		return nil, err
	}
	t, err := w.chillOf(ctx, n)
	if err != nil {
		return nil, err
	}
	if earliest := t.chill.StartTime.Add(-earlyReading); n.ObserveTime.Before(earliest) {
		return nil, apierr.FailedPrecondition(ReadingBeforeChill, "the reading of %s was measured before %s began at %s; start a chill with the right start time", n.ObserveTime.Format(time.RFC3339), t.chill.Name, t.chill.StartTime.Format(time.RFC3339)).
			With("chill", t.chill.Name).With("observe_time", n.ObserveTime.Format(time.RFC3339Nano)).With("start_time", t.chill.StartTime.Format(time.RFC3339Nano)).
			WithViolation(t.chill.Name, "began at %s", t.chill.StartTime.Format(time.RFC3339)).WithResource(t.chill.Name)
	}
	judged := n.Temperature
	if probe != nil {
		judged = judged.Add(probe.CalibrationOffset)
	}
	return &Reading{
		Name: ReadingName(t.chill.Name, n.Probe, n.ObserveTime), Chill: t.chill.Name, Probe: n.Probe, ObserveTime: n.ObserveTime,
		RecordTime: w.now, Measured: n.Temperature, Judged: judged, Recorder: w.who.subject, Note: n.Note,
		Late: w.now.Sub(n.ObserveTime) > LateAfter,
	}, nil
}

// duplicate counts a reading that is stored already, and refuses another temperature for the same probe and moment.
func (w *intakeWork) duplicate(ctx context.Context, r *Reading) error {
	stored, err := w.s.store.GetReading(ctx, r.Chill, r.Probe, r.ObserveTime)
	if err != nil {
		return err
	}
	if stored.Measured == r.Measured {
		w.in.Duplicates++
		return nil
	}
	return apierr.FailedPrecondition(ReadingConflict, "%s is stored with %.2f C and cannot become %.2f C; a wrong reading stays, record another one at another moment with a note", stored.Name, float64(stored.Measured), float64(r.Measured)).
		With("reading", stored.Name).With("stored_celsius", formatFloat(float64(stored.Measured))).With("temperature_celsius", formatFloat(float64(r.Measured))).
		WithViolation(stored.Name, "readings are never changed").WithResource(stored.Name)
}

// probe loads a probe once; nil for a reading by hand.
func (w *intakeWork) probe(ctx context.Context, name string) (*Probe, error) {
	if name == "" {
		return nil, nil
	}
	p, known := w.probes[name]
	if !known {
		var err error
		if p, err = w.s.store.GetProbe(ctx, name); err != nil {
			return nil, err
		}
		w.probes[name] = p
	}
	if p.Disabled {
		return nil, probeDisabled(name)
	}
	return p, nil
}

// chillOf loads the chill of a reading once.
func (w *intakeWork) chillOf(ctx context.Context, n NewReading) (*touched, error) {
	name := n.Chill
	if name == "" {
		if n.Probe == "" {
			return nil, invalidField(FieldInvalid, "reading.chill", "name the chill, or the probe that watches it")
		}
		var err error
		if name, err = w.s.store.ChillAtProbe(ctx, n.Probe, n.ObserveTime, earlyReading); err != nil {
			return nil, err
		}
		if name == "" {
			return nil, apierr.FailedPrecondition(ChillNotFoundForProbe, "%s watched no chill at %s; start a chill with this probe or name the chill", n.Probe, n.ObserveTime.Format(time.RFC3339)).
				With("probe", n.Probe).With("observe_time", n.ObserveTime.Format(time.RFC3339Nano)).
				WithViolation(n.Probe, "the probe watches no chill").WithResource(n.Probe)
		}
	}
	if t := w.chills[name]; t != nil {
		return t, nil
	}
	c, err := w.s.store.GetChill(ctx, name)
	if err != nil {
		return nil, err
	}
	if c.State == ChillAbandoned {
		return nil, chillState(c, "it was given up; start a new chill")
	}
	t := &touched{chill: c, before: *c}
	w.chills[name] = t
	return t, nil
}

// judge judges every chill that got a new reading and tells how the chills of all readings stand.
func (w *intakeWork) judge(ctx context.Context) error {
	w.in.Touched = slices.Sorted(maps.Keys(w.chills))
	for _, name := range w.in.Touched {
		t := w.chills[name]
		if t.fresh > 0 {
			if err := w.s.saveJudged(ctx, w.who, t.chill, &t.before, "", ""); err != nil {
				return err
			}
		}
		switch {
		case t.chill.State == ChillFailed:
			w.in.Failed = append(w.in.Failed, name)
		case t.chill.State == ChillInProgress && t.chill.AtRisk:
			w.in.AtRisk = append(w.in.AtRisk, name)
		}
	}
	return nil
}

func formatFloat(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
