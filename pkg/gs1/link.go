package gs1

import (
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
)

// CanonicalStem is the stem of canonical Digital Link URIs.
const CanonicalStem = "https://id.gs1.org"

// linkKeys are the keys in the order in which DigitalLink looks for one.
var linkKeys = []string{"01", "00", "414", "417", "255"}

// DigitalLink returns the message as a URI on a stem such as CanonicalStem or "https://example.com/trace": key and
// qualifiers in the path in the order the standard wants, everything else in the query in the order given. The message
// is checked as by Check. GS1 Digital Link Standard: URI Syntax.
func (m Message) DigitalLink(stem string) (string, error) {
	if !isLink(stem) {
		return "", fmt.Errorf("stem %q; give a web address such as %s", clip(stem), CanonicalStem)
	}
	u, err := url.Parse(stem)
	if err != nil || u.Host == "" || u.RawQuery != "" || u.Fragment != "" {
		return "", fmt.Errorf("stem %q; give a web address with a host and without query or fragment", clip(stem))
	}
	if err := m.Check(); err != nil {
		return "", err
	}
	at := -1
	for _, k := range linkKeys {
		if at = slices.IndexFunc(m, func(e Element) bool { return e.AI == k }); at >= 0 {
			break
		}
	}
	if at < 0 {
		return "", fmt.Errorf("%s has no key; a Digital Link needs (01), (00), (414), (417) or (255)", clip(m.String()))
	}
	key := table[m[at].AI]
	var path, query strings.Builder
	path.WriteString("/" + key.Code + "/" + escape(m[at].Value))
	inPath := map[string]bool{key.Code: true}
	for _, seq := range key.qualifiers {
		found := false
		for _, q := range seq {
			if v, ok := m.Get(q); ok {
				path.WriteString("/" + q + "/" + escape(v))
				inPath[q], found = true, true
			}
		}
		if found {
			break
		}
	}
	for i, e := range m {
		if inPath[e.AI] || slices.Contains(m[:i], e) {
			continue
		}
		if use := table[e.AI].Link; use == PrimaryKey || use == NotInLink {
			return "", fmt.Errorf("(%s) cannot stand beside (%s) in a Digital Link; write two links", e.AI, key.Code)
		} else if use == Qualifier && slices.ContainsFunc(key.qualifiers, func(s []string) bool { return slices.Contains(s, e.AI) }) {
			return "", fmt.Errorf("(%s) cannot stand beside the other qualifiers of (%s); keep one", e.AI, key.Code)
		}
		sep := "&"
		if query.Len() == 0 {
			sep = "?"
		}
		query.WriteString(sep + e.AI + "=" + escape(e.Value))
	}
	return strings.TrimRight(stem, "/") + path.String() + query.String(), nil
}

// escape percent-encodes all but the unreserved characters of RFC 3986.
func escape(s string) string {
	const hex = "0123456789ABCDEF"
	var b strings.Builder
	for i := range len(s) {
		c := s[i]
		if c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || strings.IndexByte("-._~", c) >= 0 {
			b.WriteByte(c)
		} else {
			b.Write([]byte{'%', hex[c>>4], hex[c&15]})
		}
	}
	return b.String()
}

// ParseDigitalLink reads a Digital Link URI with any stem. Query parameters whose name is not all digits are
// ignored, as is the fragment. The message is checked as by Message.Check.
func ParseDigitalLink(uri string) (Message, error) {
	if !isLink(uri) {
		return nil, fmt.Errorf("%q is no web address; a Digital Link begins with https://", clip(uri))
	}
	rest, _, _ := strings.Cut(uri[strings.Index(uri, "://")+3:], "#")
	rest, query, _ := strings.Cut(rest, "?")
	host, path, ok := strings.Cut(rest, "/")
	if !ok || host == "" {
		return nil, fmt.Errorf("%q has no key in its path", clip(uri))
	}
	m, key, err := parsePath(strings.Split(path, "/"))
	if err != nil {
		return nil, fmt.Errorf("link path /%s: %w", clip(path), err)
	}
	for param := range strings.FieldsFuncSeq(query, func(r rune) bool { return r == '&' || r == ';' }) {
		e, ok, err := attribute(param, key)
		if err != nil {
			return nil, fmt.Errorf("link query %q: %w", clip(param), err)
		}
		if ok {
			m = append(m, e)
		}
	}
	if err := m.Check(); err != nil {
		return nil, err
	}
	return m, nil
}

// parsePath finds the key in the path: the first segment that is a key's AI and from which everything to the end is
// a key with its qualifiers.
func parsePath(segs []string) (Message, *AI, error) {
	err := errors.New("there is no key such as /01/ with its value")
	for i := range segs {
		key, ok := table[segs[i]]
		if !ok || key.Link != PrimaryKey {
			continue
		}
		m, perr := parsePairs(key, segs[i:])
		if perr == nil {
			return m, key, nil
		}
		err = perr
	}
	return nil, nil, err
}

func parsePairs(key *AI, segs []string) (Message, error) {
	if len(segs)%2 != 0 {
		return nil, fmt.Errorf("%q at its end has no value", clip(segs[len(segs)-1]))
	}
	var m Message
	var quals []string
	for i := 0; i < len(segs); i += 2 {
		v, err := url.PathUnescape(segs[i+1])
		if err != nil {
			return nil, fmt.Errorf("value of /%s/: %w", segs[i], err)
		}
		e := Element{segs[i], v}
		if i > 0 {
			quals = append(quals, e.AI)
		}
		if err := e.Check(); err != nil {
			return nil, err
		}
		m = append(m, e)
	}
	if len(quals) > 0 && !slices.ContainsFunc(key.qualifiers, func(seq []string) bool { return subsequence(quals, seq) }) {
		return nil, fmt.Errorf("/%s/ cannot be followed by /%s/ in this order", key.Code, strings.Join(quals, "/, /"))
	}
	return m, nil
}

// subsequence reports whether a stands in b in the same order.
func subsequence(a, b []string) bool {
	for _, v := range b {
		if len(a) > 0 && a[0] == v {
			a = a[1:]
		}
	}
	return len(a) == 0
}

// attribute reads one query parameter; ok is false when it is no AI.
func attribute(param string, key *AI) (e Element, ok bool, err error) {
	name, value, _ := strings.Cut(param, "=")
	if name == "" || notDigit(name) >= 0 {
		return Element{}, false, nil
	}
	ai, known := table[name]
	if !known {
		return Element{}, false, fmt.Errorf("(%s) is not an application identifier in use here", clip(name))
	}
	for _, seq := range key.qualifiers {
		if slices.Contains(seq, name) {
			return Element{}, false, fmt.Errorf("(%s) %s belongs in the path after /%s/", name, ai.Title, key.Code)
		}
	}
	if ai.Link == PrimaryKey || ai.Link == NotInLink {
		return Element{}, false, fmt.Errorf("(%s) %s cannot be a query parameter", name, ai.Title)
	}
	v, err := url.QueryUnescape(value)
	if err != nil {
		return Element{}, false, err
	}
	e = Element{name, v}
	return e, true, e.Check()
}
