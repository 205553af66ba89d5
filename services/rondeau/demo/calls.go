package demo

import (
	"context"
	"errors"
	"fmt"
	"path"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
)

// caller makes the calls of all people: it gives each mutation a request id, counts, and repeats what was lost because a
// service was away. A repeated call carries the same request id, so it has no second effect.
type caller struct {
	conns    Conns
	prefix   string
	patience time.Duration
	desks    map[auth.Principal]*desk
	counts   map[string]int
	retries  int
	sequence int
}

func newCaller(o Options) *caller {
	return &caller{
		conns: o.Conns, prefix: fmt.Sprintf("demo-%d-%d", o.Seed, o.Start.Unix()), patience: o.Patience,
		desks: map[auth.Principal]*desk{}, counts: map[string]int{},
	}
}

// desk is the services as one person reaches them.
type desk struct {
	planning   planningpb.PlanningServiceClient
	inventory  inventorypb.InventoryServiceClient
	scheduling schedulingpb.SchedulingServiceClient
	foodsafety foodsafetypb.FoodSafetyServiceClient
	conns      func(service string) grpc.ClientConnInterface
}

// as is the desk of a person.
func (c *caller) as(p auth.Principal) *desk {
	if d := c.desks[p]; d != nil {
		return d
	}
	conns := func(service string) grpc.ClientConnInterface { return &line{caller: c, person: p, service: service} }
	d := &desk{
		planning:   planningpb.NewPlanningServiceClient(conns("planning")),
		inventory:  inventorypb.NewInventoryServiceClient(conns("inventory")),
		scheduling: schedulingpb.NewSchedulingServiceClient(conns("scheduling")),
		foodsafety: foodsafetypb.NewFoodSafetyServiceClient(conns("foodsafety")),
		conns:      conns,
	}
	c.desks[p] = d
	return d
}

// line is a connection of one person to one service. It asks for the connection at each call: a service that was killed
// may come back under another one.
type line struct {
	caller  *caller
	person  auth.Principal
	service string
}

func (l *line) conn() grpc.ClientConnInterface { return l.caller.conns(l.person)(l.service) }

// Invoke makes a unary call and repeats it while the service is away.
func (l *line) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	l.caller.identify(args)
	return l.caller.insist(ctx, method, func() error { return l.conn().Invoke(ctx, method, args, reply, opts...) })
}

// NewStream opens a stream. Whoever uses it repeats the whole stream: see insist.
func (l *line) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	return l.conn().NewStream(ctx, desc, method, opts...)
}

// identify gives a mutation without a request id one of the story's own.
func (c *caller) identify(args any) {
	m, ok := args.(proto.Message)
	if !ok {
		return
	}
	field := m.ProtoReflect().Descriptor().Fields().ByName("request_id")
	if field == nil || field.Kind() != protoreflect.StringKind || m.ProtoReflect().Get(field).String() != "" {
		return
	}
	c.sequence++
	m.ProtoReflect().Set(field, protoreflect.ValueOfString(fmt.Sprintf("%s-%d", c.prefix, c.sequence)))
}

// insist repeats a call while its service is away, up to the patience of the options, and counts it once.
func (c *caller) insist(ctx context.Context, method string, call func() error) error {
	c.counts[path.Base(method)]++
	limit := time.Now().Add(c.patience)
	for pause := 20 * time.Millisecond; ; pause = min(2*pause, time.Second) {
		err := call()
		if err == nil || !away(err) || time.Now().After(limit) {
			return rpc.FromStatus(err)
		}
		c.retries++
		select {
		case <-ctx.Done():
			return errors.Join(ctx.Err(), rpc.FromStatus(err))
		case <-time.After(pause):
		}
	}
}

// away says whether a call failed because the service, or its database, was not there; its effect is then unknown, and
// the request id makes the repetition safe.
func away(err error) bool {
	if status.Code(err) == codes.Unavailable || apierr.KindOf(err) == apierr.KindUnavailable {
		return true
	}
	switch apierr.ReasonOf(rpc.FromStatus(err)) {
	case rpc.OutcomeUnknown, rpc.Conflict, rpc.Unreachable, rpc.DatabaseDown:
		return true
	}
	return false
}

// Bounds of waiting for the effect of an event that travels between services. They are real time.
const (
	arrivalTime  = 45 * time.Second
	firstPause   = 3 * time.Millisecond
	longestPause = 40 * time.Millisecond
)

// arrive waits until something that another service learns by an event is so. fn says what is missing, "" when nothing is.
func arrive(ctx context.Context, what string, fn func(ctx context.Context) (missing string, err error)) error {
	limit := time.Now().Add(arrivalTime)
	for pause := firstPause; ; pause = min(2*pause, longestPause) {
		missing, err := fn(ctx)
		if err != nil {
			return fmt.Errorf("wait for %s: %w", what, err)
		}
		if missing == "" {
			return nil
		}
		if time.Now().After(limit) {
			return fmt.Errorf("%s did not arrive within %s: %s", what, arrivalTime, missing)
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for %s: %w", what, ctx.Err())
		case <-time.After(pause):
		}
	}
}

// all reads every page of a list.
func all[T any](fetch func(token string) ([]T, string, error)) ([]T, error) {
	var out []T
	token := ""
	for {
		page, next, err := fetch(token)
		if err != nil {
			return nil, err
		}
		out = append(out, page...)
		if next == "" {
			return out, nil
		}
		token = next
	}
}

// idOf is the last part of a resource name.
func idOf(name string) string { return name[strings.LastIndex(name, "/")+1:] }
