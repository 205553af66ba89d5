// Package auth says who calls and whether that caller may.
//
// A token names one principal: a subject, one role, and possibly one site and one outlet. Each RPC declares its rule in
// its proto file (option rondeau.auth.v1.access); [Rules] reads them, [Rule.Check] applies them, and what has no rule is
// refused. Tokens come from an OpenID Connect provider ([NewOIDC]) or, on a single machine, from a key made at the first
// start ([LoadOrCreateKeys]).
//
// Token times are compared with the machine's clock, never with a simulated one.
package auth

import (
	"context"
	"slices"
	"strings"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
)

// Role is the part that a person or a program plays. It mirrors the enum rondeau.auth.v1.Role; a test keeps them equal.
type Role string

// The roles.
const (
	Manager    Role = "manager"
	Cook       Role = "cook"
	Receiver   Role = "receiver"
	Outlet     Role = "outlet"
	SafetyLead Role = "safety_lead"
	Auditor    Role = "auditor"
	Service    Role = "service"
)

// Roles lists all roles.
func Roles() []Role {
	return []Role{Manager, Cook, Receiver, Outlet, SafetyLead, Auditor, Service}
}

// Valid says whether r is one of the roles.
func (r Role) Valid() bool { return slices.Contains(Roles(), r) }

// Reasons of the errors of this package.
const (
	TokenMissing     = "TOKEN_MISSING"
	TokenInvalid     = "TOKEN_INVALID"
	TokenExpired     = "TOKEN_EXPIRED"
	NoAccessRule     = "NO_ACCESS_RULE"
	RoleNotAllowed   = "ROLE_NOT_ALLOWED"
	OutsideSite      = "OUTSIDE_SITE"
	OutsideOutlet    = "OUTSIDE_OUTLET"
	PrincipalInvalid = "PRINCIPAL_INVALID"
)

// Principal is an authenticated caller.
type Principal struct {
	Subject string // who: a person's or a program's stable identifier
	Role    Role
	Site    string // "sites/x": only this kitchen; "": all
	Outlet  string // "sites/x/outlets/y", for the role outlet and no other
}

var (
	sitePattern   = aip.MustPattern("sites/{site}")
	outletPattern = aip.MustPattern("sites/{site}/outlets/{outlet}")
)

// Validate checks that the principal makes sense.
func (p Principal) Validate() error {
	bad := ""
	switch {
	case strings.TrimSpace(p.Subject) == "" || len(p.Subject) > 255:
		bad = "the subject must have 1 to 255 characters"
	case !p.Role.Valid():
		bad = "the role is none of manager, cook, receiver, outlet, safety_lead, auditor, service"
	case p.Site != "" && !sitePattern.Matches(p.Site):
		bad = "the site must have the form sites/{site}"
	case p.Role == Outlet && !outletPattern.Matches(p.Outlet):
		bad = "the role outlet needs an outlet of the form sites/{site}/outlets/{outlet}"
	case p.Role != Outlet && p.Outlet != "":
		bad = "only the role outlet has an outlet"
	case p.Role == Outlet && p.Site != "" && !aip.Under(p.Outlet, p.Site):
		bad = "the outlet lies outside of the site"
	}
	if bad == "" {
		return nil
	}
	return apierr.InvalidArgument(PrincipalInvalid, "%s", bad).With("subject", p.Subject).With("role", string(p.Role))
}

// site is the kitchen that bounds the principal; an outlet is bound to its kitchen even if the token does not say so.
func (p Principal) site() string {
	if p.Site == "" && p.Role == Outlet {
		return aip.ParentOf(p.Outlet)
	}
	return p.Site
}

type principalKey struct{}

// NewContext returns a context that carries p.
func NewContext(ctx context.Context, p Principal) context.Context {
	return context.WithValue(ctx, principalKey{}, p)
}

// FromContext is the principal that ctx carries.
func FromContext(ctx context.Context) (Principal, bool) {
	p, ok := ctx.Value(principalKey{}).(Principal)
	return p, ok
}

// Verifier turns a bearer token into a principal, or returns an Unauthenticated error.
type Verifier interface {
	Verify(ctx context.Context, token string) (Principal, error)
}
