//go:build integration

package integration

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	tracepb "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	commonpb "go.opentelemetry.io/proto/otlp/common/v1"
	otlp "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"rondeau.internal/integration/harness"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/testenv"
)

// collector takes spans as an OpenTelemetry collector does, by the OTLP trace service.
type collector struct {
	tracepb.UnimplementedTraceServiceServer
	mu    sync.Mutex
	spans []span
}

// span is what the test needs of one.
type span struct {
	service, name     string
	trace, id, parent string
	kind              otlp.Span_SpanKind
	attributes        map[string]string
	links             []string // traces of linked spans
	linked            []string // ids of linked spans
}

// Export implements the trace service.
func (c *collector) Export(_ context.Context, r *tracepb.ExportTraceServiceRequest) (*tracepb.ExportTraceServiceResponse, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, rs := range r.GetResourceSpans() {
		service := text(rs.GetResource().GetAttributes())["service.name"]
		for _, ss := range rs.GetScopeSpans() {
			for _, s := range ss.GetSpans() {
				one := span{
					service: service, name: s.GetName(), trace: hex.EncodeToString(s.GetTraceId()), id: hex.EncodeToString(s.GetSpanId()),
					parent: hex.EncodeToString(s.GetParentSpanId()), kind: s.GetKind(), attributes: text(s.GetAttributes()),
				}
				for _, l := range s.GetLinks() {
					one.links = append(one.links, hex.EncodeToString(l.GetTraceId()))
					one.linked = append(one.linked, hex.EncodeToString(l.GetSpanId()))
				}
				c.spans = append(c.spans, one)
			}
		}
	}
	return &tracepb.ExportTraceServiceResponse{}, nil
}

func text(attributes []*commonpb.KeyValue) map[string]string {
	out := map[string]string{}
	for _, a := range attributes {
		out[a.GetKey()] = a.GetValue().GetStringValue()
	}
	return out
}

// find lists the spans that answer a question.
func (c *collector) find(ask func(s span) bool) []span {
	c.mu.Lock()
	defer c.mu.Unlock()
	var out []span
	for _, s := range c.spans {
		if ask(s) {
			out = append(out, s)
		}
	}
	return out
}

func startCollector(t *testing.T) (*collector, string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &collector{}
	server := grpc.NewServer()
	tracepb.RegisterTraceServiceServer(server, c)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-served; err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			t.Errorf("collector: %v", err)
		}
	})
	return c, listener.Addr().String()
}

// TestARequestCanBeFollowedThroughAllServices starts a trace as a caller does (W3C Trace Context: version, trace id,
// parent id, flags; https://www.w3.org/TR/trace-context/), places an order and releases a plan in it, and finds it again
// in the services that were called, in their databases, and behind the broker. A consumer's span is a root of its own
// with a link to the fact's origin, as OpenTelemetry's conventions for messaging suggest.
func TestARequestCanBeFollowedThroughAllServices(t *testing.T) {
	spans, address := startCollector(t)
	s := harness.Processes(t, harness.Options{
		Args: []string{"--otlp=" + address, "--otlp-insecure"}, Env: []string{"OTEL_BSP_SCHEDULE_DELAY=100"}, // milliseconds
	})
	h := importKitchen(t, s)
	const trace, parent = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
	ctx := metadata.AppendToOutgoingContext(h.ctx(), "traceparent", "00-"+trace+"-"+parent+"-01")
	outlet := h.outlets[0]
	_, err := h.planning(h.orderer(outlet)).CreateOrder(ctx, h.orderRequest(outlet, "tomato-2500g", 6))
	h.must(err)
	local := s.Now().In(h.zone)
	plan, err := h.planning(h.manager()).CreatePlan(ctx, &planningpb.CreatePlanRequest{
		Parent: h.site, Plan: &planningpb.Plan{StartDate: local.Format(time.DateOnly), EndDate: local.AddDate(0, 0, 10).Format(time.DateOnly)},
	})
	h.must(err)
	_, err = h.planning(h.manager()).ReleasePlan(ctx, &planningpb.ReleasePlanRequest{Name: plan.GetName()})
	h.must(err)
	s.Settle(time.Minute)

	server := func(service, method string) func(s span) bool {
		return func(s span) bool {
			return s.trace == trace && s.service == "rondeau-"+service && s.kind == otlp.Span_SPAN_KIND_SERVER && strings.HasSuffix(s.name, "/"+method)
		}
	}
	database := func(service, trace string) func(s span) bool {
		return func(s span) bool {
			return s.trace == trace && s.service == "rondeau-"+service && s.attributes["db.system.name"] != ""
		}
	}
	consumed := func(service, subject string) func(s span) bool {
		return func(s span) bool {
			return s.service == "rondeau-"+service && s.kind == otlp.Span_SPAN_KIND_CONSUMER && s.attributes["messaging.destination.name"] == subject && slices.Contains(s.links, trace)
		}
	}
	wanted := []struct {
		what string
		ask  func(s span) bool
	}{
		{"planning's CreateOrder", server("planning", "CreateOrder")},
		{"planning's CreatePlan", server("planning", "CreatePlan")},
		{"planning's ReleasePlan", server("planning", "ReleasePlan")},
		{"inventory's answer about stock to planning", server("inventory", "SummarizeStock")},
		{"scheduling's answer about vessels to planning", server("scheduling", "ListVessels")},
		{"planning's database", database("planning", trace)},
		{"inventory's database", database("inventory", trace)},
		{"inventory's consumption of a proposed purchase", consumed("inventory", "rondeau.planning.v1.purchase.proposed")},
	}
	for _, w := range wanted {
		testenv.Eventually(t, 20*time.Second, func() error {
			if len(spans.find(w.ask)) == 0 {
				return fmt.Errorf("no span of %s", w.what)
			}
			return nil
		})
	}
	for _, s := range spans.find(server("planning", "CreateOrder")) {
		if s.parent != parent {
			t.Errorf("the span of CreateOrder has the parent %s, not the caller's", s.parent)
		}
	}
	// Behind the broker: the consumer's own trace goes on into its database, and its link names a span that is there.
	consumer := spans.find(consumed("inventory", "rondeau.planning.v1.purchase.proposed"))[0]
	testenv.Eventually(t, 20*time.Second, func() error {
		if len(spans.find(database("inventory", consumer.trace))) == 0 {
			return errors.New("the consumer's work in the database is not in its trace")
		}
		return nil
	})
	origin := spans.find(func(s span) bool { return s.trace == trace && slices.Contains(consumer.linked, s.id) })
	if len(origin) != 1 || origin[0].service != "rondeau-planning" {
		t.Errorf("the link %v of the consumer leads to %v", consumer.linked, origin)
	}
}
