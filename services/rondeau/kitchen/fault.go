package kitchen

import (
	"fmt"
	"sort"
	"strings"
)

// Fault is one thing wrong in a file, where it stands and what to do.
type Fault struct {
	File         string
	Line, Column int
	Path         string // such as formulas.demi-glace.steps[2].reduce
	Text         string
}

func (f Fault) String() string {
	where := fmt.Sprintf("%s:%d:%d", f.File, f.Line, f.Column)
	if f.Path == "" {
		return where + ": " + f.Text
	}
	return where + ": " + f.Path + ": " + f.Text
}

// Faults is the error of a file with at least one fault, in the order of the file.
type Faults []Fault

func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.String()
	}
	return strings.Join(lines, "\n")
}

func (f Faults) sorted() Faults {
	sort.SliceStable(f, func(i, j int) bool {
		if f[i].File != f[j].File {
			return f[i].File < f[j].File
		}
		if f[i].Line != f[j].Line {
			return f[i].Line < f[j].Line
		}
		return f[i].Column < f[j].Column
	})
	return f
}

// closest names the candidate nearest to a misspelt word, or "".
func closest(word string, candidates []string) string {
	best, least := "", len(word)/3+2
	for _, candidate := range candidates {
		distance := edits(word, candidate)
		if distance < least {
			best, least = candidate, distance
		}
	}
	return best
}

// edits is the Levenshtein distance of two short words.
func edits(a, b string) int {
	previous := make([]int, len(b)+1)
	for j := range previous {
		previous[j] = j
	}
	for i := range len(a) {
		current := make([]int, len(b)+1)
		current[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			current[j+1] = min(previous[j]+cost, previous[j+1]+1, current[j]+1)
		}
		previous = current
	}
	return previous[len(b)]
}
