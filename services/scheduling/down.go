package scheduling

import (
	"context"
	"sort"
	"time"

	"rondeau.internal/pkg/apierr"
)

// TakeDown asks to take a vessel out of service.
type TakeDown struct {
	Name   string
	Reason string
	// Start defaults to now; a zero End is not known yet.
	Start, End time.Time
	Etag       string
	Actor      string
}

// keepDownWindows is how long an ended down window is still shown.
const keepDownWindows = 7 * 24 * time.Hour

// TakeVesselDown takes a vessel out of service. Runs in it go on; the event names planned runs that cannot be done there.
func (s *Service) TakeVesselDown(ctx context.Context, c TakeDown) (Vessel, error) {
	return inTx(ctx, s, func(ctx context.Context) (Vessel, error) {
		v, err := s.Vessel(ctx, c.Name)
		if err != nil {
			return Vessel{}, err
		}
		if err := checkEtag(c.Etag, v.Version, c.Name); err != nil {
			return Vessel{}, err
		}
		now := s.clock.Now()
		w := DownWindow{Start: c.Start, End: c.End, Reason: c.Reason, Reporter: c.Actor}
		if w.Start.IsZero() {
			w.Start = now
		}
		if !w.End.IsZero() && !w.Start.Before(w.End) {
			return Vessel{}, apierr.InvalidArgument(WindowInvalid, "the down window of %s ends before it begins: give a later end, or none while it is not known", c.Name).
				With("field", "end_time").With("vessel", c.Name).WithViolation("end_time", "must lie after start_time")
		}
		for _, old := range v.Down {
			if overlap(w, old) {
				return Vessel{}, apierr.FailedPrecondition(VesselDown, "%s is down already from %s (%s): bring it up first, then report the new window",
					c.Name, old.Start.UTC().Format(time.RFC3339), old.Reason).With("vessel", c.Name).With("start", old.Start.UTC().Format(time.RFC3339)).
					With("reason", old.Reason).WithViolation(c.Name, "down from %s", old.Start.UTC().Format(time.RFC3339))
			}
		}
		v.Down = append(v.Down, w)
		v = s.withWindows(v, now)
		if err := s.store.UpdateVessel(ctx, v); err != nil {
			return Vessel{}, said(err, VesselMissing, VesselExists, c.Name)
		}
		planned, err := s.plannedIn(ctx, v.Name, w)
		if err != nil {
			return Vessel{}, err
		}
		return v, s.events.VesselDown(ctx, v, w, planned)
	})
}

func overlap(a, b DownWindow) bool {
	return (b.End.IsZero() || a.Start.Before(b.End)) && (a.End.IsZero() || b.Start.Before(a.End))
}

// withWindows drops windows that ended long ago, orders the rest and stamps the vessel.
func (s *Service) withWindows(v Vessel, now time.Time) Vessel {
	var kept []DownWindow
	for _, w := range v.Down {
		if w.End.IsZero() || w.End.After(now.Add(-keepDownWindows)) {
			kept = append(kept, w)
		}
	}
	sort.Slice(kept, func(i, j int) bool { return kept[i].Start.Before(kept[j].Start) })
	v.Down = kept
	v.Meta = s.changed(v.Meta)
	return v
}

// plannedIn names the planned runs that have a vessel in a window.
func (s *Service) plannedIn(ctx context.Context, vessel string, w DownWindow) ([]string, error) {
	runs, err := s.store.RunsInState(ctx, siteOf(vessel), RunPlanned)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, r := range runs {
		if !overlap(w, DownWindow{Start: r.PlannedStart, End: r.PlannedEnd}) {
			continue
		}
		for _, used := range r.vessels() {
			if used == vessel {
				names = append(names, r.Name)
			}
		}
	}
	return names, nil
}

// BringUp asks to put a vessel back into service.
type BringUp struct {
	Name  string
	At    time.Time // defaults to now
	Etag  string
	Actor string
}

// BringVesselUp ends the current down window of a vessel and withdraws planned later ones.
func (s *Service) BringVesselUp(ctx context.Context, c BringUp) (Vessel, error) {
	return inTx(ctx, s, func(ctx context.Context) (Vessel, error) {
		v, err := s.Vessel(ctx, c.Name)
		if err != nil {
			return Vessel{}, err
		}
		if err := checkEtag(c.Etag, v.Version, c.Name); err != nil {
			return Vessel{}, err
		}
		now := s.clock.Now()
		at := c.At
		if at.IsZero() {
			at = now
		}
		if err := plausible("up_time", at, now); err != nil {
			return Vessel{}, err
		}
		var kept []DownWindow
		ended := false
		for _, w := range v.Down {
			switch {
			case !w.End.IsZero() && !w.End.After(at): // over already
				kept = append(kept, w)
			case w.Start.Before(at):
				w.End = at
				kept = append(kept, w)
				ended = true
			default: // planned for later: withdrawn
				ended = true
			}
		}
		if !ended {
			return Vessel{}, apierr.FailedPrecondition(VesselNotDown, "%s is not down, so there is nothing to bring up", c.Name).
				With("vessel", c.Name).WithViolation(c.Name, "is in service")
		}
		v.Down = kept
		v = s.withWindows(v, now)
		if err := s.store.UpdateVessel(ctx, v); err != nil {
			return Vessel{}, said(err, VesselMissing, VesselExists, c.Name)
		}
		return v, s.events.VesselUp(ctx, v, c.Actor, at)
	})
}
