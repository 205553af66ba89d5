package foodsafety

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"rondeau.internal/pkg/apierr"
)

// GetDeviation returns one deviation.
func (s *Service) GetDeviation(ctx context.Context, name string) (*Deviation, error) {
	return s.store.GetDeviation(ctx, name)
}

// ListDeviations returns one page of deviations and whether more follow.
func (s *Service) ListDeviations(ctx context.Context, page Page) ([]Deviation, bool, error) {
	return pageOf(page, func(p Page) ([]Deviation, error) { return s.store.ListDeviations(ctx, p) })
}

// OpenDeviation opens a deviation that a person saw. With placeHolds it also holds every batch and lot it names.
func (s *Service) OpenDeviation(ctx context.Context, site, id string, subjects []string, description string, placeHolds bool) (*Deviation, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if id, err = chooseID("deviation_id", id, "deviation"); err != nil {
		return nil, err
	}
	subjects = slices.Clone(subjects)
	slices.Sort(subjects)
	subjects = slices.Compact(subjects)
	if len(subjects) == 0 || description == "" {
		return nil, invalidField(FieldInvalid, "deviation", "name what is concerned and say what happened")
	}
	for i, name := range subjects {
		if err := sameSite(site, fmt.Sprintf("deviation.subjects[%d]", i), name); err != nil {
			return nil, err
		}
	}
	d := &Deviation{Name: nameOf(site, deviationsCollection, id), Kind: DeviationManual, Subjects: subjects, Description: description}
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		if err := s.open(ctx, who, d); err != nil || !placeHolds {
			return err
		}
		for _, subject := range subjects {
			if c := collectionOf(subject); c != "lots" && c != "batches" {
				continue
			}
			if _, err := s.place(ctx, who, &Hold{Subject: subject, Reason: description, Deviation: d.Name}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return d, nil
}

// open stores a new deviation and tells of it.
func (s *Service) open(ctx context.Context, who actor, d *Deviation) error {
	now := s.now()
	d.UID, d.State, d.Opener, d.OpenTime, d.CreateTime, d.UpdateTime, d.Version = newUID(), DeviationOpen, who.subject, now, now, now, 1
	if err := s.store.InsertDeviation(ctx, d); err != nil {
		return err
	}
	if _, err := s.record(ctx, who, d.Name, "deviation.opened", nil, *d, ""); err != nil {
		return err
	}
	return s.events.Publish(ctx, DeviationOpened{Deviation: d})
}

// fail makes a chill FAILED, opens its deviation and holds its batch; the caller stores the chill.
func (s *Service) fail(ctx context.Context, who actor, c *Chill) error {
	description := "Cooling limit not met in " + c.Name + ": " + c.Judgement.Summary + "."
	if c.State == ChillPassed {
		description = "A reading that arrived after " + c.Name + " had passed speaks against it: " + c.Judgement.Summary + "."
	}
	c.State, c.Forecast, c.AtRisk = ChillFailed, nil, true
	if c.Deviation != "" {
		return nil
	}
	subjects := append([]string{c.Batch, c.Name}, c.Lots...)
	slices.Sort(subjects)
	d := &Deviation{
		Name: nameOf(c.Site(), deviationsCollection, shorten("chill-"+idOf(c.Name))), Kind: DeviationChillLimit,
		Subjects: subjects, Description: description, Chill: c.Name,
	}
	_, err := s.store.GetDeviation(ctx, d.Name)
	switch {
	case err == nil: // somebody took the name
		d.Name = nameOf(c.Site(), deviationsCollection, "chill-"+randomID())
	case !errors.Is(err, apierr.Reason(DeviationMissing)):
		return err
	}
	if err := s.open(ctx, system, d); err != nil {
		return err
	}
	c.Deviation = d.Name
	hold := &Hold{Subject: c.Batch, Reason: description, Deviation: d.Name}
	if _, err := s.place(ctx, system, hold); err != nil {
		return err
	}
	return s.events.Publish(ctx, ChillFinished{Chill: c})
}

// RecordCorrectiveAction adds what the caller did about a deviation.
func (s *Service) RecordCorrectiveAction(ctx context.Context, name, text string, decision Decision, etag string) (*Deviation, error) {
	if text == "" {
		return nil, invalidField(FieldInvalid, "corrective_action.text", "say what was done and why")
	}
	return s.changeDeviation(ctx, name, etag, "deviation.action_recorded", func(_ context.Context, who actor, d *Deviation, now time.Time) error {
		return d.act(CorrectiveAction{Text: text, Decision: decision, Actor: who.subject, RecordTime: now})
	})
}

// CloseDeviation closes a deviation; the caller must not have taken an action of it.
func (s *Service) CloseDeviation(ctx context.Context, name, note, etag string) (*Deviation, error) {
	return s.changeDeviation(ctx, name, etag, "deviation.closed", func(ctx context.Context, who actor, d *Deviation, now time.Time) error {
		if err := d.close(who.subject, note, now); err != nil {
			return err
		}
		return s.events.Publish(ctx, DeviationWasClosed{Deviation: d})
	})
}

func (s *Service) changeDeviation(ctx context.Context, name, etag, action string, change func(context.Context, actor, *Deviation, time.Time) error) (*Deviation, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	var d *Deviation
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		d, err = s.store.GetDeviation(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, d.Etag(), name); err != nil {
			return err
		}
		before := *d
		now := s.now()
		d.Version, d.UpdateTime = d.Version+1, now
		if err := change(ctx, who, d, now); err != nil {
			return err
		}
		if err := s.store.UpdateDeviation(ctx, d); err != nil {
			return err
		}
		_, err = s.record(ctx, who, name, action, before, *d, "")
		return err
	})
	if err != nil {
		return nil, err
	}
	return d, nil
}
