//go:build integration

package harness

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// composition is what the harness understands of a compose file. Another key is an error, so that nothing in the file
// goes untested unnoticed. Keys that begin with x- only hold text for merging.
type composition struct {
	Name       string                       `yaml:"name"`
	Services   map[string]composedService   `yaml:"services"`
	Volumes    map[string]map[string]string `yaml:"volumes"`
	Extensions map[string]any               `yaml:",inline"`
}

// composedService is one service of a compose file.
type composedService struct {
	Image       string                `yaml:"image"`
	Command     []string              `yaml:"command"`
	Environment map[string]string     `yaml:"environment"`
	Volumes     []string              `yaml:"volumes"`
	DependsOn   map[string]dependency `yaml:"depends_on"`
	Expose      []string              `yaml:"expose"`
	Ports       []string              `yaml:"ports"`
	StopSignal  string                `yaml:"stop_signal"`
	Restart     string                `yaml:"restart"` // left out by the harness: tests decide when something comes back
}

// dependency says what must be so before a service starts.
type dependency struct {
	Condition string `yaml:"condition"`
}

const (
	whenStarted = "service_started"
	whenDone    = "service_completed_successfully"
)

var variable = regexp.MustCompile(`\$\{([A-Z_]+):-([^}]*)\}`)

// readComposition reads a compose file with the given variables.
func readComposition(path string, variables map[string]string) (*composition, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	text = variable.ReplaceAllFunc(text, func(m []byte) []byte {
		parts := variable.FindSubmatch(m)
		if value, ok := variables[string(parts[1])]; ok {
			return []byte(value)
		}
		return parts[2]
	})
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	var c composition
	err = d.Decode(&c)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	err = c.check()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &c, nil
}

// check reports what the harness would not run as Docker's own tool does.
func (c *composition) check() error {
	var faults []error
	for key := range c.Extensions {
		if !strings.HasPrefix(key, "x-") {
			faults = append(faults, fmt.Errorf("key %s is not understood", key))
		}
	}
	for name, s := range c.Services {
		if s.Image == "" {
			faults = append(faults, fmt.Errorf("%s has no image", name))
		}
		for on, d := range s.DependsOn {
			if _, known := c.Services[on]; !known {
				faults = append(faults, fmt.Errorf("%s depends on %s, which is not there", name, on))
			}
			if d.Condition != whenStarted && d.Condition != whenDone {
				faults = append(faults, fmt.Errorf("%s depends on %s: condition %q is not understood", name, on, d.Condition))
			}
		}
		for _, v := range s.Volumes {
			m, err := parseMount(v)
			if err != nil {
				faults = append(faults, fmt.Errorf("%s: %w", name, err))
			} else if _, known := c.Volumes[m.volume]; !known {
				faults = append(faults, fmt.Errorf("%s: volume %s is not declared", name, m.volume))
			}
		}
		for _, p := range s.Ports {
			if !strings.HasPrefix(p, "127.0.0.1:") {
				faults = append(faults, fmt.Errorf("%s: port %s is published beyond this machine", name, p))
			}
		}
	}
	if _, err := c.order(); err != nil {
		faults = append(faults, err)
	}
	return errors.Join(faults...)
}

// mount is a named volume at a place of a container.
type mount struct {
	volume, target string
	readOnly       bool
}

func parseMount(text string) (mount, error) {
	parts := strings.Split(text, ":")
	switch {
	case len(parts) == 2:
		return mount{volume: parts[0], target: parts[1]}, nil
	case len(parts) == 3 && parts[2] == "ro":
		return mount{volume: parts[0], target: parts[1], readOnly: true}, nil
	}
	return mount{}, fmt.Errorf("volume %q is not NAME:TARGET or NAME:TARGET:ro", text)
}

// containerPorts are the ports of the container that others may reach.
func (s composedService) containerPorts() []string {
	out := slices.Clone(s.Expose)
	for _, p := range s.Ports {
		out = append(out, p[strings.LastIndex(p, ":")+1:])
	}
	return out
}

// order is an order of start that respects the dependencies.
func (c *composition) order() ([]string, error) {
	var names, out []string
	for name := range c.Services {
		names = append(names, name)
	}
	slices.Sort(names)
	for len(out) < len(names) {
		before := len(out)
		for _, name := range names {
			ready := !slices.Contains(out, name)
			for on := range c.Services[name].DependsOn {
				ready = ready && slices.Contains(out, on)
			}
			if ready {
				out = append(out, name)
			}
		}
		if len(out) == before {
			return nil, fmt.Errorf("services depend on each other in a circle; only %v can start", out)
		}
	}
	return out, nil
}
