package foodsafety

import (
	"context"

	"rondeau.internal/pkg/apierr"
)

// GetHold returns one hold.
func (s *Service) GetHold(ctx context.Context, name string) (*Hold, error) {
	return s.store.GetHold(ctx, name)
}

// ListHolds returns one page of holds and whether more follow.
func (s *Service) ListHolds(ctx context.Context, page Page) ([]Hold, bool, error) {
	return pageOf(page, func(p Page) ([]Hold, error) { return s.store.ListHolds(ctx, p) })
}

// PlaceHold holds a lot or a batch. The deviation may be empty.
func (s *Service) PlaceHold(ctx context.Context, site, id, subject, reason, deviation string) (*Hold, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if id, err = chooseID("hold_id", id, "hold"); err != nil {
		return nil, err
	}
	if err := sameSite(site, "hold.subject", subject); err != nil {
		return nil, err
	}
	if err := sameSite(site, "hold.deviation", deviation); err != nil {
		return nil, err
	}
	if c := collectionOf(subject); c != "lots" && c != "batches" {
		return nil, invalidField(FieldInvalid, "hold.subject", "%q is neither a lot nor a batch", subject)
	}
	if reason == "" {
		return nil, invalidField(FieldInvalid, "hold.reason", "say why it is held")
	}
	var h *Hold
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		if deviation != "" {
			d, err := s.store.GetDeviation(ctx, deviation)
			if err != nil {
				return err
			}
			if d.State == DeviationClosed {
				return apierr.FailedPrecondition(DeviationStateWrong, "%s is closed; open a new deviation, or hold without one", d.Name).
					With("resource", d.Name).With("state", string(d.State)).WithResource(d.Name)
			}
		}
		h, err = s.place(ctx, who, &Hold{Name: nameOf(site, holdsCollection, id), Subject: subject, Reason: reason, Deviation: deviation})
		return err
	})
	if err != nil {
		return nil, err
	}
	return h, nil
}

// place stores a new hold and tells of it; an empty name is made.
func (s *Service) place(ctx context.Context, who actor, h *Hold) (*Hold, error) {
	if h.Name == "" {
		h.Name = nameOf(SiteOf(h.Subject), holdsCollection, "hold-"+randomID())
	}
	now := s.now()
	h.UID, h.State, h.Placer, h.PlaceTime, h.CreateTime, h.UpdateTime, h.Version = newUID(), HoldPlaced, who.subject, now, now, now, 1
	sequence, err := s.record(ctx, who, h.Name, "hold.placed", nil, *h, h.Reason)
	if err != nil {
		return nil, err
	}
	h.Sequence = sequence
	if err := s.store.InsertHold(ctx, h); err != nil {
		return nil, err
	}
	return h, s.events.Publish(ctx, HoldWasPlaced{Hold: h})
}

// LiftHold lifts a hold; the caller must not have placed it, and its deviation must be closed with a decision that
// keeps the food.
func (s *Service) LiftHold(ctx context.Context, name, reason, etag string) (*Hold, error) {
	who, err := caller(ctx)
	if err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, invalidField(FieldInvalid, "reason", "say why the hold is lifted")
	}
	var h *Hold
	err = s.store.InTx(ctx, func(ctx context.Context) error {
		h, err = s.store.GetHold(ctx, name)
		if err != nil {
			return err
		}
		if err := checkEtag(etag, h.Etag(), name); err != nil {
			return err
		}
		var d *Deviation
		if h.Deviation != "" {
			if d, err = s.store.GetDeviation(ctx, h.Deviation); err != nil {
				return err
			}
		}
		if err := s.noOtherDeviation(ctx, h); err != nil {
			return err
		}
		before := *h
		now := s.now()
		if err := h.lift(who.subject, reason, d, now); err != nil {
			return err
		}
		h.Version, h.UpdateTime = h.Version+1, now
		if err := s.store.UpdateHold(ctx, h); err != nil {
			return err
		}
		if _, err := s.record(ctx, who, name, "hold.lifted", before, *h, reason); err != nil {
			return err
		}
		others, err := s.store.HoldsOn(ctx, h.Subject)
		if err != nil {
			return err
		}
		free := true
		for _, o := range others {
			free = free && o.State == HoldLifted
		}
		return s.events.Publish(ctx, HoldWasLifted{Hold: h, SubjectFree: free})
	})
	if err != nil {
		return nil, err
	}
	return h, nil
}

// noOtherDeviation refuses to lift a hold while a deviation about its subject is not closed.
func (s *Service) noOtherDeviation(ctx context.Context, h *Hold) error {
	if h.State == HoldLifted {
		return nil
	}
	list, err := s.store.DeviationsOf(ctx, h.Subject)
	if err != nil {
		return err
	}
	for _, d := range list {
		if d.State != DeviationClosed && d.Name != h.Deviation {
			return apierr.FailedPrecondition(HoldDeviationOpen, "%s cannot be lifted while %s about %s is not closed", h.Name, d.Name, h.Subject).
				With("resource", h.Name).With("deviation", d.Name).With("subject", h.Subject).
				WithViolation(d.Name, "the deviation is %s", d.State).WithResource(h.Name)
		}
	}
	return nil
}
