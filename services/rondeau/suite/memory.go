package suite

import (
	"os"
	"runtime/debug"
)

// The garbage collector of a program that serves.
const (
	collectPercent = 400       // live memory may grow fivefold before it is collected
	collectLimit   = 400 << 20 // bytes in all from which it is collected sooner, below the chart's 512 MiB
)

// TuneMemory trades some memory for even answers. A service keeps some tens of megabytes alive, so with the runtime's own
// setting it collects several times a second under load, and the slowest one in a hundred reads waits for that. Past the limit
// the runtime collects as often as it must, at the cost of up to half the processor. Whoever sets GOGC or GOMEMLIMIT keeps
// that setting.
func TuneMemory() {
	if os.Getenv("GOGC") != "" || os.Getenv("GOMEMLIMIT") != "" {
		return
	}
	debug.SetGCPercent(collectPercent)
	debug.SetMemoryLimit(collectLimit)
}
