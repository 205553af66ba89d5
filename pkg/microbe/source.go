package microbe

// Basis says how a number of this package is known.
type Basis uint8

// The ways a number can be known.
const (
	// Read in the source named, or in the abstract of it, at the address given.
	Read Basis = iota
	// Reproduced was read in a copy or a collection that names the original.
	Reproduced
	// FromMemory of the source named; confirm before it becomes a limit.
	FromMemory
	// Calibrated against published experiments, which are named.
	Calibrated
	// Chosen on the cautious side, or for lack of a published value.
	Chosen
)

// String returns the English words.
func (b Basis) String() string {
	switch b {
	case Read:
		return "read"
	case Reproduced:
		return "read in a reproduction"
	case FromMemory:
		return "from memory"
	case Calibrated:
		return "calibrated"
	default:
		return "chosen"
	}
}

// Source of a model, a constant or a table.
type Source struct {
	// Citation of the original.
	Citation string
	// Where it was read; empty when it was not.
	Where string
	// Basis of the numbers.
	Basis Basis
}

// String returns the citation, how it is known, and where.
func (s Source) String() string {
	text := s.Citation + " (" + s.Basis.String()
	if s.Where != "" {
		text += ", " + s.Where
	}
	return text + ")"
}
