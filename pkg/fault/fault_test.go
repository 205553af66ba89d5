package fault_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"rondeau.internal/pkg/fault"
)

func build(t *testing.T, args ...string) string {
	t.Helper()
	if testing.Short() {
		t.Skip("builds a program")
	}
	bin := filepath.Join(t.TempDir(), "prog")
	args = append([]string{"build", "-o", bin}, append(args, "./testdata/passes")...)
	if out, err := exec.Command("go", args...).CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return bin
}

func TestPointDoesNothingInAnOrdinaryBuild(t *testing.T) {
	cmd := exec.Command(build(t))
	cmd.Env = append(os.Environ(), fault.Env+"=x")
	out, err := cmd.CombinedOutput()
	if err != nil || strings.Count(string(out), "passed") != 3 {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestArmedPointEndsTheProcessAtTheNamedPass(t *testing.T) {
	bin := build(t, "-tags", "faultpoints")
	tests := []struct {
		name, env      string
		status, passed int
		deferred       bool
	}{
		{"not armed runs to the end", "", 0, 3, true},
		{"another name runs to the end", "y", 0, 3, true},
		{"first pass is the default", "x", fault.ExitStatus, 0, false},
		{"exit at the third pass", "x:3", fault.ExitStatus, 2, false},
		{"beyond the last pass runs to the end", "x:4", 0, 3, true},
		{"panic runs deferred calls", "x:2:panic", 2, 1, true},
		{"a wrong count is refused", "x:0", 2, 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			cmd := exec.Command(bin)
			cmd.Env = append(os.Environ(), fault.Env+"="+tt.env)
			out, err := cmd.CombinedOutput()
			status := 0
			var exit *exec.ExitError
			if errors.As(err, &exit) {
				status = exit.ExitCode()
			} else if err != nil {
				t.Fatal(err)
			}
			if status != tt.status || strings.Count(string(out), "passed") != tt.passed || strings.Contains(string(out), "deferred") != tt.deferred {
				t.Errorf("status %d, output:\n%s", status, out)
			}
		})
	}
}
