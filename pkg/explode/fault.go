package explode

import (
	"fmt"
	"strings"
)

// Fault is one thing wrong with a Problem.
type Fault struct {
	// Path leads to the value, e.g. "nodes[3] (brown stock).inputs[0].node".
	Path string
	// Message says what is wrong and what would be right.
	Message string
}

// ProblemError is what Solve returns for a Problem that cannot be planned. It holds
// every fault, not only the first.
type ProblemError struct{ Faults []Fault }

// shownFaults limits the text of an error; Faults holds all of them.
const shownFaults = 20

// Error lists the faults, one a line; after the twentieth only their number.
func (e *ProblemError) Error() string {
	var b strings.Builder
	if len(e.Faults) == 1 {
		fmt.Fprintf(&b, "the problem has a fault: %s: %s", e.Faults[0].Path, e.Faults[0].Message)
		return b.String()
	}
	fmt.Fprintf(&b, "the problem has %d faults:", len(e.Faults))
	for i, f := range e.Faults {
		if i == shownFaults {
			fmt.Fprintf(&b, "\n  and %d more", len(e.Faults)-i)
			break
		}
		fmt.Fprintf(&b, "\n  %s: %s", f.Path, f.Message)
	}
	return b.String()
}
