package auth

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"

	"rondeau.internal/pkg/apierr"
)

const (
	localIssuer   = "rondeau"
	localAudience = "rondeau"

	// MaxTTL is the longest life of a token that this package signs.
	MaxTTL = 366 * 24 * time.Hour
)

// Keys signs and verifies the tokens of an installation that has no identity provider. The algorithm is Ed25519.
type Keys struct {
	private ed25519.PrivateKey
	id      string
}

// LoadOrCreateKeys reads the key file at path (PKCS #8 in PEM), or creates it with mode 0600. A file that others may
// read is refused. Several processes may start together: all end with the same key.
func LoadOrCreateKeys(path string) (*Keys, error) {
	k, err := loadKeys(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return k, err
	}
	if err := createKeys(path); err != nil {
		return nil, fmt.Errorf("create key file: %w", err)
	}
	return loadKeys(path)
}

func loadKeys(path string) (*Keys, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("key file %s can be read by others (mode %04o); run: chmod 600 %s", path, info.Mode().Perm(), path)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	block, _ := pem.Decode(b)
	if block == nil {
		return nil, fmt.Errorf("key file %s holds no PEM block", path)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", path, err)
	}
	private, ok := key.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("key file %s holds a %T, an Ed25519 key is needed", path, key)
	}
	sum := sha256.Sum256(private.Public().(ed25519.PublicKey))
	return &Keys{private: private, id: hex.EncodeToString(sum[:8])}, nil
}

// createKeys writes a complete file under another name and links it to path, so that path never shows half a key and
// the first of several processes wins.
func createKeys(path string) error {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".key-*") // mode 0600
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(f.Name()) }()
	werr := pem.Encode(f, &pem.Block{Type: "PRIVATE KEY", Bytes: der})
	if err := errors.Join(werr, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Link(f.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil
}

// localClaims are the private claims of a token.
type localClaims struct {
	Role   Role   `json:"role"`
	Site   string `json:"site,omitempty"`
	Outlet string `json:"outlet,omitempty"`
}

// Sign makes a token for p that is good for ttl (more than zero, at most MaxTTL).
func (k *Keys) Sign(p Principal, ttl time.Duration) (string, error) {
	if err := p.Validate(); err != nil {
		return "", err
	}
	if ttl <= 0 || ttl > MaxTTL {
		return "", apierr.InvalidArgument(PrincipalInvalid, "the life of a token must be more than 0 and at most %s, not %s", MaxTTL, ttl).
			With("ttl", ttl.String()).With("max_ttl", MaxTTL.String())
	}
	return k.sign(p, time.Now(), ttl)
}

func (k *Keys) sign(p Principal, now time.Time, ttl time.Duration) (string, error) {
	opts := (&jose.SignerOptions{}).WithType("JWT").WithHeader("kid", k.id)
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.EdDSA, Key: k.private}, opts)
	if err != nil {
		return "", fmt.Errorf("sign token: %w", err)
	}
	token, err := jwt.Signed(signer).
		Claims(jwt.Claims{
			Issuer: localIssuer, Audience: jwt.Audience{localAudience}, Subject: p.Subject,
			IssuedAt: jwt.NewNumericDate(now), NotBefore: jwt.NewNumericDate(now), Expiry: jwt.NewNumericDate(now.Add(ttl)),
		}).
		Claims(localClaims{Role: p.Role, Site: p.Site, Outlet: p.Outlet}).
		Serialize()
	if err != nil {
		return "", fmt.Errorf("sign token: %w", err)
	}
	return token, nil
}

// Verifier verifies tokens that these keys signed. It needs the public key only.
func (k *Keys) Verifier() Verifier {
	return localVerifier{public: k.private.Public().(ed25519.PublicKey)}
}

type localVerifier struct{ public ed25519.PublicKey }

// maxTokenLength bounds the work that a stranger can cause.
const maxTokenLength = 8 << 10

// Verify implements Verifier. Only Ed25519 signatures are accepted; expiry, issuer and audience must be there.
func (v localVerifier) Verify(_ context.Context, token string) (Principal, error) {
	if token == "" {
		return Principal{}, missing()
	}
	if len(token) > maxTokenLength {
		return Principal{}, invalid(errors.New("too long"))
	}
	parsed, err := jwt.ParseSigned(token, []jose.SignatureAlgorithm{jose.EdDSA})
	if err != nil {
		return Principal{}, invalid(err)
	}
	var std jwt.Claims
	var own localClaims
	if err := parsed.Claims(v.public, &std, &own); err != nil {
		return Principal{}, invalid(err)
	}
	if std.Expiry == nil {
		return Principal{}, invalid(errors.New("no expiry"))
	}
	err = std.ValidateWithLeeway(jwt.Expected{Issuer: localIssuer, AnyAudience: jwt.Audience{localAudience}, Time: time.Now()}, 0)
	if errors.Is(err, jwt.ErrExpired) {
		return Principal{}, expired(std.Expiry.Time())
	}
	if err != nil {
		return Principal{}, invalid(err)
	}
	p := Principal{Subject: std.Subject, Role: own.Role, Site: own.Site, Outlet: own.Outlet}
	if err := p.Validate(); err != nil {
		return Principal{}, invalid(err)
	}
	return p, nil
}

func missing() error {
	return apierr.Unauthenticated(TokenMissing, "no token was sent; send the header \"authorization: Bearer <token>\"")
}

func invalid(cause error) error {
	return apierr.Unauthenticated(TokenInvalid, "the token is not valid here; get a new one").Wrap(cause)
}

func expired(at time.Time) error {
	text := at.UTC().Format(time.RFC3339)
	return apierr.Unauthenticated(TokenExpired, "the token expired at %s; get a new one", text).With("expire_time", text)
}
