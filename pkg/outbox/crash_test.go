package outbox_test

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"rondeau.internal/pkg/fault"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

func TestNoFactIsLostOrDoubledByACrashAtAnyPoint(t *testing.T) {
	if testing.Short() {
		t.Skip("builds a program")
	}
	bin := buildVictim(t)
	points := []string{
		"outbox.after_append", "outbox.before_publish", "outbox.after_publish", "inbox.before_commit", "inbox.after_commit", "tx.before_commit", "tx.after_commit",
	}
	for _, p := range points {
		t.Run(p, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			db, log := filepath.Join(dir, "v.db"), filepath.Join(dir, "published")
			crashes := 0
			for n := 1; ; n += 4 { // a later pass each time, so that every run gets further
				cmd := exec.Command(bin, db, log)
				cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%s:%d", fault.Env, p, n))
				out, err := cmd.CombinedOutput()
				var exit *exec.ExitError
				if errors.As(err, &exit) && exit.ExitCode() == fault.ExitStatus {
					crashes++
					continue
				}
				if err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
				break
			}
			if crashes == 0 {
				t.Fatal("the program never crashed")
			}
			checkVictim(t, db, log)
			t.Logf("%d crashes", crashes)
		})
	}
}

func buildVictim(t *testing.T) string {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "victim")
	if out, err := exec.Command("go", "build", "-tags", "faultpoints", "-o", bin, "./testdata/victim").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return bin
}

// checkVictim: 20 lots, each with exactly one event, each event published at least once in order of insertion and applied once.
func checkVictim(t *testing.T, path, log string) {
	t.Helper()
	db := sqldbtest.Open(t, path)
	count := func(q string) (n int) {
		if err := db.Conn(t.Context()).QueryRowContext(t.Context(), q).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	for q, want := range map[string]int{
		`SELECT COUNT(*) FROM lots`: 20, `SELECT COUNT(*) FROM outbox`: 20, `SELECT COUNT(DISTINCT resource) FROM outbox`: 20,
		`SELECT COUNT(*) FROM effects`: 20, `SELECT COUNT(DISTINCT event_id) FROM effects`: 20, `SELECT COUNT(*) FROM inbox`: 20,
	} {
		if got := count(q); got != want {
			t.Errorf("%s: %d, want %d", q, got, want)
		}
	}
	f, err := os.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	seen := map[string]bool{}
	last := ""
	for s := bufio.NewScanner(f); s.Scan(); {
		_, resource, _ := strings.Cut(s.Text(), " ")
		if seen[resource] {
			continue
		}
		seen[resource] = true
		if resource < last {
			t.Errorf("%s was published after %s", resource, last)
		}
		last = resource
	}
	if len(seen) != 20 {
		t.Errorf("%d lots were published, want 20", len(seen))
	}
}
