package telemetry_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"strings"
	"sync"
	"testing"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/trace"
	tracepb "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"

	"rondeau.internal/pkg/telemetry"
)

func TestLogsCarryTheIdsOfTheSpan(t *testing.T) {
	var out bytes.Buffer
	tel, shutdown, err := telemetry.Setup(t.Context(), telemetry.Config{ServiceName: "s", LogFormat: "json", LogLevel: "debug", LogOutput: &out})
	if err != nil {
		t.Fatal(err)
	}
	sc := trace.NewSpanContext(trace.SpanContextConfig{TraceID: trace.TraceID{1}, SpanID: trace.SpanID{2}})
	ctx := trace.ContextWithSpanContext(t.Context(), sc)
	tel.Logger.With("a", 1).DebugContext(ctx, "inside")
	tel.Logger.InfoContext(t.Context(), "outside")
	if err := shutdown(t.Context()); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines: %s", len(lines), out.String())
	}
	var in, outside map[string]any
	if err := json.Unmarshal([]byte(lines[0]), &in); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(lines[1]), &outside); err != nil {
		t.Fatal(err)
	}
	if in["trace_id"] != "01000000000000000000000000000000" || in["span_id"] != "0200000000000000" || in["service"] != "s" || in["a"] != 1.0 {
		t.Errorf("inside: %v", in)
	}
	if _, ok := outside["trace_id"]; ok {
		t.Errorf("outside: %v", outside)
	}
}

func TestSetupRefusesUnknownWords(t *testing.T) {
	for _, cfg := range []telemetry.Config{{LogLevel: "loud"}, {LogFormat: "xml"}} {
		if _, _, err := telemetry.Setup(t.Context(), cfg); err == nil || !strings.Contains(err.Error(), "use ") {
			t.Errorf("%+v: %v", cfg, err)
		}
	}
}

// collector is a trace collector that remembers span names.
type collector struct {
	tracepb.UnimplementedTraceServiceServer
	mu    sync.Mutex
	names []string
	attrs []string
}

func (c *collector) Export(_ context.Context, req *tracepb.ExportTraceServiceRequest) (*tracepb.ExportTraceServiceResponse, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, rs := range req.GetResourceSpans() {
		for _, kv := range rs.GetResource().GetAttributes() {
			c.attrs = append(c.attrs, kv.GetKey()+"="+kv.GetValue().GetStringValue())
		}
		for _, ss := range rs.GetScopeSpans() {
			for _, s := range ss.GetSpans() {
				c.names = append(c.names, s.GetName())
			}
		}
	}
	return &tracepb.ExportTraceServiceResponse{}, nil
}

func TestSpansReachTheCollectorAtShutdown(t *testing.T) {
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &collector{}
	srv := grpc.NewServer()
	tracepb.RegisterTraceServiceServer(srv, c)
	go func() { _ = srv.Serve(lis) }()
	defer srv.Stop()
	var out bytes.Buffer
	_, shutdown, err := telemetry.Setup(t.Context(), telemetry.Config{
		ServiceName: "rondeau-test", Site: "sites/n", OTLPEndpoint: lis.Addr().String(), OTLPInsecure: true, LogOutput: &out,
	})
	if err != nil {
		t.Fatal(err)
	}
	_, span := otel.Tracer("test").Start(t.Context(), "simmer")
	span.End()
	_ = shutdown(t.Context()) // the metric service is not there; spans must arrive all the same
	c.mu.Lock()
	defer c.mu.Unlock()
	all := strings.Join(c.attrs, " ")
	if len(c.names) != 1 || c.names[0] != "simmer" || !strings.Contains(all, "service.name=rondeau-test") || !strings.Contains(all, "rondeau.site=sites/n") {
		t.Errorf("names %v attributes %v", c.names, c.attrs)
	}
}
