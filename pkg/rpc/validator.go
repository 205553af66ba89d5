package rpc

import (
	"fmt"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/clock"
)

// clockValidator evaluates rules that mention "now" against the service's clock.
type clockValidator struct {
	protovalidate.Validator
	now protovalidate.ValidationOption
}

func newValidator(c clock.Clock) (protovalidate.Validator, error) {
	v, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("validator: %w", err)
	}
	return clockValidator{Validator: v, now: protovalidate.WithNowFunc(func() *timestamppb.Timestamp { return timestamppb.New(c.Now()) })}, nil
}

// Validate implements protovalidate.Validator.
func (v clockValidator) Validate(m proto.Message, options ...protovalidate.ValidationOption) error {
	return v.Validator.Validate(m, append(options, v.now)...)
}
