package planning

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"regexp"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

var idPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// SiteOf returns the site that a resource name begins with, `sites/x`.
func SiteOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) < 2 {
		return name
	}
	return parts[0] + "/" + parts[1]
}

// ParentOf returns a resource name without its last collection and identifier.
func ParentOf(name string) string {
	i := strings.LastIndexByte(name, '/')
	if i < 0 {
		return ""
	}
	j := strings.LastIndexByte(name[:i], '/')
	if j < 0 {
		return ""
	}
	return name[:j]
}

// lastID returns the last part of a resource name.
func lastID(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// childName builds the name of a new resource; a missing id is made up.
func childName(parent, collection, id, prefix string) (string, error) {
	if id == "" {
		id = prefix + "-" + randomText(10)
	}
	if !idPattern.MatchString(id) {
		return "", apierr.InvalidArgument(FieldInvalid,
			"%q cannot be the last part of a name: use 1 to 63 lower-case letters, digits and hyphens, beginning with a letter or digit", id).With("id", id)
	}
	if parent == "" {
		return collection + "/" + id, nil
	}
	return parent + "/" + collection + "/" + id, nil
}

// randomText returns n lower-case characters that nobody can guess.
func randomText(n int) string { return strings.ToLower(rand.Text())[:n] }

func newUID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails, by its documentation
	b[6] = b[6]&0x0f | 0x40
	b[8] = b[8]&0x3f | 0x80
	t := hex.EncodeToString(b[:])
	return t[:8] + "-" + t[8:12] + "-" + t[12:16] + "-" + t[16:20] + "-" + t[20:]
}

// slug turns an identifier into at most n characters of a new one.
func slug(id string, n int) string {
	if len(id) > n {
		id = strings.TrimRight(id[:n], "-")
	}
	return id
}

// Meta is what every stored resource has.
type Meta struct {
	Name       string
	UID        string
	Version    int64 // counts the changes; 1 after creation
	CreateTime time.Time
	UpdateTime time.Time
}

func newMeta(name string, now time.Time) Meta {
	return Meta{Name: name, UID: newUID(), Version: 1, CreateTime: now, UpdateTime: now}
}

// Etag marks this version of the resource.
func (m *Meta) Etag() string {
	if len(m.UID) < 8 {
		return fmt.Sprintf("%d", m.Version)
	}
	return fmt.Sprintf("%s-%d", m.UID[:8], m.Version)
}

// checkEtag refuses a caller who has seen another version; an empty etag is not checked.
func (m *Meta) checkEtag(etag string) error {
	if etag == "" || etag == m.Etag() {
		return nil
	}
	return staleError(m.Name)
}

func staleError(name string) error {
	return apierr.Aborted(EtagMismatch, "%s was changed since you read it: read it again and repeat your change", name).With("resource", name)
}
