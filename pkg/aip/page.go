package aip

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"rondeau.internal/pkg/apierr"
)

// Page is one page of a list: how many at most, and after which row. Pages are by key, not by offset: stock moves
// while people page.
type Page struct {
	Size   int
	Cursor []string // the values given to Next for the page before; empty for the first page

	checksum []byte
}

// tokenContent is what a page token holds. It is opaque to clients and may change in any release.
type tokenContent struct {
	Sum    []byte   `json:"s"`
	Cursor []string `json:"c"`
}

// maxTokenLength bounds the work spent on a forged token; real ones are far shorter.
const maxTokenLength = 4096

// ParsePage reads page_size and page_token of a list request (AIP-158). Size 0 means def; above max is coerced to max;
// negative is an error. The token belongs to this request: every field except page_size and page_token must be as it
// was for the page before.
func ParsePage(size int32, token string, req proto.Message, def, max int) (Page, error) {
	if size < 0 {
		return Page{}, apierr.InvalidArgument(PageSizeInvalid, "page_size is %d; use 0 for the default of %d, or 1 to %d", size, def, max).
			With("page_size", strconv.Itoa(int(size))).WithViolation("page_size", "must not be negative")
	}
	sum, err := requestChecksum(req)
	if err != nil {
		return Page{}, err
	}
	p := Page{Size: min(int(size), max), checksum: sum}
	if size == 0 {
		p.Size = def
	}
	if token == "" {
		return p, nil
	}
	c, ok := decodeToken(token)
	if !ok {
		return Page{}, badToken("the page token is not one that this service gave; start again without it")
	}
	if string(c.Sum) != string(sum) {
		return Page{}, badToken("the page token belongs to another request; keep all other fields as they were, or start again without it")
	}
	p.Cursor = c.Cursor
	return p, nil
}

func badToken(message string) error {
	return apierr.InvalidArgument(PageTokenInvalid, "%s", message).WithViolation("page_token", "%s", message)
}

func decodeToken(token string) (tokenContent, bool) {
	var c tokenContent
	if len(token) > maxTokenLength {
		return c, false
	}
	b, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		return c, false
	}
	if err := json.Unmarshal(b, &c); err != nil || len(c.Cursor) == 0 {
		return c, false
	}
	return c, true
}

// Next is the token for the page after the row with these key values. Without values there is no further page, and
// the token is "".
func (p Page) Next(cursor ...string) string {
	if len(cursor) == 0 {
		return ""
	}
	b, err := json.Marshal(tokenContent{Sum: p.checksum, Cursor: cursor})
	if err != nil {
		panic(err) // strings and bytes always marshal
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// requestChecksum covers every field but page_size and page_token.
func requestChecksum(req proto.Message) ([]byte, error) {
	if req == nil {
		return nil, nil
	}
	c := proto.Clone(req).ProtoReflect()
	for _, name := range []protoreflect.Name{"page_size", "page_token"} {
		if f := c.Descriptor().Fields().ByName(name); f != nil {
			c.Clear(f)
		}
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(c.Interface())
	if err != nil {
		return nil, fmt.Errorf("checksum of a list request: %w", err)
	}
	sum := sha256.Sum256(append([]byte(c.Descriptor().FullName()+"\x00"), b...))
	return sum[:9], nil // guards against mistakes, not against forgery; 9 bytes encode without padding
}
