// Package telemetry sets up logs, traces and metrics of a process.
//
// Logs always go to one stream, as text for people or JSON for machines, with the ids of the running span. Traces and
// metrics are off unless an OTLP endpoint is given. The rest of the suite uses the global OpenTelemetry providers, which do
// nothing until Setup has replaced them.
package telemetry

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlpmetric/otlpmetricgrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// Config says where telemetry goes. The zero value logs text from level info on to standard error and exports nothing.
type Config struct {
	OTLPEndpoint   string // host:port of a collector that speaks OTLP over gRPC; "" exports nothing
	OTLPInsecure   bool   // no encryption to the collector, for one on the same machine
	ServiceName    string // "rondeau-inventory"
	ServiceVersion string
	Site           string    // attribute of everything exported, optional
	LogLevel       string    // debug, info, warn or error; "" means info
	LogFormat      string    // text or json; "" means text
	LogOutput      io.Writer // nil means standard error
}

// Telemetry is what Setup made.
type Telemetry struct {
	Logger *slog.Logger
}

const metricInterval = 15 * time.Second

// Setup makes the logger and, when there is an endpoint, the global providers. shutdown sends what is left and must be called last, with
// a fresh context. A collector that does not answer never holds up the service.
func Setup(ctx context.Context, cfg Config) (t *Telemetry, shutdown func(context.Context) error, err error) {
	logger, err := newLogger(cfg)
	if err != nil {
		return nil, nil, err
	}
	t = &Telemetry{Logger: logger}
	otel.SetTextMapPropagator(propagation.NewCompositeTextMapPropagator(propagation.TraceContext{}, propagation.Baggage{}))
	otel.SetErrorHandler(otel.ErrorHandlerFunc(func(err error) { logger.Warn("telemetry", slog.Any("error", err)) }))
	if cfg.OTLPEndpoint == "" {
		return t, func(context.Context) error { return nil }, nil
	}
	shutdown, err = export(ctx, cfg)
	return t, shutdown, err
}

func newLogger(cfg Config) (*slog.Logger, error) {
	var level slog.Level
	if cfg.LogLevel != "" {
		if err := level.UnmarshalText([]byte(cfg.LogLevel)); err != nil {
			return nil, fmt.Errorf("log level %q: use debug, info, warn or error", cfg.LogLevel)
		}
	}
	out := cfg.LogOutput
	if out == nil {
		out = os.Stderr
	}
	opts := &slog.HandlerOptions{Level: level}
	var h slog.Handler
	switch strings.ToLower(cfg.LogFormat) {
	case "", "text":
		h = slog.NewTextHandler(out, opts)
	case "json":
		h = slog.NewJSONHandler(out, opts)
	default:
		return nil, fmt.Errorf("log format %q: use text or json", cfg.LogFormat)
	}
	l := slog.New(spanHandler{h})
	if cfg.ServiceName != "" {
		l = l.With(slog.String("service", cfg.ServiceName))
	}
	return l, nil
}

func export(ctx context.Context, cfg Config) (func(context.Context) error, error) {
	attrs := []attribute.KeyValue{attribute.String("service.name", cfg.ServiceName)}
	if cfg.ServiceVersion != "" {
		attrs = append(attrs, attribute.String("service.version", cfg.ServiceVersion))
	}
	if cfg.Site != "" {
		attrs = append(attrs, attribute.String("rondeau.site", cfg.Site))
	}
	res, err := resource.New(ctx, resource.WithTelemetrySDK(), resource.WithHost(), resource.WithAttributes(attrs...))
	if err != nil {
		return nil, fmt.Errorf("telemetry: %w", err)
	}
	traceOpts := []otlptracegrpc.Option{otlptracegrpc.WithEndpoint(cfg.OTLPEndpoint)}
	metricOpts := []otlpmetricgrpc.Option{otlpmetricgrpc.WithEndpoint(cfg.OTLPEndpoint)}
	if cfg.OTLPInsecure {
		traceOpts = append(traceOpts, otlptracegrpc.WithInsecure())
		metricOpts = append(metricOpts, otlpmetricgrpc.WithInsecure())
	}
	spans, err := otlptracegrpc.New(ctx, traceOpts...)
	if err != nil {
		return nil, fmt.Errorf("telemetry: traces to %s: %w", cfg.OTLPEndpoint, err)
	}
	metrics, err := otlpmetricgrpc.New(ctx, metricOpts...)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("telemetry: metrics to %s: %w", cfg.OTLPEndpoint, err), spans.Shutdown(ctx))
	}
	tp := sdktrace.NewTracerProvider(sdktrace.WithResource(res), sdktrace.WithBatcher(spans))
	mp := sdkmetric.NewMeterProvider(sdkmetric.WithResource(res),
		sdkmetric.WithReader(sdkmetric.NewPeriodicReader(metrics, sdkmetric.WithInterval(metricInterval))))
	otel.SetTracerProvider(tp)
	otel.SetMeterProvider(mp)
	return func(ctx context.Context) error { return errors.Join(tp.Shutdown(ctx), mp.Shutdown(ctx)) }, nil
}

// spanHandler adds the ids of the running span to each record.
type spanHandler struct{ slog.Handler }

// Handle implements slog.Handler.
func (h spanHandler) Handle(ctx context.Context, r slog.Record) error {
	if sc := trace.SpanContextFromContext(ctx); sc.IsValid() {
		r = r.Clone()
		r.AddAttrs(slog.String("trace_id", sc.TraceID().String()), slog.String("span_id", sc.SpanID().String()))
	}
	return h.Handler.Handle(ctx, r)
}

// WithAttrs implements slog.Handler.
func (h spanHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return spanHandler{h.Handler.WithAttrs(attrs)}
}

// WithGroup implements slog.Handler.
func (h spanHandler) WithGroup(name string) slog.Handler {
	return spanHandler{h.Handler.WithGroup(name)}
}
