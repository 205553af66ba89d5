// Package rpc makes every gRPC server and client of the suite alike.
//
// A server gets the same interceptors in the same order, unary and streaming, outermost first: request id and log, error
// mapping, recover, deadline guard, authentication and access rule, validation of the request, idempotency. Errors
// cross the wire as canonical codes with details and arrive as [apierr.Error] on the other side; what is lost is the
// wrapped cause, which stays in the log of the service that had it.
//
// A mutation that carries a request_id runs wholly inside one write transaction of its service, and its response is
// stored in the same transaction. Repeating the call, also after a crash or at the same moment, has no second effect and
// returns the stored response. Handlers must therefore not start work with the call's context that outlives the call.
package rpc

// Reasons of the errors of this package.
const (
	RequestInvalid    = "REQUEST_INVALID"      // a field breaks a rule of the proto file
	RequestIDReused   = "REQUEST_ID_REUSED"    // the same request_id came with another request
	RequestIDInStream = "REQUEST_ID_IN_STREAM" // a streaming call cannot be replayed
	InternalError     = "INTERNAL_ERROR"       // details are in the log, under the request id
	OutcomeUnknown    = "OUTCOME_UNKNOWN"      // the database went away during a commit
	Conflict          = "CONCURRENT_CHANGE"    // concurrent changes got in the way; retry
	TimeRanOut        = "DEADLINE_EXCEEDED"    // the deadline passed
	CallerGone        = "CANCELLED"            // the caller gave up
	Unimplemented     = "UNIMPLEMENTED"        // the other side does not know the method
	Unreachable       = "SERVICE_UNAVAILABLE"  // the other side does not answer
	DatabaseDown      = "DATABASE_UNAVAILABLE" // the database does not answer
)
