package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// usageError is a mistake in the command line itself; the program ends with status 2.
type usageError struct{ text string }

func (e *usageError) Error() string { return e.text }

func usagef(format string, args ...any) error { return &usageError{fmt.Sprintf(format, args...)} }

// Exit statuses, so that scripts can tell what went wrong.
const (
	exitFailed      = 1 // the suite refused or could not do it
	exitUsage       = 2 // the command line is wrong
	exitUnreachable = 3 // no suite answered
)

// report prints an error for the person at the terminal and gives the exit status.
func report(w io.Writer, err error) int {
	var usage *usageError
	if errors.As(err, &usage) {
		fmt.Fprintf(w, "rondeau: %s\n", usage.text)
		return exitUsage
	}
	var refused *apierr.Error
	if !errors.As(err, &refused) {
		fmt.Fprintf(w, "rondeau: %v\n", err)
		return exitFailed
	}
	fmt.Fprintf(w, "rondeau: %s\n", refused.Message)
	for _, violation := range refused.Violations {
		field := violation.Field
		if field == "" || strings.Contains(refused.Message, violation.Description) {
			continue
		}
		fmt.Fprintf(w, "  %s: %s\n", field, violation.Description)
	}
	switch refused.Kind {
	case apierr.KindUnavailable:
		fmt.Fprintln(w, "  Is the suite running? Start it with: rondeau up")
		return exitUnreachable
	case apierr.KindUnauthenticated:
		fmt.Fprintln(w, "  Name the folder of the suite with --data, or give a token with --token-file.")
	case apierr.KindPermissionDenied:
		fmt.Fprintln(w, "  Act in another role with --as ROLE (manager, cook, receiver, outlet, safety_lead, auditor).")
	}
	if refused.Reason != "" {
		fmt.Fprintf(w, "  (%s)\n", refused.Reason)
	}
	return exitFailed
}
