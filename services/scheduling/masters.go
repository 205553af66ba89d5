package scheduling

import (
	"context"
	"errors"
)

// Vessel answers a vessel.
func (s *Service) Vessel(ctx context.Context, name string) (Vessel, error) {
	v, err := s.store.GetVessel(ctx, name)
	return v, said(err, VesselMissing, VesselExists, name)
}

// Vessels lists vessels by name.
func (s *Service) Vessels(ctx context.Context, q ListQuery) ([]Vessel, error) {
	return s.store.ListVessels(ctx, q)
}

// CreateVessels creates several vessels, all or none.
func (s *Service) CreateVessels(ctx context.Context, vessels []Vessel) ([]Vessel, error) {
	return inTx(ctx, s, func(ctx context.Context) ([]Vessel, error) {
		out := make([]Vessel, 0, len(vessels))
		for _, v := range vessels {
			if err := v.Check(); err != nil {
				return nil, err
			}
			if err := s.cleanerExists(ctx, v); err != nil {
				return nil, err
			}
			v.Meta, v.Down, v.MaterialState = s.created(), nil, ""
			if err := s.store.InsertVessel(ctx, v); err != nil {
				return nil, said(err, VesselMissing, VesselExists, v.Name)
			}
			out = append(out, v)
		}
		return out, nil
	})
}

func (s *Service) cleanerExists(ctx context.Context, v Vessel) error {
	if v.Cleaning == nil || v.Cleaning.Crew == "" {
		return nil
	}
	_, err := s.store.GetCrew(ctx, v.Cleaning.Crew)
	return said(err, CrewMissing, CrewExists, v.Cleaning.Crew)
}

// UpdateVessel changes a vessel. Down windows and the material state are not changed by it.
func (s *Service) UpdateVessel(ctx context.Context, name, etag string, change func(Vessel) (Vessel, error)) (Vessel, error) {
	return inTx(ctx, s, func(ctx context.Context) (Vessel, error) {
		old, err := s.Vessel(ctx, name)
		if err != nil {
			return Vessel{}, err
		}
		if err := checkEtag(etag, old.Version, name); err != nil {
			return Vessel{}, err
		}
		v, err := change(old)
		if err != nil {
			return Vessel{}, err
		}
		v.Name, v.Meta, v.Down, v.MaterialState, v.Running, v.Learned = name, s.changed(old.Meta), old.Down, old.MaterialState, old.Running, old.Learned
		if err := v.Check(); err != nil {
			return Vessel{}, err
		}
		if err := s.cleanerExists(ctx, v); err != nil {
			return Vessel{}, err
		}
		if v.Learned != nil && !heatsAlike(old, v) { // what was learned is about what it was
			v.Learned = nil
			if err := s.store.SetVesselBelief(ctx, name, nil); err != nil {
				return Vessel{}, err
			}
		}
		return v, said(s.store.UpdateVessel(ctx, v), VesselMissing, VesselExists, name)
	})
}

// Calendar answers a calendar.
func (s *Service) Calendar(ctx context.Context, name string) (Calendar, error) {
	c, err := s.store.GetCalendar(ctx, name)
	return c, said(err, CalendarMissing, CalendarExists, name)
}

// Calendars lists calendars by name.
func (s *Service) Calendars(ctx context.Context, q ListQuery) ([]Calendar, error) {
	return s.store.ListCalendars(ctx, q)
}

// CreateCalendar creates a calendar.
func (s *Service) CreateCalendar(ctx context.Context, c Calendar) (Calendar, error) {
	if err := c.Check(); err != nil {
		return Calendar{}, err
	}
	return inTx(ctx, s, func(ctx context.Context) (Calendar, error) {
		c.Meta = s.created()
		return c, said(s.store.InsertCalendar(ctx, c), CalendarMissing, CalendarExists, c.Name)
	})
}

// UpdateCalendar changes a calendar. Schedules already published keep their times until the next one is computed.
func (s *Service) UpdateCalendar(ctx context.Context, name, etag string, change func(Calendar) (Calendar, error)) (Calendar, error) {
	return inTx(ctx, s, func(ctx context.Context) (Calendar, error) {
		old, err := s.Calendar(ctx, name)
		if err != nil {
			return Calendar{}, err
		}
		if err := checkEtag(etag, old.Version, name); err != nil {
			return Calendar{}, err
		}
		c, err := change(old)
		if err != nil {
			return Calendar{}, err
		}
		c.Name, c.Meta = name, s.changed(old.Meta)
		if err := c.Check(); err != nil {
			return Calendar{}, err
		}
		return c, said(s.store.UpdateCalendar(ctx, c), CalendarMissing, CalendarExists, name)
	})
}

// Crew answers a crew.
func (s *Service) Crew(ctx context.Context, name string) (Crew, error) {
	c, err := s.store.GetCrew(ctx, name)
	return c, said(err, CrewMissing, CrewExists, name)
}

// Crews lists crews by name.
func (s *Service) Crews(ctx context.Context, q ListQuery) ([]Crew, error) {
	return s.store.ListCrews(ctx, q)
}

// CreateCrew creates a crew.
func (s *Service) CreateCrew(ctx context.Context, c Crew) (Crew, error) {
	if err := c.Check(); err != nil {
		return Crew{}, err
	}
	return inTx(ctx, s, func(ctx context.Context) (Crew, error) {
		if _, err := s.Calendar(ctx, c.Calendar); err != nil {
			return Crew{}, err
		}
		c.Meta = s.created()
		return c, said(s.store.InsertCrew(ctx, c), CrewMissing, CrewExists, c.Name)
	})
}

// UpdateCrew changes a crew.
func (s *Service) UpdateCrew(ctx context.Context, name, etag string, change func(Crew) (Crew, error)) (Crew, error) {
	return inTx(ctx, s, func(ctx context.Context) (Crew, error) {
		old, err := s.Crew(ctx, name)
		if err != nil {
			return Crew{}, err
		}
		if err := checkEtag(etag, old.Version, name); err != nil {
			return Crew{}, err
		}
		c, err := change(old)
		if err != nil {
			return Crew{}, err
		}
		c.Name, c.Meta = name, s.changed(old.Meta)
		if err := c.Check(); err != nil {
			return Crew{}, err
		}
		if _, err := s.Calendar(ctx, c.Calendar); err != nil {
			return Crew{}, err
		}
		return c, said(s.store.UpdateCrew(ctx, c), CrewMissing, CrewExists, name)
	})
}

// Limits answers the limits of a kitchen; before they are first written, the defaults.
func (s *Service) Limits(ctx context.Context, name string) (KitchenLimits, error) {
	l, err := s.store.GetLimits(ctx, name)
	if errors.Is(err, ErrNotFound) {
		return DefaultLimits(siteOf(name)), nil
	}
	return l, err
}

// UpdateLimits changes the limits of a kitchen.
func (s *Service) UpdateLimits(ctx context.Context, name, etag string, change func(KitchenLimits) (KitchenLimits, error)) (KitchenLimits, error) {
	return inTx(ctx, s, func(ctx context.Context) (KitchenLimits, error) {
		old, err := s.Limits(ctx, name)
		if err != nil {
			return KitchenLimits{}, err
		}
		if err := checkEtag(etag, old.Version, name); err != nil {
			return KitchenLimits{}, err
		}
		l, err := change(old)
		if err != nil {
			return KitchenLimits{}, err
		}
		l.Name, l.Meta = name, s.changed(old.Meta)
		if l.CreateTime.IsZero() {
			l.CreateTime = l.UpdateTime
		}
		if err := l.Check(); err != nil {
			return KitchenLimits{}, err
		}
		if l.UnattendedCalendar != "" {
			if _, err := s.Calendar(ctx, l.UnattendedCalendar); err != nil {
				return KitchenLimits{}, err
			}
		}
		return l, said(s.store.PutLimits(ctx, l), Malformed, LimitsInvalid, name)
	})
}
