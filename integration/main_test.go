//go:build integration

package integration

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"rondeau.internal/integration/harness"
)

func TestMain(m *testing.M) { os.Exit(harness.Main(m)) }

// seedEnv repeats the chances of a failed test.
const seedEnv = "RONDEAU_SEED"

// chance is the source of everything that a test leaves to chance.
func chance(t *testing.T) *rand.Rand {
	t.Helper()
	seed := uint64(time.Now().UnixNano()) //nolint:forbidigo // another seed at each run is what is wanted
	if text := os.Getenv(seedEnv); text != "" {
		given, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatalf("%s: %v", seedEnv, err)
		}
		seed = given
	}
	t.Logf("%s=%d", seedEnv, seed)
	return rand.New(rand.NewPCG(seed, 0))
}
