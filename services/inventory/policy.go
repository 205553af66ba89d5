package inventory

import (
	"context"
	"errors"
	"math"
	"net/url"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
)

// Defaults of a stock policy.
const (
	// DefaultTolerance is the part of a batch's input that may stay unexplained: common practice, no source. Audit practice accounts for
	// 98 to 102 %.
	DefaultTolerance = 0.02
	// DefaultStem is the canonical resolver of GS1 Digital Link.
	DefaultStem = "https://id.gs1.org"
)

// Policy is the stock rules of one kitchen.
type Policy struct {
	Name          string // sites/{site}/stockPolicy
	TimeZone      string // IANA
	Tolerance     float64
	CompanyPrefix string // GS1, 6 to 12 digits, or empty
	SSCCExtension int    // 0 to 9
	SerialPrefix  string
	Stem          string
	Meta
}

// PolicyName is the name of a site's policy.
func PolicyName(site string) string { return site + "/stockPolicy" }

func defaultPolicy(site string) *Policy {
	return &Policy{Name: PolicyName(site), TimeZone: "UTC", Tolerance: DefaultTolerance, Stem: DefaultStem}
}

func (p *Policy) check() error {
	bad := apierr.InvalidArgument(StockPolicyInvalid, "%s cannot be saved: correct the fields named below", p.Name).With("stock_policy", p.Name)
	n := 0
	fault := func(field, format string, args ...any) { n++; bad = bad.WithViolation(field, format, args...) }
	if _, err := time.LoadLocation(p.TimeZone); err != nil || p.TimeZone == "Local" {
		fault("stock_policy.time_zone", "%q is not an IANA time zone, such as Europe/Vienna", p.TimeZone)
	}
	if math.IsNaN(p.Tolerance) || p.Tolerance < 0 || p.Tolerance > 0.2 {
		fault("stock_policy.balance_tolerance_fraction", "must be 0 to 0.2")
	}
	u, err := url.Parse(p.Stem)
	if err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" || u.RawQuery != "" || u.Fragment != "" {
		fault("stock_policy.digital_link_stem", "must be a web address without query, such as %s", DefaultStem)
	}
	if n > 0 {
		return bad
	}
	return nil
}

// zone is the time zone of the policy; check has made sure that it loads.
func (p *Policy) zone() *time.Location {
	z, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return time.UTC
	}
	return z
}

// day is the civil day of t in the kitchen.
func (p *Policy) day(t time.Time) string { return t.In(p.zone()).Format(time.DateOnly) }

// tolerance is the difference that closing a batch of that input accepts.
func (p *Policy) tolerance(input units.Milligrams) units.Milligrams {
	return units.Milligrams(math.Floor(float64(input) * p.Tolerance))
}

// Policy reads the stock rules of a kitchen; a kitchen without own ones has the defaults.
func (s *Service) Policy(ctx context.Context, site string) (*Policy, error) {
	p, err := s.store.Policies().Get(ctx, PolicyName(site))
	if errors.Is(err, apierr.Reason(PolicyMissing)) {
		return defaultPolicy(site), nil
	}
	return p, err
}

// PolicyMissing is the reason that a Store gives when a site has no policy of its own. It never leaves the package: such a site
// has the default one.
const PolicyMissing = "STOCK_POLICY_MISSING"

// UpdatePolicy changes the stock rules of a kitchen by fn.
func (s *Service) UpdatePolicy(ctx context.Context, name, etag string, fn func(*Policy) error) (*Policy, error) {
	var out *Policy
	err := s.store.InTx(ctx, func(ctx context.Context) error {
		p, err := s.Policy(ctx, SiteOf(name))
		if err != nil {
			return err
		}
		if err := checkEtag(etag, p.Etag(), name); err != nil {
			return err
		}
		meta := p.Meta
		if err := fn(p); err != nil {
			return err
		}
		p.Name, p.Meta = PolicyName(SiteOf(name)), meta
		if p.TimeZone == "" {
			p.TimeZone = "UTC"
		}
		if p.Stem == "" {
			p.Stem = DefaultStem
		}
		if err := p.check(); err != nil {
			return err
		}
		out = p
		if meta.UID == "" {
			p.Meta = s.newMeta()
			return s.store.Policies().Insert(ctx, p)
		}
		s.touch(&p.Meta)
		return s.store.Policies().Update(ctx, p)
	})
	return out, err
}
