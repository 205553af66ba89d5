//go:build integration

package harness

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/testenv"
)

func TestTheComposeFileOfTheSuiteIsUnderstoodWhole(t *testing.T) {
	c, err := readComposition(filepath.Join(testenv.RepoRoot(), "deploy", "compose.yaml"), map[string]string{"RONDEAU_TAG": "x"})
	if err != nil {
		t.Fatal(err)
	}
	order, err := c.order()
	if err != nil {
		t.Fatal(err)
	}
	for _, service := range Services() {
		s := c.Services[service]
		if s.Image != "rondeau:x" || !slices.Equal(s.Command[:2], []string{"serve", service}) || s.Restart == "" {
			t.Errorf("%s: %+v", service, s)
		}
		for on := range s.DependsOn {
			if slices.Index(order, on) > slices.Index(order, service) {
				t.Errorf("%s starts before %s", service, on)
			}
		}
		if !slices.Contains(strings.Fields(c.Services["postgres"].Environment["RONDEAU_DATABASES"]), service) {
			t.Errorf("%s has no database", service)
		}
	}
	if len(order) != len(Services())+3 {
		t.Errorf("services %v", order)
	}
}

func TestAComposeFileThatTheHarnessWouldNotHonourIsRefused(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"a key it does not know", "services:\n  a: {image: i, privileged: true}\n", "privileged"},
		{"a top key it does not know", "services:\n  a: {image: i}\nconfigs: {x: y}\n", "configs"},
		{"a circle", "services:\n  a: {image: i, depends_on: {b: {condition: service_started}}}\n  b: {image: i, depends_on: {a: {condition: service_started}}}\n", "circle"},
		{"a condition it does not know", "services:\n  a: {image: i, depends_on: {b: {condition: service_healthy}}}\n  b: {image: i}\n", "service_healthy"},
		{"a volume that is not declared", "services:\n  a: {image: i, volumes: [\"v:/x\"]}\n", "not declared"},
		{"a port for the whole world", "services:\n  a: {image: i, ports: [\"7443:7443\"]}\n", "beyond this machine"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "compose.yaml")
			err := os.WriteFile(path, []byte(tt.text), 0o644)
			if err != nil {
				t.Fatal(err)
			}
			_, err = readComposition(path, nil)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got %v", err)
			}
		})
	}
}
