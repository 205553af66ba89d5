// Package grpcapi speaks the API of the stock: it turns messages into calls of the domain and results into messages, and nothing else.
package grpcapi

import (
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/inventory"
)

// mass reads kilograms as exact milligrams.
func mass(kg float64, field string) (units.Milligrams, error) {
	m, err := units.Mass(kg).Milligrams()
	if err != nil {
		return 0, apierr.InvalidArgument(inventory.MassInvalid, "%s cannot be a mass: %v", field, err).With("field", field).
			WithViolation(field, "must be a mass in kilograms, 0 or more")
	}
	return m, nil
}

func kilograms(m units.Milligrams) float64 { return m.Mass().Kilograms() }

// word is the text of an enum value in the domain: its name without prefix, empty for the zero value.
func word[E interface {
	~int32
	String() string
}](e E, prefix string) string {
	if e == 0 {
		return ""
	}
	return strings.TrimPrefix(e.String(), prefix)
}

// value is the enum value of a domain text.
func value[E ~int32, S ~string](values map[string]int32, text S, prefix string) E {
	return E(values[prefix+string(text)])
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func moment(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

func span(d time.Duration) *durationpb.Duration {
	if d == 0 {
		return nil
	}
	return durationpb.New(d)
}

// each converts a list.
func each[A, B any](list []A, fn func(A) B) []B {
	out := make([]B, len(list))
	for i, a := range list {
		out[i] = fn(a)
	}
	return out
}
