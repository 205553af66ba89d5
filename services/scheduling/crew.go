package scheduling

import (
	"fmt"
	"sort"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Crew is a number of people who work on the same shifts and can stand in for each other.
type Crew struct {
	Name        string
	Meta        `json:"-"`
	DisplayName string
	Headcount   int
	Calendar    string
	// VesselClasses at which the crew works; none means all.
	VesselClasses []string
	Absences      []Absence
	Active        bool
}

// Absence is a half-open time in which fewer people are there.
type Absence struct {
	Start, End time.Time
	Headcount  int
	Note       string
}

// Check reports every fault of the crew.
func (c Crew) Check() error {
	err := apierr.InvalidArgument(CrewInvalid, "crew %s cannot be used as it is; correct the fields named", c.Name).With("crew", c.Name)
	if c.Headcount < 1 {
		err.WithViolation("crew.headcount", "must be at least 1")
	}
	for i, a := range c.Absences {
		field := fmt.Sprintf("crew.absences[%d]", i)
		if !a.Start.Before(a.End) {
			err.WithViolation(field+".end_time", "must lie after start_time")
		}
		if a.Headcount > c.Headcount {
			err.WithViolation(field+".headcount", "is more than the crew of %d", c.Headcount)
		}
	}
	if len(err.Violations) > 0 {
		return err
	}
	return sameSite(c.Name, "crew.calendar", c.Calendar)
}

// WorksAt says whether the crew works at a class of vessels; the empty class is a table.
func (c Crew) WorksAt(class string) bool {
	if !c.Active {
		return false
	}
	if len(c.VesselClasses) == 0 || class == "" {
		return true
	}
	for _, own := range c.VesselClasses {
		if own == class {
			return true
		}
	}
	return false
}

// headcountLevel is the headcount of a crew from a moment on.
type headcountLevel struct {
	At    time.Time
	Count int
}

// Levels lists how many people the crew has, as changes over time after from; the first number holds at from itself.
// Absences that overlap add up; the count is never below zero.
func (c Crew) levels(from time.Time) (atStart int, changes []headcountLevel) {
	var moments []time.Time
	for _, a := range c.Absences {
		for _, t := range []time.Time{a.Start, a.End} {
			if t.After(from) {
				moments = append(moments, t)
			}
		}
	}
	sort.Slice(moments, func(i, j int) bool { return moments[i].Before(moments[j]) })
	count := func(t time.Time) int {
		n := c.Headcount
		for _, a := range c.Absences {
			if !t.Before(a.Start) && t.Before(a.End) {
				n -= a.Headcount
			}
		}
		return max(n, 0)
	}
	atStart = count(from)
	previous := atStart
	for _, t := range moments {
		if n := count(t); n != previous {
			changes = append(changes, headcountLevel{At: t, Count: n})
			previous = n
		}
	}
	return atStart, changes
}
