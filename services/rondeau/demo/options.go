package demo

import (
	_ "embed"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/services/rondeau/kitchen"
)

//go:embed quayside.yaml
var quayside []byte

// Kitchen is the text of the demo's kitchen file.
func Kitchen() []byte { return append([]byte(nil), quayside...) }

// Conns gives the connection to a service ("planning", "inventory", "scheduling", "foodsafety") that acts as a person.
type Conns func(p auth.Principal) func(service string) grpc.ClientConnInterface

// Options say in which kitchen and how the week is lived through.
type Options struct {
	// Conns reaches the services. Required.
	Conns Conns
	// SetTime moves the clock that the services read. It is called with growing times. Required by Run.
	SetTime func(time.Time) error
	// Start is the first moment, best a Monday at 04:00 in the kitchen's zone. Zero means DefaultStart.
	Start time.Time
	// Days is the length of the story, 1 to 14; 0 means 7.
	Days int
	// Seed makes every draw. The same seed gives the same story.
	Seed uint64
	// KitchenFile is the text of a kitchen file; nil means the embedded one. The story names items of the embedded one
	// where it receives opening stock; items that a file does not have are left out.
	KitchenFile []byte
	// Progress is told what happens, one line at a time; nil is silent.
	Progress func(string)
	// Hook is called before each step of the story with its name; an error ends the story. nil does nothing.
	Hook func(step string) error
	// Patience is how long a call is repeated while a service does not answer; 0 means 30 s.
	Patience time.Duration
	// SolveIterations is the budget of one schedule; 0 means 150.
	SolveIterations int32
}

// DefaultStart is a Monday at 04:00 in New York, in a week without a change of clocks.
func DefaultStart() time.Time { return time.Date(2026, time.March, 16, 8, 0, 0, 0, time.UTC) }

const (
	defaultPatience   = 30 * time.Second
	defaultIterations = 150
)

// complete fills defaults in and reads the kitchen file.
func (o Options) complete() (Options, *kitchen.File, error) {
	if o.Conns == nil {
		return o, nil, errors.New("demo: Conns is needed to reach the services")
	}
	if o.Start.IsZero() {
		o.Start = DefaultStart()
	}
	if o.Days == 0 {
		o.Days = 7
	}
	if o.Days < 1 || o.Days > 14 {
		return o, nil, fmt.Errorf("demo: %d days asked for; a story has 1 to 14", o.Days)
	}
	if o.KitchenFile == nil {
		o.KitchenFile = quayside
	}
	if o.Progress == nil {
		o.Progress = func(string) {}
	}
	if o.Hook == nil {
		o.Hook = func(string) error { return nil }
	}
	if o.Patience == 0 {
		o.Patience = defaultPatience
	}
	if o.SolveIterations == 0 {
		o.SolveIterations = defaultIterations
	}
	file, err := kitchen.Parse("kitchen.yaml", o.KitchenFile)
	if err != nil {
		return o, nil, fmt.Errorf("demo: kitchen file: %w", err)
	}
	return o, file, nil
}
