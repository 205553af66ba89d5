package testenv_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/testenv"
)

func TestRepoRootHoldsTheModule(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(testenv.RepoRoot(), "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(b), "module rondeau.internal") {
		t.Errorf("go.mod begins with %.40q", b)
	}
}

func TestRequiredReadsTheList(t *testing.T) {
	t.Setenv(testenv.RequireEnv, "docker, postgres")
	if !testenv.Required("docker") || !testenv.Required("postgres") || testenv.Required("chromium") {
		t.Error("list is not read")
	}
	t.Setenv(testenv.RequireEnv, "all")
	if !testenv.Required("chromium") {
		t.Error("all does not mean all")
	}
}

// outcome records how Missing ends a test.
type outcome struct {
	testing.TB
	skipped, failed bool
}

func (o *outcome) Helper()               {}
func (o *outcome) Skipf(string, ...any)  { o.skipped = true }
func (o *outcome) Fatalf(string, ...any) { o.failed = true }

func TestMissingSkipsUnlessRequired(t *testing.T) {
	t.Setenv(testenv.RequireEnv, "")
	o := &outcome{TB: t}
	testenv.Require(o, "no-such-thing")
	if !o.skipped || o.failed {
		t.Errorf("not required: %+v", o)
	}
	t.Setenv(testenv.RequireEnv, "no-such-thing")
	o = &outcome{TB: t}
	testenv.Require(o, "no-such-thing")
	if !o.failed {
		t.Errorf("required: %+v", o)
	}
}

func TestEventuallyFailsWithTheLastError(t *testing.T) {
	o := &outcome{TB: t}
	calls := 0
	testenv.Eventually(o, time.Second, func() error {
		if calls++; calls < 3 {
			return errors.New("not yet")
		}
		return nil
	})
	if o.failed || calls != 3 {
		t.Errorf("calls %d failed %v", calls, o.failed)
	}
}
