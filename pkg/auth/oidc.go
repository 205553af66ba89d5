package auth

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
)

// OIDCOptions adjust NewOIDC. The zero value is ready for use.
type OIDCOptions struct {
	Client *http.Client // for discovery and keys; nil means one with a timeout of 10 s
	// Claim names that carry the role, the site and the outlet; empty means "rondeau_role", "rondeau_site" and
	// "rondeau_outlet".
	RoleClaim, SiteClaim, OutletClaim string
}

// oidcAlgorithms are the accepted signatures: asymmetric only, so that a public key can never be used as a secret.
var oidcAlgorithms = []string{oidc.RS256, oidc.ES256, oidc.PS256, oidc.EdDSA}

// NewOIDC verifies tokens of an OpenID Connect provider. It reads the provider's discovery document, so the provider
// must answer. audience is the client id that tokens must be meant for.
func NewOIDC(ctx context.Context, issuer, audience string, options ...OIDCOptions) (Verifier, error) {
	var o OIDCOptions
	if len(options) > 0 {
		o = options[0]
	}
	if audience == "" {
		return nil, errors.New("oidc: the audience is missing; without it every token of the provider would be accepted")
	}
	if o.Client == nil {
		o.Client = &http.Client{Timeout: 10 * time.Second}
	}
	for name, def := range map[*string]string{&o.RoleClaim: "rondeau_role", &o.SiteClaim: "rondeau_site", &o.OutletClaim: "rondeau_outlet"} {
		if *name == "" {
			*name = def
		}
	}
	// The key set keeps this context for later key refreshes: it must outlive the call.
	provider, err := oidc.NewProvider(oidc.ClientContext(context.WithoutCancel(ctx), o.Client), issuer)
	if err != nil {
		return nil, fmt.Errorf("oidc provider %s: %w", issuer, err)
	}
	v := provider.Verifier(&oidc.Config{ClientID: audience, SupportedSigningAlgs: oidcAlgorithms})
	return oidcVerifier{verifier: v, options: o}, nil
}

type oidcVerifier struct {
	verifier *oidc.IDTokenVerifier
	options  OIDCOptions
}

// Verify implements Verifier.
func (v oidcVerifier) Verify(ctx context.Context, token string) (Principal, error) {
	if token == "" {
		return Principal{}, missing()
	}
	if len(token) > maxTokenLength {
		return Principal{}, invalid(errors.New("too long"))
	}
	t, err := v.verifier.Verify(ctx, token)
	var late *oidc.TokenExpiredError
	if errors.As(err, &late) {
		return Principal{}, expired(late.Expiry)
	}
	if err != nil {
		return Principal{}, invalid(err)
	}
	var claims map[string]json.RawMessage
	if err := t.Claims(&claims); err != nil {
		return Principal{}, invalid(err)
	}
	text := func(name string) string {
		var s string
		if raw, ok := claims[name]; ok && json.Unmarshal(raw, &s) != nil {
			return "?" // not a string: fails validation
		}
		return s
	}
	p := Principal{Subject: t.Subject, Role: Role(text(v.options.RoleClaim)), Site: text(v.options.SiteClaim), Outlet: text(v.options.OutletClaim)}
	if err := p.Validate(); err != nil {
		return Principal{}, invalid(err)
	}
	return p, nil
}
