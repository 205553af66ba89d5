package auth_test

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	authpb "rondeau.internal/pkg/gen/rondeau/auth/v1"
)

var cook = auth.Principal{Subject: "anna", Role: auth.Cook, Site: "sites/north"}

func newKeys(t *testing.T) *auth.Keys {
	t.Helper()
	k, err := auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestRolesMirrorTheProtoEnum(t *testing.T) {
	t.Parallel()
	want := map[string]bool{}
	for _, r := range auth.Roles() {
		want["ROLE_"+strings.ToUpper(string(r))] = true
	}
	for n, name := range authpb.Role_name {
		if n != 0 && !want[name] {
			t.Errorf("%s has no counterpart", name)
		}
	}
	if len(want) != len(authpb.Role_name)-1 {
		t.Errorf("%d roles here, %d in the proto file", len(want), len(authpb.Role_name)-1)
	}
}

func TestTokenRoundTrip(t *testing.T) {
	t.Parallel()
	k := newKeys(t)
	for _, p := range []auth.Principal{
		cook, {Subject: "svc", Role: auth.Service}, {Subject: "o", Role: auth.Outlet, Outlet: "sites/north/outlets/quay"},
	} {
		token, err := k.Sign(p, time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		got, err := k.Verifier().Verify(t.Context(), token)
		if err != nil || got != p {
			t.Errorf("got %+v %v, want %+v", got, err, p)
		}
	}
}

func TestSignRefusesWhatMakesNoSense(t *testing.T) {
	t.Parallel()
	k := newKeys(t)
	for name, p := range map[string]auth.Principal{
		"no subject":          {Role: auth.Cook},
		"no role":             {Subject: "a"},
		"unknown role":        {Subject: "a", Role: "chef"},
		"odd site":            {Subject: "a", Role: auth.Cook, Site: "north"},
		"outlet without one":  {Subject: "a", Role: auth.Outlet},
		"cook with an outlet": {Subject: "a", Role: auth.Cook, Outlet: "sites/n/outlets/o"},
		"outlet of another":   {Subject: "a", Role: auth.Outlet, Site: "sites/n", Outlet: "sites/m/outlets/o"},
	} {
		if _, err := k.Sign(p, time.Hour); !errors.Is(err, apierr.Reason(auth.PrincipalInvalid)) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, ttl := range []time.Duration{0, -1, auth.MaxTTL + 1} {
		if _, err := k.Sign(cook, ttl); err == nil {
			t.Errorf("ttl %s was accepted", ttl)
		}
	}
}

// forge signs claims with another key or algorithm.
func forge(t *testing.T, alg jose.SignatureAlgorithm, key any, claims map[string]any) string {
	t.Helper()
	s, err := jose.NewSigner(jose.SigningKey{Algorithm: alg, Key: key}, nil)
	if err != nil {
		t.Fatal(err)
	}
	token, err := jwt.Signed(s).Claims(claims).Serialize()
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func TestVerifierRefusesForgedTokens(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key.pem")
	k, err := auth.LoadOrCreateKeys(path)
	if err != nil {
		t.Fatal(err)
	}
	private := readKey(t, path)
	public := private.Public().(ed25519.PublicKey)
	good, err := k.Sign(cook, time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	claims := func(change func(map[string]any)) map[string]any {
		m := map[string]any{
			"iss": "rondeau", "aud": "rondeau", "sub": "anna", "role": "manager", "exp": time.Now().Add(time.Hour).Unix(), "nbf": time.Now().Add(-time.Minute).Unix(),
		}
		if change != nil {
			change(m)
		}
		return m
	}
	if _, err := k.Verifier().Verify(t.Context(), forge(t, jose.EdDSA, private, claims(nil))); err != nil {
		t.Fatalf("the forge itself is wrong: %v", err)
	}
	b64 := func(s string) string { return base64.RawURLEncoding.EncodeToString([]byte(s)) }
	parts := strings.Split(good, ".")
	body, err := base64.RawURLEncoding.DecodeString(parts[1])
	if err != nil {
		t.Fatal(err)
	}
	promoted := b64(strings.Replace(string(body), `"role":"cook"`, `"role":"manager"`, 1))
	if promoted == parts[1] {
		t.Fatal("the payload has no role to change")
	}
	_, otherKey, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct{ token, reason string }{
		"empty":              {"", auth.TokenMissing},
		"garbage":            {"x.y.z", auth.TokenInvalid},
		"too long":           {strings.Repeat("a", 9000), auth.TokenInvalid},
		"role changed":       {parts[0] + "." + promoted + "." + parts[2], auth.TokenInvalid},
		"signature cut":      {parts[0] + "." + parts[1] + ".", auth.TokenInvalid},
		"algorithm none":     {b64(`{"alg":"none"}`) + "." + parts[1] + ".", auth.TokenInvalid},
		"public key as HMAC": {forge(t, jose.HS256, []byte(public), claims(nil)), auth.TokenInvalid},
		"another key":        {forge(t, jose.EdDSA, otherKey, claims(nil)), auth.TokenInvalid},
		"expired":            {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { m["exp"] = time.Now().Add(-time.Second).Unix() })), auth.TokenExpired},
		"no expiry":          {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { delete(m, "exp") })), auth.TokenInvalid},
		"not yet":            {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { m["nbf"] = time.Now().Add(time.Hour).Unix() })), auth.TokenInvalid},
		"another issuer":     {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { m["iss"] = "x" })), auth.TokenInvalid},
		"another audience":   {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { m["aud"] = "x" })), auth.TokenInvalid},
		"unknown role":       {forge(t, jose.EdDSA, private, claims(func(m map[string]any) { m["role"] = "owner" })), auth.TokenInvalid},
	} {
		p, err := k.Verifier().Verify(t.Context(), tt.token)
		if !errors.Is(err, apierr.Reason(tt.reason)) || apierr.KindOf(err) != apierr.KindUnauthenticated || p != (auth.Principal{}) {
			t.Errorf("%s: %+v %v, want %s", name, p, err, tt.reason)
		}
	}
}

func TestKeyFileIsPrivateStableAndSharedByAllStarters(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key.pem")
	var wg sync.WaitGroup
	keys := make([]*auth.Keys, 8)
	for i := range keys {
		wg.Go(func() {
			k, err := auth.LoadOrCreateKeys(path)
			if err != nil {
				t.Error(err)
			}
			keys[i] = k
		})
	}
	wg.Wait()
	if t.Failed() {
		return
	}
	for i := range keys {
		token, err := keys[i].Sign(cook, time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := keys[(i+1)%len(keys)].Verifier().Verify(t.Context(), token); err != nil {
			t.Errorf("starter %d: %v", i, err)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v %v", info.Mode(), err)
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".key-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := auth.LoadOrCreateKeys(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a key that others may read: %v", err)
	}
	if err := os.WriteFile(path, []byte("nonsense"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := auth.LoadOrCreateKeys(path); err == nil {
		t.Error("nonsense was accepted or overwritten")
	}
}

// provider is an OpenID Connect provider with one RSA key.
func provider(t *testing.T) (issuer string, key *rsa.PrivateKey) {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		_ = json.NewEncoder(w).Encode(map[string]any{"issuer": srv.URL, "jwks_uri": srv.URL + "/keys", "authorization_endpoint": srv.URL, "token_endpoint": srv.URL})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) {
		_ = json.NewEncoder(w).Encode(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: key.Public(), Algorithm: "RS256", Use: "sig"}}})
	})
	return srv.URL, key
}

func TestOIDCTokensBecomePrincipals(t *testing.T) {
	t.Parallel()
	issuer, key := provider(t)
	ctx, cancel := context.WithCancel(t.Context())
	v, err := auth.NewOIDC(ctx, issuer, "rondeau-api")
	if err != nil {
		t.Fatal(err)
	}
	cancel() // keys are fetched later and must not depend on the start-up context
	claims := map[string]any{
		"iss": issuer, "aud": "rondeau-api", "sub": "u1", "exp": time.Now().Add(time.Hour).Unix(), "rondeau_role": "safety_lead", "rondeau_site": "sites/north",
	}
	with := func(k string, v any) map[string]any {
		m := map[string]any{}
		for a, b := range claims {
			m[a] = b
		}
		m[k] = v
		return m
	}
	p, err := v.Verify(t.Context(), forge(t, jose.RS256, key, claims))
	if err != nil || p != (auth.Principal{Subject: "u1", Role: auth.SafetyLead, Site: "sites/north"}) {
		t.Fatalf("%+v %v", p, err)
	}
	for name, tt := range map[string]struct{ token, reason string }{
		"empty":            {"", auth.TokenMissing},
		"expired":          {forge(t, jose.RS256, key, with("exp", time.Now().Add(-time.Minute).Unix())), auth.TokenExpired},
		"another audience": {forge(t, jose.RS256, key, with("aud", "x")), auth.TokenInvalid},
		"another issuer":   {forge(t, jose.RS256, key, with("iss", "http://x")), auth.TokenInvalid},
		"no role":          {forge(t, jose.RS256, key, with("rondeau_role", "")), auth.TokenInvalid},
		"role is a list":   {forge(t, jose.RS256, key, with("rondeau_role", []string{"manager"})), auth.TokenInvalid},
		"secret key":       {forge(t, jose.HS256, []byte(strings.Repeat("k", 32)), claims), auth.TokenInvalid},
	} {
		if _, err := v.Verify(t.Context(), tt.token); !errors.Is(err, apierr.Reason(tt.reason)) {
			t.Errorf("%s: %v, want %s", name, err, tt.reason)
		}
	}
	if _, err := auth.NewOIDC(t.Context(), issuer, ""); err == nil {
		t.Error("no audience was accepted")
	}
}
