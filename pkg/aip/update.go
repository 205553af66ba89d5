package aip

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.einride.tech/aip/fieldmask"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/apierr"
)

// Etag is a strong etag (AIP-154, RFC 9110 section 8.8.3) of a resource's state: equal parts give equal etags. Parts may be
// proto messages, strings, bytes, times, numbers and booleans.
func Etag(parts ...any) string {
	h := sha256.New()
	for _, p := range parts {
		var b []byte
		switch v := p.(type) {
		case proto.Message:
			// Deterministic within one build, which is enough: a stale etag after an upgrade only means reading again.
			m, err := proto.MarshalOptions{Deterministic: true}.Marshal(v)
			if err != nil {
				m = []byte(err.Error())
			}
			b = m
		case []byte:
			b = v
		case string:
			b = []byte(v)
		case time.Time:
			b = []byte(v.UTC().Format(time.RFC3339Nano))
		default:
			b = fmt.Appendf(nil, "%v", v)
		}
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	return `"` + base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:12]) + `"`
}

// CheckEtag compares the etag that a client sent (got) with the current one (want). An empty etag and "*" match.
func CheckEtag(got, want, resource string) error {
	if got == "" || got == "*" || got == want {
		return nil
	}
	return apierr.Aborted(EtagMismatch, "%s was changed since it was read (etag %s, now %s); read it again and repeat the change", resource, clip(got), want).
		With("resource", resource).With("etag", clip(got)).With("current_etag", want)
}

// UpdateMask copies from src to dst what mask names (AIP-134). Without a mask, the fields that are set in src are
// copied; "*" replaces everything. Output-only and identifier fields are never changed, whatever the mask says. An unknown
// path, or another value for an immutable field, is an error and leaves dst as it was.
func UpdateMask(mask *fieldmaskpb.FieldMask, dst, src proto.Message) error {
	if dst.ProtoReflect().Descriptor() != src.ProtoReflect().Descriptor() {
		return fmt.Errorf("aip: update of %T from %T", dst, src)
	}
	if err := fieldmask.Validate(mask, dst); err != nil {
		return maskError(err.Error())
	}
	clean := proto.Clone(src)
	r := restorer{mask: mask}
	r.restore(clean.ProtoReflect(), dst.ProtoReflect(), "")
	if len(r.changed) > 0 {
		slices.Sort(r.changed)
		return maskError("immutable: " + strings.Join(r.changed, ", "))
	}
	fieldmask.Update(mask, dst, clean)
	return nil
}

func maskError(detail string) error {
	return apierr.InvalidArgument(UpdateMaskInvalid, "update_mask names what cannot be updated: %s", detail).
		With("detail", detail).WithViolation("update_mask", "%s", detail)
}

// restorer puts the values that an update may not change back into the copy of the client's message.
type restorer struct {
	mask    *fieldmaskpb.FieldMask
	changed []string // immutable fields with another value
}

func (r *restorer) restore(clean, current protoreflect.Message, prefix string) {
	fields := clean.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		path := prefix + string(f.Name())
		behavior, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
		switch {
		case slices.Contains(behavior, annotations.FieldBehavior_OUTPUT_ONLY), slices.Contains(behavior, annotations.FieldBehavior_IDENTIFIER):
			copyField(clean, current, f)
		case slices.Contains(behavior, annotations.FieldBehavior_IMMUTABLE):
			if r.touches(path, clean.Has(f)) && !equalField(clean, current, f) {
				r.changed = append(r.changed, path)
			}
			copyField(clean, current, f)
		case f.Message() != nil && !f.IsList() && !f.IsMap() && clean.Has(f):
			r.restore(clean.Mutable(f).Message(), current.Get(f).Message(), path+".")
		}
	}
}

// touches says whether the update would write path.
func (r *restorer) touches(path string, set bool) bool {
	if len(r.mask.GetPaths()) == 0 {
		return set
	}
	return slices.ContainsFunc(r.mask.GetPaths(), func(p string) bool {
		return p == path || (p == fieldmask.WildcardPath && set) || strings.HasPrefix(path, p+".")
	})
}

func copyField(to, from protoreflect.Message, f protoreflect.FieldDescriptor) {
	if !from.Has(f) {
		to.Clear(f)
		return
	}
	to.Set(f, from.Get(f))
}

func equalField(a, b protoreflect.Message, f protoreflect.FieldDescriptor) bool {
	return a.Has(f) == b.Has(f) && a.Get(f).Equal(b.Get(f))
}
