package rpc

import (
	"context"
	"errors"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"buf.build/go/protovalidate"
	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
)

// Metadata keys.
const (
	requestIDKey = "x-request-id"
	replayedKey  = "x-request-replayed" // response header "true" when a stored response was returned
	authKey      = "authorization"
)

const (
	// guardMargin is kept back from the caller's deadline, so that the answer that says what timed out still arrives.
	guardMargin = 20 * time.Millisecond
	// defaultUnaryLimit is the longest a unary call may run, whatever deadline the caller sent.
	defaultUnaryLimit = 60 * time.Second
)

// link is one interceptor, for unary and streaming calls under one name.
type link struct {
	name   string
	unary  grpc.UnaryServerInterceptor
	stream grpc.StreamServerInterceptor
}

// chain lists the interceptors, outermost first.
func (s *Server) chain() []link {
	return []link{
		{"request id and log", s.logUnary, s.logStream},
		{"error mapping", s.mapUnary, s.mapStream},
		{"recover", recoverUnary, recoverStream},
		{"deadline guard", s.deadlineUnary, s.deadlineStream},
		{"auth", s.authUnary, s.authStream},
		{"validate", s.validateUnary, s.validateStream},
		{"idempotency", s.idempotentUnary, s.idempotentStream},
	}
}

// call is what the log line of a request needs to know; inner interceptors fill it.
type call struct {
	id      string
	subject string
}

type callKey struct{}

func callOf(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// RequestID is the id of the request that ctx belongs to, for logs and messages; "" outside of a request.
func RequestID(ctx context.Context) string { return callOf(ctx).id }

// newCall takes the caller's request id when it is decent, else makes one.
func newCall(ctx context.Context) (context.Context, *call) {
	c := &call{}
	if v := metadata.ValueFromIncomingContext(ctx, requestIDKey); len(v) > 0 && decent(v[0]) {
		c.id = v[0]
	} else {
		c.id = uuid.NewString()
	}
	return context.WithValue(ctx, callKey{}, c), c
}

func decent(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	return !strings.ContainsFunc(id, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' && r != '_' && r != '.'
	})
}

func (s *Server) logUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	ctx, c := newCall(ctx)
	start := time.Now()
	resp, err := next(ctx, req)
	if err == nil { // a failure carries the id in its details; a header would keep the client from repeating the call
		_ = grpc.SetHeader(ctx, metadata.Pairs(requestIDKey, c.id)) // fails only when headers are out already
	}
	s.logCall(ctx, c, info.FullMethod, start, err)
	return resp, err
}

func (s *Server) logStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	ctx, c := newCall(ss.Context())
	_ = ss.SetHeader(metadata.Pairs(requestIDKey, c.id))
	start := time.Now()
	err := next(srv, &serverStream{ServerStream: ss, ctx: s.withStop(ctx)})
	s.logCall(ctx, c, info.FullMethod, start, err)
	return err
}

// logCall writes one line per call: a warning when it is the service's fault, debug for health checks.
func (s *Server) logCall(ctx context.Context, c *call, method string, start time.Time, err error) {
	code := status.Code(err)
	level := slog.LevelInfo
	switch {
	case code == codes.Internal || code == codes.Unknown || code == codes.DataLoss || code == codes.Unavailable:
		level = slog.LevelWarn
	case strings.HasPrefix(method, healthPrefix):
		level = slog.LevelDebug
	}
	attrs := []slog.Attr{
		slog.String("method", method), slog.String("code", code.String()), slog.Duration("duration", time.Since(start)), slog.String("request_id", c.id),
	}
	if c.subject != "" {
		attrs = append(attrs, slog.String("subject", c.subject))
	}
	if err != nil {
		attrs = append(attrs, slog.String("reason", apierr.ReasonOf(FromStatus(err))), slog.String("message", status.Convert(err).Message()))
	}
	s.logger.LogAttrs(ctx, level, "rpc", attrs...)
}

func (s *Server) mapUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	resp, err := next(ctx, req)
	if err != nil {
		return nil, s.mapError(ctx, info.FullMethod, err)
	}
	return resp, nil
}

func (s *Server) mapStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	if err := next(srv, ss); err != nil {
		return s.mapError(ss.Context(), info.FullMethod, err)
	}
	return nil
}

// mapError keeps the whole cause in the log when the caller gets a neutral sentence only.
func (s *Server) mapError(ctx context.Context, method string, err error) error {
	id := RequestID(ctx)
	if st, ok := status.FromError(err); ok && st.Code() == codes.Unimplemented {
		return err // from the generated code
	}
	st := toStatus(err, id)
	if st.Code() == codes.Internal || errors.Is(err, context.DeadlineExceeded) || st.Code() == codes.Unavailable {
		s.logger.LogAttrs(ctx, slog.LevelError, "call went wrong",
			slog.String("method", method), slog.String("request_id", id), slog.String("error", err.Error()))
	}
	return st.Err()
}

func recoverUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (resp any, err error) {
	defer func() {
		if v := recover(); v != nil {
			resp, err = nil, &panicError{value: v, stack: debug.Stack()}
		}
	}()
	return next(ctx, req)
}

func recoverStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = &panicError{value: v, stack: debug.Stack()}
		}
	}()
	return next(srv, ss)
}

// deadlineUnary lets no call run for ever and answers shortly before the caller stops listening.
func (s *Server) deadlineUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	limit := time.Now().Add(s.cfg.UnaryLimit)
	if d, ok := ctx.Deadline(); ok && d.Add(-guardMargin).Before(limit) {
		limit = d.Add(-guardMargin)
	}
	return guarded(ctx, limit, info.FullMethod, func(ctx context.Context) (any, error) { return next(ctx, req) })
}

// deadlineStream keeps the margin; streams without a deadline may run for as long as the connection.
func (s *Server) deadlineStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	d, ok := ss.Context().Deadline()
	if !ok {
		return next(srv, ss)
	}
	_, err := guarded(ss.Context(), d.Add(-guardMargin), info.FullMethod, func(ctx context.Context) (any, error) {
		return nil, next(srv, &serverStream{ServerStream: ss, ctx: ctx})
	})
	return err
}

func guarded(ctx context.Context, limit time.Time, method string, next func(context.Context) (any, error)) (any, error) {
	outOfTime := func(cause error) error {
		return apierr.DeadlineExceeded(TimeRanOut, "the time for %s ran out", method).With("method", method).Wrap(cause)
	}
	if !time.Now().Before(limit) {
		return nil, outOfTime(context.DeadlineExceeded)
	}
	ctx, cancel := context.WithDeadline(ctx, limit)
	defer cancel()
	resp, err := next(ctx)
	if err != nil && errors.Is(ctx.Err(), context.DeadlineExceeded) {
		if _, said := apierr.As(err); !said {
			return nil, outOfTime(err)
		}
	}
	return resp, err
}

const healthPrefix = "/grpc.health.v1.Health/"

func open(method string) bool { return strings.HasPrefix(method, healthPrefix) }

func (s *Server) authUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if open(info.FullMethod) {
		return next(ctx, req)
	}
	ctx, p, rule, err := s.authenticate(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	if err := checkRule(rule, p, req); err != nil {
		return nil, err
	}
	return next(ctx, req)
}

func (s *Server) authStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	if open(info.FullMethod) {
		return next(srv, ss)
	}
	ctx, p, rule, err := s.authenticate(ss.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	return next(srv, &serverStream{ServerStream: ss, ctx: ctx, received: func(m any) error { return checkRule(rule, p, m) }})
}

// authenticate finds out who calls and whether the role may call this method at all.
func (s *Server) authenticate(ctx context.Context, method string) (context.Context, auth.Principal, auth.Rule, error) {
	var token string
	if v := metadata.ValueFromIncomingContext(ctx, authKey); len(v) > 0 {
		if scheme, rest, ok := strings.Cut(v[0], " "); ok && strings.EqualFold(scheme, "bearer") {
			token = strings.TrimSpace(rest)
		}
	}
	p, err := s.cfg.Verifier.Verify(ctx, token)
	if err != nil {
		return ctx, p, auth.Rule{}, err
	}
	callOf(ctx).subject = p.Subject
	rule, ok := s.rules[method]
	if !ok {
		return ctx, p, rule, apierr.PermissionDenied(auth.NoAccessRule, "%s has no access rule and is closed to everybody", method).With("method", method)
	}
	if err := rule.Allow(p); err != nil {
		return ctx, p, rule, err
	}
	return auth.NewContext(ctx, p), p, rule, nil
}

func checkRule(rule auth.Rule, p auth.Principal, req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return apierr.Internal(InternalError, "request of type %T", req)
	}
	return rule.Check(p, m)
}

func (s *Server) validateUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if err := s.validate(req); err != nil {
		return nil, err
	}
	return next(ctx, req)
}

func (s *Server) validateStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	return next(srv, &serverStream{ServerStream: ss, ctx: ss.Context(), received: s.validate})
}

// maxShown bounds the violations in the message; all of them are in the details.
const maxShown = 3

// validate applies the rules of the proto file and reports every broken one with the path of its field.
func (s *Server) validate(req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return apierr.Internal(InternalError, "request of type %T", req)
	}
	err := s.validator.Validate(m)
	var invalid *protovalidate.ValidationError
	if !errors.As(err, &invalid) {
		return err // nil, or a rule that cannot be evaluated: a defect
	}
	e := apierr.InvalidArgument(RequestInvalid, "")
	var shown []string
	for i, v := range invalid.Violations {
		field, what := protovalidate.FieldPathString(v.Proto.GetField()), v.Proto.GetMessage()
		if what == "" {
			what = "breaks rule " + v.Proto.GetRuleId()
		}
		e.WithViolation(field, "%s", what)
		if i < maxShown {
			shown = append(shown, strings.TrimPrefix(field+": "+what, ": "))
		}
	}
	if more := len(invalid.Violations) - maxShown; more > 0 {
		shown = append(shown, "and more")
	}
	e.Message = "the request is not valid: " + strings.Join(shown, "; ")
	return e.With("fields", fieldList(e.Violations))
}

func fieldList(v []apierr.Violation) string {
	names := make([]string, len(v))
	for i := range v {
		names[i] = v[i].Field
	}
	return strings.Join(names, ", ")
}

// serverStream replaces the context of a stream and looks at received messages.
type serverStream struct {
	grpc.ServerStream
	ctx      context.Context
	received func(m any) error
}

// Context is the context with what the interceptors added.
func (s *serverStream) Context() context.Context { return s.ctx }

// RecvMsg receives and checks one message.
func (s *serverStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	if s.received == nil {
		return nil
	}
	return s.received(m)
}
