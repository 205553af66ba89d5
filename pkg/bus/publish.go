package bus

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"rondeau.internal/pkg/outbox"
)

// Attribute headers of the CloudEvents binding for NATS, version 1.0.
const (
	headerID          = "ce-id"
	headerSource      = "ce-source"
	headerType        = "ce-type"
	headerTime        = "ce-time"
	headerSubject     = "ce-subject"
	headerSpecVersion = "ce-specversion"
	headerContentType = "content-type"

	specVersion = "1.0"
	contentType = "application/protobuf"
)

type publisher struct{ js jetstream.JetStream }

// NewPublisher publishes events to the stream of their subject. Publish returns after the broker has stored the event.
// The streams must exist, see EnsureStreams.
func NewPublisher(nc *nats.Conn) outbox.Publisher {
	js, err := jetstream.New(nc)
	if err != nil {
		return failing{fmt.Errorf("bus: %w", err)}
	}
	return publisher{js: js}
}

// failing is the publisher of a connection that cannot be used.
type failing struct{ err error }

// Publish implements outbox.Publisher.
func (f failing) Publish(context.Context, outbox.Event) error { return f.err }

// Publish implements outbox.Publisher.
func (p publisher) Publish(ctx context.Context, e outbox.Event) error {
	stream, err := streamOf(e.Subject)
	if err != nil {
		return err
	}
	msg := &nats.Msg{Subject: e.Subject, Data: e.Payload, Header: headers(e)}
	_, err = p.js.PublishMsg(ctx, msg, jetstream.WithMsgID(e.ID), jetstream.WithExpectStream(stream))
	if err != nil {
		return fmt.Errorf("bus: publish to %s: %w", stream, err)
	}
	return nil // a duplicate within the broker's window is acknowledged as well
}

func headers(e outbox.Event) nats.Header {
	h := nats.Header{}
	for k, v := range e.Headers {
		if !reserved(k) {
			h[k] = []string{v}
		}
	}
	service := strings.SplitN(e.Subject, ".", 3)[1]
	for k, v := range map[string]string{
		headerID: e.ID, headerSource: "//rondeau.internal/" + service, headerType: e.Subject, headerSubject: e.Resource,
		headerTime: e.Time.UTC().Format(time.RFC3339Nano), headerSpecVersion: specVersion, headerContentType: contentType,
	} {
		h[k] = []string{v}
	}
	return h
}

// reserved says whether a header belongs to the protocol and not to the event.
func reserved(key string) bool {
	k := strings.ToLower(key)
	return strings.HasPrefix(k, "ce-") || strings.HasPrefix(k, "nats-") || k == headerContentType
}

// eventOf reads an event from a message of the stream.
func eventOf(msg jetstream.Msg) (outbox.Event, error) {
	h := msg.Headers()
	get := func(k string) string {
		if v := h[k]; len(v) > 0 {
			return v[0]
		}
		return ""
	}
	e := outbox.Event{ID: get(headerID), Subject: msg.Subject(), Resource: get(headerSubject), Payload: msg.Data(), Headers: map[string]string{}}
	for k, v := range h {
		if !reserved(k) && len(v) > 0 {
			e.Headers[k] = v[0]
		}
	}
	if e.ID == "" {
		return e, fmt.Errorf("bus: the message on %s has no %s header", msg.Subject(), headerID)
	}
	t, err := time.Parse(time.RFC3339Nano, get(headerTime))
	if err != nil {
		return e, fmt.Errorf("bus: the %s header of event %s: %w", headerTime, e.ID, err)
	}
	e.Time = t.UTC()
	return e, nil
}
