package scheduling

import (
	"strconv"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// siteOf is the site part of a resource name, "sites/{site}". The name has been checked at the border.
func siteOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) < 2 {
		return name
	}
	return parts[0] + "/" + parts[1]
}

// idOf is the last part of a resource name.
func idOf(name string) string {
	return name[strings.LastIndexByte(name, '/')+1:]
}

// Etag is the version mark that stands for a stored version.
func Etag(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// checkEtag refuses a stale version mark. An empty one accepts whatever is stored.
func checkEtag(given string, version int64, resource string) error {
	if given == "" || given == Etag(version) {
		return nil
	}
	return apierr.Aborted(EtagMismatch, "%s was changed by somebody else (you read %s, it is now %s): read it again and repeat your change",
		resource, given, Etag(version)).With("resource", resource).With("etag", Etag(version)).With("given", given).WithResource(resource)
}

// sameSite refuses a reference that leads out of the site.
func sameSite(owner, field, reference string) error {
	if reference == "" || siteOf(owner) == siteOf(reference) {
		return nil
	}
	return apierr.InvalidArgument(Malformed, "%s belongs to another site than %s", reference, owner).
		With("resource", owner).With("field", field).WithViolation(field, "must lie under %s", siteOf(owner))
}
