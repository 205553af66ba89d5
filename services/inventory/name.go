package inventory

import (
	"fmt"
	"regexp"
	"strings"

	"rondeau.internal/pkg/apierr"
)

var idPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)

// SiteOf is the site of a resource name: "sites/x" of "sites/x/lots/y". Empty when the name does not begin with one.
func SiteOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) < 2 || parts[0] != "sites" || parts[1] == "" {
		return ""
	}
	return parts[0] + "/" + parts[1]
}

// Collection is the collection of a resource name: "lots" of "sites/x/lots/y".
func Collection(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 3 {
		return ""
	}
	return parts[len(parts)-2]
}

// lastID is the last part of a resource name.
func lastID(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// child is the name of a resource of a site. An id of the wrong form is an error.
func child(site, collection, id string) (string, error) {
	if SiteOf(site) != site || site == "" {
		return "", apierr.InvalidArgument(NameInvalid, "%q is not the name of a kitchen; write sites/{site}", site).With("name", site).
			WithViolation("parent", "must be sites/{site}")
	}
	if !idPattern.MatchString(id) {
		return "", apierr.InvalidArgument(NameInvalid, "%q cannot be the last part of a name; use lower-case letters, digits and hyphens, at most 63", id).
			With("id", id)
	}
	return site + "/" + collection + "/" + id, nil
}

// sameSite refuses names of other kitchens. Empty names pass.
func sameSite(site string, names ...string) error {
	for _, n := range names {
		if n != "" && SiteOf(n) != site {
			return apierr.InvalidArgument(WrongSite, "%s does not belong to %s; a request keeps to one kitchen", n, site).
				With("name", n).With("site", site)
		}
	}
	return nil
}

// slug makes an id of a text for people.
func slug(text string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(text) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 60 {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}

// etag is the version of a resource as its readers see it.
func etag(uid string, version int64) string {
	return fmt.Sprintf("%.8s-%d", strings.ReplaceAll(uid, "-", "")+"00000000", version)
}
