// Package testenv tells tests where the repository is and which parts of the outside world they may use.
//
// A test that needs something a bare machine lacks asks [Require]. Without it the test is skipped, loudly; when the
// environment variable RONDEAU_REQUIRE lists it (comma separated, or "all"), its absence is a failure, so that a build
// machine cannot pass by skipping.
package testenv

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// RequireEnv names the environment variable that turns skips into failures.
const RequireEnv = "RONDEAU_REQUIRE"

// PostgresEnv names the environment variable with the URL of a PostgreSQL server on which tests may create databases.
const PostgresEnv = "RONDEAU_POSTGRES_URL"

// RepoRoot is the folder that holds go.mod.
func RepoRoot() string {
	if _, file, _, ok := runtime.Caller(0); ok && filepath.IsAbs(file) {
		if root := findRoot(filepath.Dir(file)); root != "" {
			return root
		}
	}
	dir, err := os.Getwd() // built with -trimpath: tests run in their package folder
	if err != nil {
		return ""
	}
	return findRoot(dir)
}

func findRoot(dir string) string {
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return ""
		}
		dir = parent
	}
}

// Required says whether RONDEAU_REQUIRE lists what.
func Required(what string) bool {
	list := strings.FieldsFunc(os.Getenv(RequireEnv), func(r rune) bool { return r == ',' || r == ' ' })
	return slices.Contains(list, what) || slices.Contains(list, "all")
}

// Missing ends the test: as failed when RONDEAU_REQUIRE lists what, else as skipped.
func Missing(t testing.TB, what, why string) {
	t.Helper()
	if Required(what) {
		t.Fatalf("%s is required (%s) but missing: %s", what, RequireEnv, why)
	}
	t.Skipf("SKIPPED for want of %s: %s; set %s=%s to make this a failure", what, why, RequireEnv, what)
}

// Require ends the test unless what ("docker", "chromium", "postgres" or "shared") can be used here. It returns true
// when it returns.
func Require(t testing.TB, what string) bool {
	t.Helper()
	if why := probe(what); why != "" {
		Missing(t, what, why)
	}
	return true
}

// probe says why what cannot be used, or "".
func probe(what string) string {
	switch what {
	case "docker":
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		if out, err := exec.CommandContext(ctx, "docker", "info", "--format", "{{.ServerVersion}}").CombinedOutput(); err != nil {
			return fmt.Sprintf("docker info: %v %s", err, strings.TrimSpace(string(out)))
		}
		return ""
	case "chromium":
		if ChromiumPath() == "" {
			return "no chromium, chromium-browser or google-chrome in PATH"
		}
		return ""
	case "postgres":
		if os.Getenv(PostgresEnv) == "" && PostgresBin() == "" {
			return PostgresEnv + " is not set and no initdb in PATH or /usr/lib/postgresql/*/bin"
		}
		return ""
	case "shared":
		if _, err := os.Stat(sharedDir()); err != nil {
			return err.Error()
		}
		return ""
	}
	return "nobody knows how to look for it; known are docker, chromium, postgres, shared"
}

// ChromiumPath is the installed browser for page tests, or "".
func ChromiumPath() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	return ""
}

// PostgresBin is the folder of the installed PostgreSQL server programs, newest version first, or "".
func PostgresBin() string {
	if p, err := exec.LookPath("initdb"); err == nil {
		if p, err = filepath.EvalSymlinks(p); err == nil {
			return filepath.Dir(p)
		}
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(found) == 0 {
		return ""
	}
	slices.SortFunc(found, func(a, b string) int { return version(b) - version(a) })
	return filepath.Dir(found[0])
}

// version is the number in /usr/lib/postgresql/<version>/bin/initdb, 0 when it is none.
func version(path string) int {
	n := 0
	for _, r := range filepath.Base(filepath.Dir(filepath.Dir(path))) {
		if r < '0' || r > '9' {
			return n
		}
		n = n*10 + int(r-'0')
	}
	return n
}

func sharedDir() string { return filepath.Join(RepoRoot(), "..", "shared") }

// SharedDir is the folder of large reference data beside the repository. The test is skipped when there is none.
func SharedDir(t testing.TB) string {
	t.Helper()
	Require(t, "shared")
	return sharedDir()
}

// Eventually calls check until it returns nil, at most for the given time; then it fails with the last error.
func Eventually(t testing.TB, within time.Duration, check func() error) {
	t.Helper()
	deadline := time.Now().Add(within)
	wait := time.Millisecond
	for {
		err := check()
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("not within %s: %v", within, err)
		}
		time.Sleep(wait)
		wait = min(2*wait, 50*time.Millisecond)
	}
}
