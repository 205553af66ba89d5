package planning

import (
	"context"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/gs1"
)

// Defaults of a site.
const (
	defaultCutOff       = 24 * time.Hour
	defaultDelivery     = TimeOfDay(8 * 60)
	defaultSameDay      = 4 * time.Hour
	defaultServiceLevel = 0.9
)

// Site is one kitchen.
type Site struct {
	Meta
	DisplayName    string
	TimeZone       string // IANA name
	AltitudeMeters float64
	GLN            string
	Address        string
	CutOff         *time.Duration // nil: 24 hours
	DeliveryTime   *TimeOfDay     // nil: 08:00
	SameDay        *time.Duration // nil: 4 hours
	ServiceLevel   float64        // 0: 0.9
}

// Zone returns the time zone in which days and cut-offs are counted.
func (s *Site) Zone() *time.Location {
	zone, err := time.LoadLocation(s.TimeZone)
	if err != nil || s.TimeZone == "" || s.TimeZone == "Local" {
		return time.UTC // not reached: check refuses such a site
	}
	return zone
}

func (s *Site) cutOff() time.Duration {
	if s.CutOff == nil {
		return defaultCutOff
	}
	return *s.CutOff
}

func (s *Site) deliveryTime() TimeOfDay {
	if s.DeliveryTime == nil {
		return defaultDelivery
	}
	return *s.DeliveryTime
}

func (s *Site) sameDay() time.Duration {
	if s.SameDay == nil {
		return defaultSameDay
	}
	return *s.SameDay
}

func (s *Site) serviceLevel() float64 {
	if s.ServiceLevel == 0 {
		return defaultServiceLevel
	}
	return s.ServiceLevel
}

func (s *Site) check() error {
	var f faults
	f.need("site.display_name", s.DisplayName, "the name of the kitchen")
	f.need("site.time_zone", s.TimeZone, "a time zone such as Europe/Paris")
	if _, err := time.LoadLocation(s.TimeZone); s.TimeZone != "" && (err != nil || s.TimeZone == "Local") {
		f.add("site.time_zone", "%q is not known: give an IANA name such as Europe/Paris or America/Chicago", s.TimeZone)
	}
	if s.GLN != "" {
		if err := gs1.GLN.Check(s.GLN); err != nil {
			f.add("site.gln", "%s", err)
		}
	}
	return f.err("site " + s.Name)
}

// CreateSite adds a kitchen.
func (s *Service) CreateSite(ctx context.Context, id string, site *Site) (*Site, error) {
	name, err := childName("", "sites", id, "site")
	if err != nil {
		return nil, err
	}
	site.Meta = newMeta(name, s.now())
	if err := site.check(); err != nil {
		return nil, err
	}
	return site, s.store.Sites().Insert(ctx, site)
}

// UpdateSite changes a kitchen. Cut-offs of orders already placed stay as they are.
func (s *Service) UpdateSite(ctx context.Context, name, etag string, change func(*Site) error) (*Site, error) {
	return update(ctx, s, s.store.Sites(), name, etag, func(site *Site) error {
		if err := change(site); err != nil {
			return err
		}
		return site.check()
	})
}

// Site returns one kitchen.
func (s *Service) Site(ctx context.Context, name string) (*Site, error) {
	return s.store.Sites().Get(ctx, name)
}

// ListSites returns a page of the kitchens in order of name; only, when set, limits it to one.
func (s *Service) ListSites(ctx context.Context, only string, limit int, after []string) ([]*Site, error) {
	if only != "" {
		if len(after) > 0 {
			return nil, nil
		}
		site, err := s.store.Sites().Get(ctx, only)
		if apierr.ReasonOf(err) == SiteMissing {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		return []*Site{site}, nil
	}
	return s.store.Sites().List(ctx, Query{Limit: limit, After: after})
}
