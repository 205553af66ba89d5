package bus

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Contexts are the services that state facts; each has a stream.
var contexts = []string{"planning", "inventory", "scheduling", "foodsafety"}

// Contexts lists the services that have a stream.
func Contexts() []string { return slices.Clone(contexts) }

// dedupeWindow is how long the broker itself remembers message ids. It hides retries; exactly-once comes from the inbox.
const dedupeWindow = 30 * time.Minute

// StreamName is the stream of a service: RONDEAU_PLANNING.
func StreamName(service string) string { return "RONDEAU_" + strings.ToUpper(service) }

// streamOf is the stream that takes a subject.
func streamOf(subject string) (string, error) {
	parts := strings.SplitN(subject, ".", 4)
	if len(parts) == 4 && parts[0] == "rondeau" && parts[2] == "v1" && slices.Contains(contexts, parts[1]) {
		return StreamName(parts[1]), nil
	}
	return "", fmt.Errorf("bus: no stream takes the subject %q", subject)
}

// EnsureStreams creates or updates the streams of all services. replicas is 1 for an embedded server, 3 for a cluster.
// Every service may call it; doing so again changes nothing.
func EnsureStreams(ctx context.Context, nc *nats.Conn, replicas int) error {
	js, err := jetstream.New(nc)
	if err != nil {
		return fmt.Errorf("bus: %w", err)
	}
	for _, c := range contexts {
		_, err := js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
			Name: StreamName(c), Subjects: []string{"rondeau." + c + ".v1.>"}, Description: "Facts stated by " + c,
			Retention: jetstream.LimitsPolicy, // others forget the message id together with the message
			Storage:   jetstream.FileStorage, Replicas: replicas, Duplicates: dedupeWindow,
			MaxAge: 0, MaxMsgs: -1, MaxBytes: -1, Discard: jetstream.DiscardNew,
			DenyDelete: true, DenyPurge: true,
		})
		if err != nil {
			return fmt.Errorf("bus: stream %s: %w", StreamName(c), err)
		}
	}
	return nil
}

// Check says whether the broker can take and give messages now, for a readiness check.
func Check(ctx context.Context, nc *nats.Conn) error {
	if s := nc.Status(); s != nats.CONNECTED {
		return fmt.Errorf("bus: the connection is %s", strings.ToLower(s.String()))
	}
	js, err := jetstream.New(nc)
	if err != nil {
		return fmt.Errorf("bus: %w", err)
	}
	for _, c := range contexts {
		if _, err := js.Stream(ctx, StreamName(c)); err != nil {
			return fmt.Errorf("bus: stream %s: %w", StreamName(c), err)
		}
	}
	return nil
}

// Pending is how many messages a consumer has not finished yet, with those that it holds now.
func Pending(ctx context.Context, nc *nats.Conn, service, durable string) (uint64, error) {
	js, err := jetstream.New(nc)
	if err != nil {
		return 0, fmt.Errorf("bus: %w", err)
	}
	c, err := js.Consumer(ctx, StreamName(service), durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("bus: consumer %s: %w", durable, err)
	}
	info, err := c.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("bus: consumer %s: %w", durable, err)
	}
	return info.NumPending + uint64(info.NumAckPending), nil
}
