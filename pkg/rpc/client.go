package rpc

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// DialConfig says how to reach a server. One of Pipe, TLS, CAFile and Insecure is needed.
type DialConfig struct {
	Token    func() string // bearer token for each call; nil or "" sends none
	CAFile   string        // certificates that vouch for the server
	TLS      *tls.Config   // complete settings, for example of ClientTLS; wins over CAFile
	Pipe     *Pipe         // in-process server; the target is ignored
	Insecure bool          // no encryption; for tests and for a network that encrypts by itself
	Timeout  time.Duration // for unary calls that have no deadline; 0 means 30 s
}

const (
	defaultTimeout  = 30 * time.Second
	keepaliveTime   = 60 * time.Second // above the server's minimum of 30 s
	keepaliveAnswer = 20 * time.Second
)

// Dial makes a connection, which connects when it is first used. Errors of calls arrive as *apierr.Error. A unary call without a
// deadline gets one; a mutation without a request_id gets one, so that it can be repeated safely when the server is
// unavailable. Only UNAVAILABLE is repeated, and only for reads and for calls with a request_id.
func Dial(target string, cfg DialConfig) (*grpc.ClientConn, error) {
	creds, err := clientCredentials(&cfg)
	if err != nil {
		return nil, err
	}
	if cfg.Timeout == 0 {
		cfg.Timeout = defaultTimeout
	}
	opts := []grpc.DialOption{
		grpc.WithTransportCredentials(creds),
		grpc.WithDefaultServiceConfig(retryConfig()),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: reconnect(), MinConnectTimeout: connectTimeout}),
		grpc.WithStatsHandler(otelgrpc.NewClientHandler()),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: keepaliveTime, Timeout: keepaliveAnswer, PermitWithoutStream: true}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxSend)),
		grpc.WithUnaryInterceptor(clientUnary(cfg.Timeout)),
		grpc.WithStreamInterceptor(clientStreamInterceptor),
	}
	if cfg.Token != nil {
		opts = append(opts, grpc.WithPerRPCCredentials(bearer{token: cfg.Token, plain: cfg.Pipe != nil || cfg.Insecure}))
	}
	if cfg.Pipe != nil {
		target = "passthrough:///pipe"
		opts = append(opts, grpc.WithContextDialer(cfg.Pipe.dial))
	}
	conn, err := grpc.NewClient(target, opts...)
	if err != nil {
		return nil, fmt.Errorf("dial %s: %w", target, err)
	}
	return conn, nil
}

func clientCredentials(cfg *DialConfig) (credentials.TransportCredentials, error) {
	switch {
	case cfg.Pipe != nil || cfg.Insecure:
		return insecure.NewCredentials(), nil
	case cfg.TLS != nil:
		return credentials.NewTLS(cfg.TLS), nil
	case cfg.CAFile != "":
		t, err := ClientTLS(cfg.CAFile, "", "")
		if err != nil {
			return nil, err
		}
		return credentials.NewTLS(t), nil
	}
	return nil, errors.New("rpc: no way to trust the server: give a CA file, or say that the connection is insecure")
}

// bearer sends a token with each call.
type bearer struct {
	token func() string
	plain bool
}

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	t := b.token()
	if t == "" {
		return nil, nil
	}
	return map[string]string{authKey: "Bearer " + t}, nil
}

// RequireTransportSecurity implements credentials.PerRPCCredentials: a token never goes over an open network.
func (b bearer) RequireTransportSecurity() bool { return !b.plain }

func clientUnary(timeout time.Duration) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		if _, ok := ctx.Deadline(); !ok {
			var cancel context.CancelFunc
			ctx, cancel = context.WithTimeout(ctx, timeout)
			defer cancel()
		}
		return FromStatus(invoke(forwardRequestID(ctx), method, withRequestID(req), reply, cc, opts...))
	}
}

// forwardRequestID lets the logs of all services that one request passes through be found under one id.
func forwardRequestID(ctx context.Context) context.Context {
	if id := RequestID(ctx); id != "" {
		return metadata.AppendToOutgoingContext(ctx, requestIDKey, id)
	}
	return ctx
}

// withRequestID gives a mutation without a request_id one, on a copy.
func withRequestID(req any) any {
	m, ok := req.(proto.Message)
	if !ok || m == nil || !m.ProtoReflect().IsValid() {
		return req
	}
	fd := m.ProtoReflect().Descriptor().Fields().ByName(requestIDField)
	if fd == nil || fd.Kind() != protoreflect.StringKind || fd.IsList() || m.ProtoReflect().Get(fd).String() != "" {
		return req
	}
	c := proto.Clone(m)
	c.ProtoReflect().Set(fd, protoreflect.ValueOfString(uuid.NewString()))
	return c
}

func clientStreamInterceptor(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, streamer grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := streamer(forwardRequestID(ctx), desc, cc, method, opts...)
	if err != nil {
		return nil, FromStatus(err)
	}
	return clientStream{s}, nil
}

// clientStream maps the errors of a stream. io.EOF passes.
type clientStream struct{ grpc.ClientStream }

// SendMsg implements grpc.ClientStream.
func (s clientStream) SendMsg(m any) error { return streamError(s.ClientStream.SendMsg(m)) }

// RecvMsg implements grpc.ClientStream.
func (s clientStream) RecvMsg(m any) error { return streamError(s.ClientStream.RecvMsg(m)) }

func streamError(err error) error {
	if errors.Is(err, io.EOF) {
		return err
	}
	return FromStatus(err)
}

// retryPolicy: at most 4 attempts, waits of 0.1 s doubled with jitter.
var retryPolicy = map[string]any{
	"maxAttempts": 4, "initialBackoff": "0.1s", "maxBackoff": "2s", "backoffMultiplier": 2, "retryableStatusCodes": []string{"UNAVAILABLE"},
}

// retryConfig is the gRPC service config that repeats safe methods of all linked services.
func retryConfig() string {
	type name struct {
		Service string `json:"service"`
		Method  string `json:"method,omitempty"`
	}
	var safe []name
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(string(f.Package()), "rondeau.") {
			return true
		}
		for i := range f.Services().Len() {
			svc := f.Services().Get(i)
			for j := range svc.Methods().Len() {
				if m := svc.Methods().Get(j); repeatable(m) {
					safe = append(safe, name{string(svc.FullName()), string(m.Name())})
				}
			}
		}
		return true
	})
	config := map[string]any{}
	if len(safe) > 0 {
		config["methodConfig"] = []any{map[string]any{"name": safe, "retryPolicy": retryPolicy}}
	}
	b, err := json.Marshal(config)
	if err != nil {
		panic(err) // strings and numbers always marshal
	}
	return string(b)
}

// repeatable says whether a method has no second effect when it is sent twice: it is a read by its HTTP verb, or its
// unary request carries a request_id, which Dial fills.
func repeatable(m protoreflect.MethodDescriptor) bool {
	if m.IsStreamingClient() || m.IsStreamingServer() {
		return false
	}
	if m.Input().Fields().ByName(requestIDField) != nil {
		return true
	}
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	return httpVerb(rule) == http.MethodGet
}

func httpVerb(rule *annotations.HttpRule) string {
	if rule.GetGet() != "" {
		return http.MethodGet
	}
	return ""
}

// connectTimeout is what one attempt to connect may take.
const connectTimeout = 5 * time.Second

// reconnect keeps the pauses between attempts short, so that a peer that comes back after a long outage is used again within
// seconds; the library's own pauses grow to two minutes.
func reconnect() backoff.Config {
	pauses := backoff.DefaultConfig
	pauses.BaseDelay, pauses.MaxDelay = 200*time.Millisecond, 3*time.Second
	return pauses
}
