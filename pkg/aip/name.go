package aip

import (
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// MaxIDLength is the longest id of a resource (AIP-122), in bytes.
const MaxIDLength = 63

// Pattern is the shape of a resource name: collection words and {ids} in turn.
type Pattern struct {
	text     string
	segments []string // "" for an id
	ids      int
}

// MustPattern reads a pattern such as "sites/{site}/lots/{lot}". It panics on a malformed one, since patterns are
// constants of the program.
func MustPattern(pattern string) Pattern {
	p := Pattern{text: pattern}
	for i, s := range strings.Split(pattern, "/") {
		isID := strings.HasPrefix(s, "{") && strings.HasSuffix(s, "}") && len(s) > 2
		switch {
		case isID:
			p.ids++
			s = ""
		case s == "" || strings.ContainsAny(s, "{}*"):
			panic(fmt.Sprintf("aip: segment %d of pattern %q", i+1, pattern))
		}
		p.segments = append(p.segments, s)
	}
	return p
}

// String is the pattern as written.
func (p Pattern) String() string { return p.text }

// Format fills in the ids. It panics when their number is wrong; it does not check them, see [CheckID].
func (p Pattern) Format(ids ...string) string {
	if len(ids) != p.ids {
		panic(fmt.Sprintf("aip: %d ids for pattern %s", len(ids), p.text))
	}
	var b strings.Builder
	n := 0
	for i, s := range p.segments {
		if i > 0 {
			b.WriteByte('/')
		}
		if s == "" {
			s = ids[n]
			n++
		}
		b.WriteString(s)
	}
	return b.String()
}

// Match returns the ids in name, or an InvalidArgument error that says what a name looks like.
func (p Pattern) Match(name string) ([]string, error) {
	rest := name
	ids := make([]string, 0, p.ids)
	for i, want := range p.segments {
		var seg string
		var more bool
		seg, rest, more = strings.Cut(rest, "/")
		if more != (i < len(p.segments)-1) || (want != "" && seg != want) {
			return nil, p.mismatch(name, "")
		}
		if want == "" {
			if err := CheckID(seg); err != nil {
				return nil, p.mismatch(name, err.Error())
			}
			ids = append(ids, seg)
		}
	}
	return ids, nil
}

// Matches says whether name has this pattern's shape.
func (p Pattern) Matches(name string) bool {
	_, err := p.Match(name)
	return err == nil
}

func (p Pattern) mismatch(name, detail string) error {
	if detail != "" {
		detail = ": " + detail
	}
	return apierr.InvalidArgument(NameInvalid, "resource name %q does not have the form %s%s", clip(name), p.text, detail).
		With("name", clip(name)).With("pattern", p.text)
}

// clip keeps error messages short whatever a client sends.
func clip(s string) string {
	const limit = 200
	s = strings.ToValidUTF8(s, "\uFFFD")
	if len(s) <= limit {
		return s
	}
	return strings.ToValidUTF8(s[:limit], "") + "..."
}

// CheckID accepts 1 to 63 lower-case letters, digits and hyphens, the first a letter or digit.
func CheckID(id string) error {
	bad := ""
	switch {
	case id == "":
		bad = "is empty"
	case len(id) > MaxIDLength:
		bad = fmt.Sprintf("has %d characters, at most %d are allowed", len(id), MaxIDLength)
	case id[0] == '-':
		bad = "begins with a hyphen"
	default:
		for _, r := range id {
			if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' {
				bad = fmt.Sprintf("contains %q; use lower-case letters, digits and hyphens", r)
				break
			}
		}
	}
	if bad == "" {
		return nil
	}
	return apierr.InvalidArgument(IDInvalid, "id %q %s", clip(id), bad).With("id", clip(id))
}

// idAlphabet is Crockford's base 32 in lower case: no i, l, o and u, which hands and eyes confuse.
const idAlphabet = "0123456789abcdefghjkmnpqrstvwxyz"

// NewID makes an id such as "lot-1jx3k8f9q2m7c4ta": the prefix and 16 characters that begin with the wall time in
// milliseconds (45 bits) and end with 35 random bits, so that ids made later sort later. The prefix may be empty.
func NewID(prefix string) string {
	var r [8]byte
	_, _ = rand.Read(r[:]) // never fails, see crypto/rand
	random := binary.BigEndian.Uint64(r[:])
	ms := uint64(time.Now().UnixMilli())
	var b [16]byte
	for i := 8; i >= 0; i-- {
		b[i] = idAlphabet[ms&31]
		ms >>= 5
	}
	for i := 15; i >= 9; i-- {
		b[i] = idAlphabet[random&31]
		random >>= 5
	}
	if prefix == "" {
		return string(b[:])
	}
	return prefix + "-" + string(b[:])
}

// ParentOf is the name without its last collection and id: the site of "sites/x/lots/y". It is "" for a top-level name.
func ParentOf(name string) string {
	for range 2 {
		i := strings.LastIndexByte(name, '/')
		if i < 0 {
			return ""
		}
		name = name[:i]
	}
	return name
}

// Under says whether name is ancestor or lies below it.
func Under(name, ancestor string) bool {
	return name == ancestor || (ancestor != "" && strings.HasPrefix(name, ancestor) && name[len(ancestor)] == '/')
}
