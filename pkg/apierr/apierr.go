// Package apierr is the one error type that crosses layers and services.
//
// Domain code says what is wrong in the words of the trade and with a stable reason; package rpc turns the value into
// a gRPC status with details and back, so that kind, reason, message, metadata, violations and resource survive a hop.
// What is lost at the boundary is the wrapped cause: it is written to the log of the service that had it and never
// leaves the process.
//
// The package needs only the standard library, so that domain packages stay free of transports.
package apierr

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
)

// Kind is the canonical class of an error. The zero value means "no error".
type Kind uint8

// The kinds, one per canonical code that Rondeau uses.
const (
	KindInvalidArgument    Kind = iota + 1 // the request itself is wrong, whatever the state of the kitchen
	KindNotFound                           // the named resource does not exist
	KindAlreadyExists                      // the id is taken
	KindFailedPrecondition                 // state or a safety rule forbids it; change the state first
	KindAborted                            // lost a race or stale etag; read again and retry
	KindPermissionDenied                   // known caller, not allowed
	KindUnauthenticated                    // no or bad credentials
	KindResourceExhausted                  // a limit or quota
	KindUnavailable                        // a dependency is down; try again later
	KindDeadlineExceeded                   // time ran out
	KindCanceled                           // the caller gave up
	KindInternal                           // a defect or driver failure; details are in the log only
)

var kindNames = [...]string{
	0:                      "OK",
	KindInvalidArgument:    "INVALID_ARGUMENT",
	KindNotFound:           "NOT_FOUND",
	KindAlreadyExists:      "ALREADY_EXISTS",
	KindFailedPrecondition: "FAILED_PRECONDITION",
	KindAborted:            "ABORTED",
	KindPermissionDenied:   "PERMISSION_DENIED",
	KindUnauthenticated:    "UNAUTHENTICATED",
	KindResourceExhausted:  "RESOURCE_EXHAUSTED",
	KindUnavailable:        "UNAVAILABLE",
	KindDeadlineExceeded:   "DEADLINE_EXCEEDED",
	KindCanceled:           "CANCELLED",
	KindInternal:           "INTERNAL",
}

// String is the canonical upper-case name, for example NOT_FOUND.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("KIND(%d)", uint8(k))
}

// Violation is one broken rule. For InvalidArgument, Field is the path of the request field as in the proto file
// (`order.lines[2].pack_count`); for FailedPrecondition it is the rule or subject (`sites/x/lots/y`, `COOLING_LIMIT`).
type Violation struct {
	Field       string
	Description string
}

// Error is an error that a caller may see. Build it with the functions of this package.
type Error struct {
	Kind       Kind
	Reason     string            // UPPER_SNAKE, at most 63 characters, stable for ever
	Message    string            // tells a person what to do next and names the resource
	Metadata   map[string]string // every dynamic word of Message
	Violations []Violation
	Resource   string        // resource name the error is about, for NotFound and AlreadyExists
	RetryAfter time.Duration // for Unavailable and ResourceExhausted; 0 means not stated

	cause error
}

// New makes an error of any kind. The message is formatted as by fmt.Sprintf; use Wrap, not %w, for a cause.
func New(kind Kind, reason, format string, args ...any) *Error {
	return &Error{Kind: kind, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// InvalidArgument: the request is malformed whatever the state is. Add one violation per field.
func InvalidArgument(reason, format string, args ...any) *Error {
	return New(KindInvalidArgument, reason, format, args...)
}

// FailedPrecondition: the state of the kitchen or a safety rule forbids the call. Add one violation per rule.
func FailedPrecondition(reason, format string, args ...any) *Error {
	return New(KindFailedPrecondition, reason, format, args...)
}

// Aborted: the caller lost a race or holds a stale etag; it should read again and retry.
func Aborted(reason, format string, args ...any) *Error {
	return New(KindAborted, reason, format, args...)
}

// PermissionDenied: the caller is known and may not do this.
func PermissionDenied(reason, format string, args ...any) *Error {
	return New(KindPermissionDenied, reason, format, args...)
}

// Unauthenticated: the caller did not prove who it is.
func Unauthenticated(reason, format string, args ...any) *Error {
	return New(KindUnauthenticated, reason, format, args...)
}

// ResourceExhausted: a stated limit was reached.
func ResourceExhausted(reason, format string, args ...any) *Error {
	return New(KindResourceExhausted, reason, format, args...)
}

// Unavailable: a dependency is down; the same call may succeed later.
func Unavailable(reason, format string, args ...any) *Error {
	return New(KindUnavailable, reason, format, args...)
}

// DeadlineExceeded: time ran out; say what was being waited for.
func DeadlineExceeded(reason, format string, args ...any) *Error {
	return New(KindDeadlineExceeded, reason, format, args...)
}

// Internal: a defect. The message and the cause go to the log only; the caller sees a neutral sentence and an id.
func Internal(reason, format string, args ...any) *Error {
	return New(KindInternal, reason, format, args...)
}

// NotFound says that the named resource does not exist.
func NotFound(reason, resource string) *Error {
	e := New(KindNotFound, reason, "%s does not exist", describe(resource))
	e.Resource = resource
	return e.With("resource", resource)
}

// AlreadyExists says that the resource name is taken.
func AlreadyExists(reason, resource string) *Error {
	e := New(KindAlreadyExists, reason, "%s exists already", describe(resource))
	e.Resource = resource
	return e.With("resource", resource)
}

// irregular holds the collections whose singular is not "drop the s".
var irregular = map[string]string{
	"batches": "batch", "dispatches": "dispatch", "switches": "switch", "leaves": "leaf",
	"series": "series", "statuses": "status", "processes": "process", "boxes": "box", "losses": "loss",
}

// describe puts the kind of the resource before its name: "lot sites/x/lots/y".
func describe(resource string) string {
	parts := strings.Split(resource, "/")
	if len(parts) < 2 || len(parts)%2 != 0 {
		if resource == "" {
			return "the resource"
		}
		return resource
	}
	return singular(parts[len(parts)-2]) + " " + resource
}

func singular(collection string) string {
	if s, ok := irregular[collection]; ok {
		return s
	}
	switch {
	case strings.HasSuffix(collection, "ies"):
		collection = strings.TrimSuffix(collection, "ies") + "y"
	case strings.HasSuffix(collection, "ss"):
	default:
		collection = strings.TrimSuffix(collection, "s")
	}
	var b strings.Builder // haccpPlan -> haccp plan
	for _, r := range collection {
		if r >= 'A' && r <= 'Z' {
			b.WriteByte(' ')
			r += 'a' - 'A'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// With adds a metadata entry to e and returns e.
func (e *Error) With(key, value string) *Error {
	if e.Metadata == nil {
		e.Metadata = map[string]string{}
	}
	e.Metadata[key] = value
	return e
}

// WithViolation adds a broken rule to e and returns e.
func (e *Error) WithViolation(field, format string, args ...any) *Error {
	e.Violations = append(e.Violations, Violation{Field: field, Description: fmt.Sprintf(format, args...)})
	return e
}

// WithResource names the resource that e is about and returns e.
func (e *Error) WithResource(name string) *Error {
	e.Resource = name
	return e
}

// WithRetryAfter says when the caller may try again and returns e.
func (e *Error) WithRetryAfter(d time.Duration) *Error {
	e.RetryAfter = d
	return e
}

// Wrap keeps cause for the log and for errors.Is and errors.As, and returns e. The caller of the API never sees it.
func (e *Error) Wrap(cause error) *Error {
	e.cause = cause
	return e
}

// Error is the message, followed by the violations and the cause if there are any. It is meant for logs and command
// lines; Message alone is what a caller gets.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Message)
	for i, v := range e.Violations {
		if i == 0 {
			b.WriteString(" (")
		} else {
			b.WriteString("; ")
		}
		if v.Field != "" {
			b.WriteString(v.Field + ": ")
		}
		b.WriteString(v.Description)
		if i == len(e.Violations)-1 {
			b.WriteString(")")
		}
	}
	if e.cause != nil {
		b.WriteString(": ")
		b.WriteString(e.cause.Error())
	}
	return b.String()
}

// Unwrap is the cause.
func (e *Error) Unwrap() error { return e.cause }

// Is matches a [Reason], and another *Error of the same kind and reason.
func (e *Error) Is(target error) bool {
	switch t := target.(type) {
	case Reason:
		return e.Reason == string(t)
	case *Error:
		return t != nil && e.Kind == t.Kind && e.Reason == t.Reason
	}
	return false
}

// Clone is a deep copy that shares the cause.
func (e *Error) Clone() *Error {
	c := *e
	c.Metadata = maps.Clone(e.Metadata)
	c.Violations = slices.Clone(e.Violations)
	return &c
}

// Reason is a target for errors.Is: errors.Is(err, apierr.Reason("LOT_MISSING")).
type Reason string

// Error makes Reason usable as a target; a Reason is never returned as an error.
func (r Reason) Error() string { return string(r) }

// As finds the *Error in err's chain.
func As(err error) (*Error, bool) {
	var e *Error
	ok := errors.As(err, &e)
	return e, ok && e != nil
}

// ReasonOf is the reason of the first *Error in err's chain, or "".
func ReasonOf(err error) string {
	if e, ok := As(err); ok {
		return e.Reason
	}
	return ""
}

// KindOf is the kind of err: 0 for nil, that of the first *Error in the chain, DeadlineExceeded or Canceled for the
// errors of a context, Internal for everything else.
func KindOf(err error) Kind {
	if err == nil {
		return 0
	}
	if e, ok := As(err); ok {
		return e.Kind
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return KindDeadlineExceeded
	case errors.Is(err, context.Canceled):
		return KindCanceled
	}
	return KindInternal
}
