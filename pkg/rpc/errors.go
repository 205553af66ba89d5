package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
)

// Domain is the domain of every ErrorInfo of the suite (AIP-193).
const Domain = "rondeau"

// defaultRetryAfter is told with UNAVAILABLE when the error does not say when to try again.
const defaultRetryAfter = time.Second

var codeOf = map[apierr.Kind]codes.Code{
	apierr.KindInvalidArgument:    codes.InvalidArgument,
	apierr.KindNotFound:           codes.NotFound,
	apierr.KindAlreadyExists:      codes.AlreadyExists,
	apierr.KindFailedPrecondition: codes.FailedPrecondition,
	apierr.KindAborted:            codes.Aborted,
	apierr.KindPermissionDenied:   codes.PermissionDenied,
	apierr.KindUnauthenticated:    codes.Unauthenticated,
	apierr.KindResourceExhausted:  codes.ResourceExhausted,
	apierr.KindUnavailable:        codes.Unavailable,
	apierr.KindDeadlineExceeded:   codes.DeadlineExceeded,
	apierr.KindCanceled:           codes.Canceled,
	apierr.KindInternal:           codes.Internal,
}

// kindOf maps what a peer may answer back. Codes that the suite never sends become the nearest kind.
var kindOf = func() map[codes.Code]apierr.Kind {
	m := map[codes.Code]apierr.Kind{codes.OutOfRange: apierr.KindInvalidArgument}
	for k, c := range codeOf {
		m[c] = k
	}
	return m
}()

// ToStatus turns an error into a gRPC status error with details. Errors that are not meant for callers become INTERNAL
// without any of their text.
func ToStatus(err error) error {
	if err == nil {
		return nil
	}
	return toStatus(err, "").Err()
}

// toStatus does the same for the request with this id, which is added to the details.
func toStatus(err error, requestID string) *status.Status {
	e := public(err)
	if e.Kind == apierr.KindInternal {
		e = neutral(requestID)
	}
	reason := e.Reason
	if reason == "" {
		reason = e.Kind.String()
	}
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: Domain, Metadata: validMetadata(e.Metadata)}}
	if len(e.Violations) > 0 {
		details = append(details, violations(e, reason))
	}
	if e.Resource != "" {
		details = append(details, &errdetails.ResourceInfo{ResourceType: resourceType(e.Resource), ResourceName: e.Resource, Description: e.Message})
	}
	if after := e.RetryAfter; after > 0 || e.Kind == apierr.KindUnavailable {
		if after <= 0 {
			after = defaultRetryAfter
		}
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(after)})
	}
	if requestID != "" {
		details = append(details, &errdetails.RequestInfo{RequestId: requestID})
	}
	code, ok := codeOf[e.Kind]
	if !ok {
		code = codes.Internal
	}
	st := status.New(code, strings.ToValidUTF8(e.Message, "\uFFFD"))
	with, derr := st.WithDetails(details...)
	if derr != nil { // a detail could not be marshaled: text that is not UTF-8
		return st
	}
	return with
}

func violations(e *apierr.Error, reason string) protoadapt.MessageV1 {
	if e.Kind == apierr.KindInvalidArgument {
		d := &errdetails.BadRequest{}
		for _, v := range e.Violations {
			d.FieldViolations = append(d.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: utf8(v.Field), Description: utf8(v.Description)})
		}
		return d
	}
	d := &errdetails.PreconditionFailure{}
	for _, v := range e.Violations {
		d.Violations = append(d.Violations, &errdetails.PreconditionFailure_Violation{Type: reason, Subject: utf8(v.Field), Description: utf8(v.Description)})
	}
	return d
}

func utf8(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

func validMetadata(m map[string]string) map[string]string {
	out := make(map[string]string, len(m))
	for k, v := range m {
		out[utf8(k)] = utf8(v)
	}
	return out
}

// resourceType is the collection of the name: "lots" for sites/x/lots/y.
func resourceType(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 2 {
		return ""
	}
	return Domain + ".internal/" + parts[len(parts)-2]
}

func neutral(requestID string) *apierr.Error {
	if requestID == "" {
		return apierr.Internal(InternalError, "something went wrong inside the service; it is in the service's log")
	}
	return apierr.Internal(InternalError, "something went wrong inside the service; the details are in its log under request %s", requestID).
		With("request_id", requestID)
}

// public is the part of err that a caller may see. Kind Internal means: none.
func public(err error) *apierr.Error {
	if e, ok := apierr.As(err); ok {
		return e
	}
	switch {
	case errors.Is(err, sqldb.ErrCommitUnknown):
		// Not UNAVAILABLE: a client would repeat the call, and it may have been carried out.
		return apierr.Aborted(OutcomeUnknown, "%s; read it back before trying again", sqldb.ErrCommitUnknown)
	case errors.Is(sqldb.Translate(err), sqldb.ErrConflict):
		return apierr.Aborted(Conflict, "%s; read again and retry", sqldb.ErrConflict)
	case errors.Is(err, context.DeadlineExceeded):
		return apierr.DeadlineExceeded(TimeRanOut, "the time for the call ran out")
	case errors.Is(err, context.Canceled):
		return apierr.New(apierr.KindCanceled, CallerGone, "the caller gave up")
	case sqldb.Transient(err):
		return apierr.Unavailable(DatabaseDown, "the database does not answer; try again in a moment")
	}
	if st, ok := status.FromError(err); ok {
		return fromStatus(st)
	}
	return apierr.Internal(InternalError, "internal")
}

// FromStatus turns an error that a gRPC call returned into an *apierr.Error that still wraps it, so that both
// apierr.KindOf and status.Code answer. nil and errors that are no status pass unchanged.
func FromStatus(err error) error {
	if err == nil {
		return nil
	}
	if _, ok := apierr.As(err); ok {
		return err
	}
	st, ok := status.FromError(err)
	if !ok {
		return err
	}
	return fromStatus(st).Wrap(err)
}

func fromStatus(st *status.Status) *apierr.Error {
	kind, ok := kindOf[st.Code()]
	if !ok {
		kind = apierr.KindInternal
	}
	e := apierr.New(kind, "", "%s", st.Message())
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			e.Reason = d.GetReason()
			for k, v := range d.GetMetadata() {
				e.With(k, v)
			}
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				e.WithViolation(v.GetField(), "%s", v.GetDescription())
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				e.WithViolation(v.GetSubject(), "%s", v.GetDescription())
			}
		case *errdetails.ResourceInfo:
			e.Resource = d.GetResourceName()
		case *errdetails.RetryInfo:
			e.RetryAfter = d.GetRetryDelay().AsDuration()
		}
	}
	if e.Reason == "" {
		e.Reason = localReason(st.Code())
	}
	return e
}

// localReason names errors that the gRPC library itself made.
func localReason(c codes.Code) string {
	switch c {
	case codes.Unavailable:
		return Unreachable
	case codes.DeadlineExceeded:
		return TimeRanOut
	case codes.Canceled:
		return CallerGone
	case codes.Unimplemented:
		return Unimplemented
	}
	return InternalError
}

// panicError carries a recovered panic to the log.
type panicError struct {
	value any
	stack []byte
}

func (e *panicError) Error() string { return fmt.Sprintf("panic: %v\n%s", e.value, e.stack) }
