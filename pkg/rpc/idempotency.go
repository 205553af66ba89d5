package rpc

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
)

const requestIDField protoreflect.Name = "request_id"

// requestIDOf is the request_id of a message; "" when it has none, or when it only asks for validation, which has no
// effect worth remembering.
func requestIDOf(m proto.Message) string {
	r := m.ProtoReflect()
	fields := r.Descriptor().Fields()
	fd := fields.ByName(requestIDField)
	if fd == nil || fd.Kind() != protoreflect.StringKind || fd.IsList() {
		return ""
	}
	if only := fields.ByName("validate_only"); only != nil && only.Kind() == protoreflect.BoolKind && r.Get(only).Bool() {
		return ""
	}
	return r.Get(fd).String()
}

// splitMethod cuts /package.Service/Method.
func splitMethod(full string) (service, method string) {
	service, method, _ = strings.Cut(strings.TrimPrefix(full, "/"), "/")
	return service, method
}

func methodDescriptor(full string) (protoreflect.MethodDescriptor, error) {
	service, method := splitMethod(full)
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(service + "." + method))
	if err != nil {
		return nil, err
	}
	md, ok := d.(protoreflect.MethodDescriptor)
	if !ok {
		return nil, fmt.Errorf("%s is not a method", full)
	}
	return md, nil
}

// newResponse makes an empty response of a method.
func newResponse(full string) (proto.Message, error) {
	md, err := methodDescriptor(full)
	if err != nil {
		return nil, err
	}
	t, err := protoregistry.GlobalTypes.FindMessageByName(md.Output().FullName())
	if err != nil {
		return nil, err
	}
	return t.New().Interface(), nil
}

func (s *Server) idempotentUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	m, ok := req.(proto.Message)
	if !ok {
		return next(ctx, req)
	}
	service, _ := splitMethod(info.FullMethod)
	id, db := requestIDOf(m), s.cfg.Stores[service]
	if id == "" || db == nil { // without a store the server does not start when a request has a request_id
		return next(ctx, req)
	}
	p, _ := auth.FromContext(ctx)
	key := outbox.RequestKey{Subject: p.Subject, Method: info.FullMethod, RequestID: id}
	resp, replayed, err := runOnce(ctx, db, key, m, func(ctx context.Context) (any, error) { return next(ctx, req) })
	if errors.Is(err, sqldb.ErrCommitUnknown) { // the request id makes a repetition safe
		return nil, apierr.Unavailable(OutcomeUnknown, "%s; send the same request with the same request_id again", sqldb.ErrCommitUnknown).Wrap(err)
	}
	if err != nil {
		return nil, err
	}
	if replayed {
		_ = grpc.SetHeader(ctx, metadata.Pairs(replayedKey, "true")) // fails only when headers are out already
	}
	return resp, nil
}

// runOnce runs fn in one transaction with the note of its request, or returns the response of an earlier run.
func runOnce(ctx context.Context, db *sqldb.DB, key outbox.RequestKey, req proto.Message, fn func(context.Context) (any, error)) (resp any, replayed bool, err error) {
	// Deterministic within one build. After an upgrade that changed the encoding, a repeated request could be taken for
	// another one and be refused, which is the safe side.
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return nil, false, fmt.Errorf("hash of request: %w", err)
	}
	hash := sha256.Sum256(b)
	err = db.InTx(ctx, func(ctx context.Context) error {
		resp, replayed = nil, false
		r, err := outbox.ReserveRequest(ctx, db, key, hash[:])
		if err != nil {
			return err
		}
		if !r.First {
			replayed = true
			resp, err = stored(key, r, hash[:])
			return err
		}
		if resp, err = fn(ctx); err != nil {
			return err
		}
		m, ok := resp.(proto.Message)
		if !ok {
			return fmt.Errorf("response of type %T", resp)
		}
		answer, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
		if err != nil {
			return fmt.Errorf("store response: %w", err)
		}
		return outbox.SaveResponse(ctx, db, key, answer)
	})
	return resp, replayed, err
}

func stored(key outbox.RequestKey, r outbox.Reservation, hash []byte) (proto.Message, error) {
	if !bytes.Equal(r.Hash, hash) {
		return nil, apierr.FailedPrecondition(RequestIDReused,
			"request_id %q was used before for another %s; use a new request_id for a new request", key.RequestID, key.Method).
			With("request_id", key.RequestID).With("method", key.Method).WithViolation("request_id", "used before for another request")
	}
	resp, err := newResponse(key.Method)
	if err != nil {
		return nil, fmt.Errorf("stored response: %w", err)
	}
	if err := proto.Unmarshal(r.Response, resp); err != nil {
		return nil, fmt.Errorf("stored response: %w", err)
	}
	return resp, nil
}

// idempotentStream refuses a request_id in a stream: there is no single response to store, and ignoring it would make
// a promise that is not kept.
func (s *Server) idempotentStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	return next(srv, &serverStream{ServerStream: ss, ctx: ss.Context(), received: func(m any) error {
		if pm, ok := m.(proto.Message); ok && requestIDOf(pm) != "" {
			return apierr.InvalidArgument(RequestIDInStream, "%s is a stream and cannot be repeated by request_id; leave request_id empty", info.FullMethod).
				With("method", info.FullMethod).WithViolation("request_id", "not possible in a stream")
		}
		return nil
	}})
}
