//go:build integration

package harness

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/testenv"
)

// buildTags are those of all programs under test: crash points that do nothing until they are armed.
const buildTags = "faultpoints"

// buildTime is how long building may take on a machine that has built nothing yet.
const buildTime = 15 * time.Minute

// programs is the folder with the built programs of this test process.
var programs = sync.OnceValues(buildPrograms)

// builtIn is the folder that Main removes.
var builtIn string

// Main runs the tests of a package and removes what was built for them.
func Main(m *testing.M) int {
	code := m.Run()
	if builtIn != "" {
		err := os.RemoveAll(builtIn)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	return code
}

func buildPrograms() (string, error) {
	folder, err := os.MkdirTemp("", "rondeau-programs")
	if err != nil {
		return "", err
	}
	builtIn = folder
	return folder, errors.Join(
		build(filepath.Join(folder, "rondeau"), "./services/rondeau"),
		build(filepath.Join(folder, "nats-server"), "github.com/nats-io/nats-server/v2"),
	)
}

// build makes a program with the settings of the test itself, so that what the two share is compiled once.
func build(program, source string) error {
	return run(nil, "go", "build", "-tags", buildTags, "-o", program, source)
}

// imageTag is the tag of the images of this harness.
const imageTag = "test"

// images builds the images of the compose file.
var images = sync.OnceValue(func() error {
	return run([]string{"RONDEAU_BUILD_TAGS=" + buildTags}, "bash", "deploy/images.sh", imageTag)
})

func run(env []string, name string, args ...string) error {
	ctx, cancel := context.WithTimeout(context.Background(), buildTime) // shared by all tests of the process
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = testenv.RepoRoot()
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w\n%s", cmd, err, out)
	}
	return nil
}
