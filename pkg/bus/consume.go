package bus

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
)

// Message is one delivery of an event.
type Message struct {
	Event     outbox.Event
	Delivered int // 1 for the first delivery
}

// Consumer applies the events of one stream to one database.
type Consumer struct {
	Durable  string   // stable name, also the name in the inbox: "inventory-runs"
	Stream   string   // service that states the facts: "planning"
	Subjects []string // full subjects, wildcards allowed; nil means all of the stream
	// Handle applies an event inside of the transaction that notes it as applied. It may run more than once, but only one run is
	// committed. Its context ends before the broker gives the message to somebody else.
	Handle func(ctx context.Context, m Message) error
	// MaxDeliver is how many failures of the handler are tolerated before the event is parked; 0 means 5. Failures of
	// the surroundings (database or another service out of reach, lost races) do not count and are retried for ever.
	MaxDeliver int
	// RetryAfter is the wait after the first failure, four times longer after each further one up to a minute; 0 means 250 ms.
	RetryAfter time.Duration
}

const (
	defaultMaxDeliver = 5
	defaultRetryAfter = 250 * time.Millisecond
	maxRetryAfter     = time.Minute

	// ackWait is when the broker gives a message of a silent consumer out again. A message that was lost on its way holds
	// up the consumer for this long, because the order is kept.
	ackWait       = 8 * time.Second
	progressEvery = 2 * time.Second  // a slow handler tells the broker that it is alive
	handleTimeout = 25 * time.Second // per try
	ackTimeout    = 2 * time.Second  // per try
	ackTries      = 5                // over a restart of the broker
	drainTimeout  = 500 * time.Millisecond
	pullExpiry    = 10 * time.Second
	pullHeartbeat = 2 * time.Second // two missed ones and the consumer is restarted
	minRestart    = 100 * time.Millisecond
	maxRestart    = 5 * time.Second
)

var tracer = otel.Tracer("rondeau.internal/pkg/bus")

// Run runs the consumers until ctx is done and then returns nil. Each handles one message at a time, in the order of
// its stream. A consumer that loses the broker is restarted for ever.
func Run(ctx context.Context, nc *nats.Conn, db *sqldb.DB, logger *slog.Logger, consumers ...Consumer) error {
	js, err := jetstream.New(nc)
	if err != nil {
		return fmt.Errorf("bus: %w", err)
	}
	runners := make([]*runner, len(consumers))
	for i, c := range consumers {
		if c.Durable == "" || c.Handle == nil {
			return fmt.Errorf("bus: consumer %d needs a name and a handler", i+1)
		}
		if _, err := streamOf("rondeau." + c.Stream + ".v1.x"); err != nil {
			return fmt.Errorf("consumer %s: %w", c.Durable, err)
		}
		if c.MaxDeliver <= 0 {
			c.MaxDeliver = defaultMaxDeliver
		}
		if c.RetryAfter <= 0 {
			c.RetryAfter = defaultRetryAfter
		}
		runners[i] = &runner{
			Consumer: c, js: js, db: db, failures: map[string]int{},
			logger: logger.With(slog.String("consumer", c.Durable)),
		}
	}
	var wg sync.WaitGroup
	for _, r := range runners {
		wg.Go(func() { r.supervise(ctx) })
	}
	wg.Wait()
	return nil
}

// runner is a consumer at work. It handles one message at a time, so it needs no lock.
type runner struct {
	Consumer
	js       jetstream.JetStream
	db       *sqldb.DB
	logger   *slog.Logger
	failures map[string]int // of the handler, by event id; forgotten when the process ends
}

// supervise restarts the consumer whenever it stops.
func (r *runner) supervise(ctx context.Context) {
	wait := minRestart
	healthy := true
	for ctx.Err() == nil {
		worked, err := r.consume(ctx)
		if ctx.Err() != nil {
			return
		}
		if worked {
			wait = minRestart
			healthy = true
		}
		if healthy {
			r.logger.WarnContext(ctx, "consumer lost the broker and is restarted until it is back", slog.Any("error", err))
			healthy = false
		}
		pause(ctx, wait)
		wait = min(2*wait, maxRestart)
	}
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// consume handles messages until something breaks. worked says whether at least one message came.
func (r *runner) consume(ctx context.Context) (worked bool, err error) {
	cons, err := r.js.CreateOrUpdateConsumer(ctx, StreamName(r.Stream), jetstream.ConsumerConfig{
		Durable: r.Durable, FilterSubjects: r.Subjects, DeliverPolicy: jetstream.DeliverAllPolicy,
		AckPolicy: jetstream.AckExplicitPolicy, AckWait: ackWait,
		MaxAckPending: 1,  // order: no later message while one waits for its next try
		MaxDeliver:    -1, // counted here: the broker would drop the message even if parking it failed
	})
	if err != nil {
		return false, fmt.Errorf("create consumer: %w", err)
	}
	messages, err := cons.Messages(jetstream.PullMaxMessages(1), jetstream.PullExpiry(pullExpiry), jetstream.PullHeartbeat(pullHeartbeat))
	if err != nil {
		return false, fmt.Errorf("pull: %w", err)
	}
	defer messages.Stop()
	// Told to stop: a message that is here already is given back, so that it is not silent until ackWait. A broker that
	// is away cannot say that nothing is on its way, so the wait is short.
	last, giveUp := context.WithCancel(context.WithoutCancel(ctx))
	defer giveUp()
	defer context.AfterFunc(ctx, func() {
		messages.Drain()
		time.AfterFunc(drainTimeout, giveUp)
	})()
	for {
		msg, err := messages.Next(jetstream.NextContext(last))
		if err != nil {
			return worked, fmt.Errorf("next message: %w", err)
		}
		if ctx.Err() != nil {
			if err := msg.Nak(); err != nil {
				return worked, fmt.Errorf("give a message back: %w", err)
			}
			continue
		}
		worked = true
		if err := r.deliver(ctx, msg); err != nil {
			return worked, err
		}
	}
}

// deliver handles one message and tells the broker what became of it. An error means that the broker could not be told.
func (r *runner) deliver(ctx context.Context, msg jetstream.Msg) error {
	meta, err := msg.Metadata()
	if err != nil {
		return fmt.Errorf("message metadata: %w", err)
	}
	e, err := eventOf(msg)
	if err != nil { // not one of our events: nobody can ever handle it
		if e.ID == "" {
			e.ID = fmt.Sprintf("%s-%d", meta.Stream, meta.Sequence.Stream)
		}
		return r.park(ctx, msg, e, err)
	}
	stop := r.keepAlive(ctx, msg)
	err = r.handle(ctx, Message{Event: e, Delivered: int(meta.NumDelivered)})
	stop()
	if err == nil {
		delete(r.failures, e.ID)
		return r.acknowledge(ctx, msg, e)
	}
	if ctx.Err() != nil { // told to stop in the middle: somebody else may have it at once
		return msg.Nak()
	}
	if transient(err) {
		r.logger.WarnContext(ctx, "event is delayed", slog.String("event", e.ID), slog.String("subject", e.Subject),
			slog.Uint64("delivered", meta.NumDelivered), slog.Any("error", err))
		return msg.NakWithDelay(r.delay(int(meta.NumDelivered)))
	}
	r.failures[e.ID]++
	n := r.failures[e.ID]
	r.logger.WarnContext(ctx, "event handler failed", slog.String("event", e.ID), slog.String("subject", e.Subject),
		slog.Int("failures", n), slog.Int("tolerated", r.MaxDeliver), slog.Any("error", err))
	if n >= r.MaxDeliver {
		return r.park(ctx, msg, e, err)
	}
	return msg.NakWithDelay(r.delay(n))
}

// keepAlive tells the broker that the message is still being worked on, until stop is called.
func (r *runner) keepAlive(ctx context.Context, msg jetstream.Msg) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Go(func() {
		t := time.NewTicker(progressEvery)
		defer t.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-t.C:
				if err := msg.InProgress(); err != nil {
					r.logger.DebugContext(ctx, "progress was not reported", slog.Any("error", err))
				}
			}
		}
	})
	return func() {
		cancel()
		wg.Wait()
	}
}

// acknowledge tells the broker that the effect is committed and waits until it knows. A broker that restarts at this
// moment still takes the acknowledgement afterwards; giving up means a second delivery, which the inbox absorbs.
func (r *runner) acknowledge(ctx context.Context, msg jetstream.Msg, e outbox.Event) error {
	var err error
	for range ackTries {
		actx, cancel := context.WithTimeout(context.WithoutCancel(ctx), ackTimeout)
		err = msg.DoubleAck(actx)
		cancel()
		if err == nil || errors.Is(err, jetstream.ErrMsgAlreadyAckd) {
			return nil
		}
		if ctx.Err() != nil {
			break
		}
	}
	return fmt.Errorf("acknowledge event %s: %w", e.ID, err)
}

// transient says whether the surroundings and not the event are to blame.
func transient(err error) bool {
	switch apierr.KindOf(err) {
	case apierr.KindUnavailable, apierr.KindDeadlineExceeded, apierr.KindAborted, apierr.KindCanceled, apierr.KindResourceExhausted:
		return true
	}
	return sqldb.Transient(err)
}

// delay is RetryAfter times four for each failure after the first.
func (r *runner) delay(failures int) time.Duration {
	d := r.RetryAfter
	for range failures - 1 {
		if d *= 4; d >= maxRetryAfter {
			return maxRetryAfter
		}
	}
	return d
}

// park keeps the event in the consumer's database and takes it off the broker's hands. When it cannot be kept, the
// broker delivers it again.
func (r *runner) park(ctx context.Context, msg jetstream.Msg, e outbox.Event, cause error) error {
	if err := outbox.Park(ctx, r.db, r.Durable, e, cause); err != nil {
		r.logger.ErrorContext(ctx, "event could not be parked", slog.String("event", e.ID), slog.Any("error", err))
		return msg.NakWithDelay(r.RetryAfter)
	}
	delete(r.failures, e.ID)
	r.logger.ErrorContext(ctx, "event is parked and waits for a person", slog.String("event", e.ID), slog.String("subject", e.Subject),
		slog.String("resource", e.Resource), slog.Any("error", cause))
	return msg.TermWithReason("parked")
}

// handle applies the event once, inside of a span that is linked to the producer's: a replayed event would make a
// child of a span that ended long ago.
func (r *runner) handle(ctx context.Context, m Message) (err error) {
	producer := trace.SpanContextFromContext(propagation.TraceContext{}.Extract(context.Background(), propagation.MapCarrier(m.Event.Headers)))
	opts := []trace.SpanStartOption{
		trace.WithSpanKind(trace.SpanKindConsumer),
		trace.WithAttributes(
			attribute.String("messaging.system", "nats"), attribute.String("messaging.destination.name", m.Event.Subject),
			attribute.String("messaging.message.id", m.Event.ID), attribute.String("messaging.consumer.group.name", r.Durable)),
	}
	if producer.IsValid() {
		opts = append(opts, trace.WithLinks(trace.Link{SpanContext: producer}))
	}
	ctx, span := tracer.Start(ctx, "process "+m.Event.Subject, opts...)
	defer span.End()
	ctx, cancel := context.WithTimeout(ctx, handleTimeout)
	defer cancel()
	_, err = outbox.Once(ctx, r.db, r.Durable, m.Event.ID, func(ctx context.Context) error { return r.safely(ctx, m) })
	if err != nil {
		span.RecordError(err)
		span.SetStatus(codes.Error, "event was not applied")
	}
	return err
}

var errPanic = errors.New("the handler panicked")

// safely turns a panic of the handler into an error, so that one bad event cannot end the service.
func (r *runner) safely(ctx context.Context, m Message) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("%w: %v\n%s", errPanic, v, debug.Stack())
		}
	}()
	return r.Handle(ctx, m)
}
