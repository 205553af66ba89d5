package outbox

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
)

// NewEvent states a fact as a proto message. Equal messages make equal payloads.
func NewEvent(subject, resource string, at time.Time, message proto.Message) (Event, error) {
	payload, err := proto.MarshalOptions{Deterministic: true}.Marshal(message)
	if err != nil {
		return Event{}, fmt.Errorf("encode %s of %s: %w", subject, resource, err)
	}
	return Event{Subject: subject, Resource: resource, Time: at, Payload: payload}, nil
}

// Read decodes the payload of an event into message, which it hands to fn.
func Read[M proto.Message](e Event, message M, fn func(M) error) error {
	if err := proto.Unmarshal(e.Payload, message); err != nil {
		return fmt.Errorf("decode %s %s: %w", e.Subject, e.ID, err)
	}
	return fn(message)
}
