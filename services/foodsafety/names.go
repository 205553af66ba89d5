package foodsafety

import (
	"crypto/rand"
	"encoding/hex"
	"regexp"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// Collections of the resource names that the service gives.
const (
	profilesCollection   = "limitsProfiles"
	probesCollection     = "probes"
	chillsCollection     = "chills"
	deviationsCollection = "deviations"
	holdsCollection      = "holds"
	releasesCollection   = "releases"
	recordsCollection    = "safetyRecords"
)

var idPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// nameOf joins site, collection and id.
func nameOf(site, collection, id string) string { return site + "/" + collection + "/" + id }

// SiteOf is the site that a resource name begins with, "" when it has none.
func SiteOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) < 2 || parts[0] != "sites" || parts[1] == "" {
		return ""
	}
	return parts[0] + "/" + parts[1]
}

// idOf is the last part of a resource name.
func idOf(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// collectionOf is the collection of the last part of a resource name.
func collectionOf(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 2 {
		return ""
	}
	return parts[len(parts)-2]
}

// chooseID checks a given id, or makes one from the prefix when it is empty.
func chooseID(field, id, prefix string) (string, error) {
	if id == "" {
		return prefix + "-" + randomID(), nil
	}
	if !idPattern.MatchString(id) {
		return "", invalidField(FieldInvalid, field, "the id %q must be lower-case letters, digits and hyphens, 1 to 63 of them, beginning with a letter or digit", id)
	}
	return id, nil
}

// shorten cuts an id to the allowed length without a hyphen at its end.
func shorten(id string) string {
	if len(id) > 63 {
		id = id[:63]
	}
	return strings.TrimRight(id, "-")
}

func randomID() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails (package crypto/rand)
	return hex.EncodeToString(b[:])
}

func newUID() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails (package crypto/rand)
	b[6], b[8] = b[6]&0x0f|0x40, b[8]&0x3f|0x80
	h := hex.EncodeToString(b[:])
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

// sameSite refuses a name of another site; an empty name passes.
func sameSite(site, field, name string) error {
	if name == "" || SiteOf(name) == site {
		return nil
	}
	return invalidField(SiteMismatch, field, "%s is not at %s; name a resource of the same site", name, site).With("resource", name)
}

// checkEtag compares the etag that a caller saw with the stored one; an empty one passes.
func checkEtag(got, want, resource string) error {
	if got == "" || got == want {
		return nil
	}
	return apierr.Aborted(EtagMismatch, "%s was changed since you read it (etag %s, now %s); read it again and repeat", resource, got, want).
		With("resource", resource).With("etag", got).With("current_etag", want).WithResource(resource)
}
