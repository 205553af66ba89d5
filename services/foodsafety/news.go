package foodsafety

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Facts that other services tell. Each may come twice or out of order; applying one again changes nothing.

// LotCreated tells that the inventory made or received a lot.
func (s *Service) LotCreated(ctx context.Context, lot Lot) error {
	return s.store.InTx(ctx, func(ctx context.Context) error { return s.store.PutLot(ctx, &lot) })
}

// StockConsumed tells that lots went into a batch; every lot of the batch counts as made from them.
func (s *Service) StockConsumed(ctx context.Context, batch string, lots []string) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		for _, lot := range lots {
			if err := s.store.AddBatchInput(ctx, batch, lot); err != nil {
				return err
			}
		}
		return nil
	})
}

// RejectedLine is a delivery line that the receiver rejected.
type RejectedLine struct {
	Delivery    string
	LineID      string
	Item        string
	Supplier    string
	Reason      string
	Receiver    string
	Temperature *float64 // degrees Celsius, nil when not measured
	Limit       *float64 // degrees Celsius, nil when the temperature was not the reason
	ReceiveTime time.Time
}

// LineRejected opens a deviation for a line that was too warm; other reasons are no matter of a limit. Nothing of the
// line entered the stock, so nothing is held.
func (s *Service) LineRejected(ctx context.Context, l RejectedLine) error {
	if l.Limit == nil {
		return nil
	}
	return s.store.InTx(ctx, func(ctx context.Context) error {
		name := nameOf(SiteOf(l.Delivery), deviationsCollection, shorten("rejected-"+idOf(l.Delivery)+"-"+l.LineID))
		if _, err := s.store.GetDeviation(ctx, name); !errors.Is(err, apierr.Reason(DeviationMissing)) {
			return err // nil: known already
		}
		measured := "not measured"
		if l.Temperature != nil {
			measured = fmt.Sprintf("%.1f C", *l.Temperature)
		}
		text := fmt.Sprintf("Delivery line %s (%s from %s) was rejected by %s at %s: %s; temperature %s, limit %.1f C.",
			l.LineID, l.Item, l.Supplier, l.Receiver, l.ReceiveTime.UTC().Format(time.RFC3339), l.Reason, measured, *l.Limit)
		return s.open(ctx, system, &Deviation{Name: name, Kind: DeviationReceivingTemperature, Subjects: []string{l.Delivery}, Description: text})
	})
}

// RunFact is what the schedule tells of a run.
type RunFact struct {
	Run     string
	Batch   string
	Vessel  string
	Chill   bool     // the run is a chill step
	Profile string   // resource name or last part of it; may be empty
	People  []string // operator and recorder
	Time    time.Time
	Reason  string // of an aborted run
}

// RunStarted notes who works at a run and starts the chill of a chill step, unless there is one.
func (s *Service) RunStarted(ctx context.Context, f RunFact) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.notePeople(ctx, f); err != nil || !f.Chill {
			return err
		}
		chills, err := s.store.ChillsOfRun(ctx, f.Run)
		if err != nil || len(chills) > 0 {
			return err
		}
		site := SiteOf(f.Run)
		profile := f.Profile
		if profile != "" && !strings.Contains(profile, "/") {
			profile = nameOf(site, profilesCollection, profile)
		}
		if profile != "" {
			// A chill must be watched even when the plan names a profile that does not exist here.
			if _, err := s.profileFor(ctx, site, profile); errors.Is(err, apierr.Reason(LimitsProfileMissing)) {
				profile = ""
			} else if err != nil {
				return err
			}
		}
		who := system
		if len(f.People) > 0 && f.People[0] != "" {
			who = actor{subject: f.People[0], role: "cook"}
		}
		id := shorten(idOf(f.Batch) + "-" + idOf(f.Run))
		if _, err := s.store.GetChill(ctx, nameOf(site, chillsCollection, id)); err == nil {
			id = "chill-" + randomID() // the name is taken by a chill of something else
		} else if !errors.Is(err, apierr.Reason(ChillMissing)) {
			return err
		}
		_, err = s.insertChill(ctx, who, site, NewChill{ID: id, Batch: f.Batch, Run: f.Run, Vessel: f.Vessel, Profile: profile, StartTime: f.Time.UTC().Truncate(time.Microsecond)}, true)
		return err
	})
}

// RunFinished notes who finished a run and finishes the chills of a chill step that are cold. One that is not cold
// stays in progress: the food is warm whatever the record of the run says.
func (s *Service) RunFinished(ctx context.Context, f RunFact) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.notePeople(ctx, f); err != nil || !f.Chill {
			return err
		}
		chills, err := s.store.ChillsOfRun(ctx, f.Run)
		if err != nil {
			return err
		}
		who := system
		if len(f.People) > 0 && f.People[0] != "" {
			who = actor{subject: f.People[0], role: "cook"}
		}
		for i := range chills {
			c := &chills[i]
			if c.State != ChillInProgress {
				continue
			}
			at := f.Time
			if at.Before(c.StartTime) {
				at = c.StartTime
			}
			if err := s.finish(ctx, who, c, at); err != nil && !errors.Is(err, apierr.Reason(ChillNotCold)) {
				return err
			}
		}
		return nil
	})
}

// RunAborted gives up a chill that only the news of the run began and nobody measured. One with readings stays: there
// is food in it.
func (s *Service) RunAborted(ctx context.Context, f RunFact) error {
	return s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.notePeople(ctx, f); err != nil || !f.Chill {
			return err
		}
		begun, err := s.begunByRun(ctx, f.Run)
		if err != nil || begun == nil || begun.ReadingCount > 0 {
			return err
		}
		return s.abandon(ctx, system, begun, "the run was given up: "+f.Reason)
	})
}

func (s *Service) notePeople(ctx context.Context, f RunFact) error {
	for _, person := range f.People {
		if person == "" {
			continue
		}
		if err := s.store.AddBatchPerson(ctx, f.Batch, person); err != nil {
			return err
		}
	}
	return nil
}
