package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/services/rondeau/cli/view"
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

// report prints an error for the person at the terminal and gives the exit status. Names of the site are shortened as
// the commands take them.
func (a *app) report(w io.Writer, err error) int {
	if several, ok := err.(interface{ Unwrap() []error }); ok {
		status := exitFailed
		for _, one := range several.Unwrap() {
			status = max(status, a.report(w, one))
		}
		return status
	}
	var usage *usageError
	if errors.As(err, &usage) {
		fmt.Fprintf(w, "rondeau: %s\n", usage.text)
		return exitUsage
	}
	var refused *apierr.Error
	if !errors.As(err, &refused) {
		fmt.Fprintf(w, "rondeau: %s\n", a.says(err.Error()))
		return exitFailed
	}
	doing := "" // such as the line of a file
	if before, found := strings.CutSuffix(err.Error(), refused.Error()); found {
		doing = before
	}
	fmt.Fprintf(w, "rondeau: %s\n", a.says(doing+refused.Message))
	for _, violation := range refused.Violations {
		if violation.Field == "" || violation.Field == "request_id" || strings.Contains(refused.Message, violation.Description) {
			continue
		}
		fmt.Fprintf(w, "  %s\n", a.says(violation.Field+": "+violation.Description))
	}
	switch refused.Kind {
	case apierr.KindUnavailable:
		fmt.Fprintln(w, "  Is the suite running? Start it with: rondeau up")
		return exitUnreachable
	case apierr.KindUnauthenticated:
		fmt.Fprintln(w, "  Name the folder of the suite with --data, or give a token with --token-file.")
	case apierr.KindPermissionDenied:
		fmt.Fprintln(w, "  Act in another role with --as ROLE (manager, cook, receiver, outlet/ID, safety_lead, auditor).")
	}
	if refused.Reason != "" {
		fmt.Fprintf(w, "  (%s)\n", refused.Reason)
	}
	return exitFailed
}

var (
	method      = regexp.MustCompile(`/rondeau\.[a-z]+\.v1\.[A-Za-z]+/([A-Za-z]+)`)
	fieldPath   = regexp.MustCompile(`\b[a-z][a-z_0-9]*(\[\d+\])?(\.[a-z][a-z_0-9]*(\[\d+\])?)*: `)
	listElement = regexp.MustCompile(`\[(\d+)\]`)
	pattern     = regexp.MustCompile("does not match regex pattern `([^`]*)`")
	bounds      = regexp.MustCompile(`must be greater than or equal to (\S+) and less than or equal to (\S+)`)
	state       = regexp.MustCompile(`\b(is|are|was) [A-Z]+(_[A-Z]+)*\b`)
	named       = regexp.MustCompile(`\b([A-Za-z]+) ([A-Za-z]+)/([a-z0-9-]+)(?:/([A-Za-z]+)/([a-z0-9-]+))?`)
)

// says is plain with moments in the kitchen's own time.
func (a *app) says(text string) string {
	style := view.Style{Site: a.siteName(), Zone: a.zone}
	if a.zone == nil && view.HasMoment(text) {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		style = a.style(ctx)
	}
	return plain(style.Text(text), a.siteName())
}

// plain rewrites a message of a service in the words of the command line: without the site in names, with fields as
// words, with limits and forms as people say them.
func plain(text, site string) string {
	text = strings.ReplaceAll(text, site+"/", "")
	text = method.ReplaceAllString(text, "$1")
	text = strings.ReplaceAll(text, "the request is not valid: ", "")
	text = state.ReplaceAllStringFunc(text, func(found string) string { return strings.ToLower(strings.ReplaceAll(found, "_", " ")) })
	text = pattern.ReplaceAllStringFunc(text, func(found string) string { return formOf(pattern.FindStringSubmatch(found)[1]) })
	text = bounds.ReplaceAllString(text, "must be from $1 to $2")
	text = fieldPath.ReplaceAllStringFunc(text, func(found string) string {
		if !strings.ContainsAny(found, "._[") {
			return found
		}
		return fieldWords(strings.TrimSuffix(found, ": ")) + ": "
	})
	return named.ReplaceAllStringFunc(text, func(found string) string {
		m := named.FindStringSubmatch(found)
		collection, id := m[2], m[3]
		if m[4] != "" {
			collection, id = m[4], m[3]+"/"+m[5]
		}
		if single := strings.ToLower(strings.TrimSuffix(collection, "s")); strings.EqualFold(m[1], single) || strings.EqualFold(m[1]+"es", collection) || strings.EqualFold(strings.TrimSuffix(m[1], "y")+"ies", collection) {
			return m[1] + " " + id
		}
		return found
	})
}

// formOf says in words what a pattern of the API wants.
func formOf(pattern string) string {
	switch {
	case strings.Contains(pattern, "[0-5][0-9]"):
		return "give a time of day such as 06:30"
	case strings.Contains(pattern, "[0-9]{4}-[0-9]{2}-[0-9]{2}"):
		return "give a day such as 2027-03-01"
	case strings.Contains(pattern, "sites/"):
		return "is not the name of such a thing"
	case strings.Contains(pattern, "[a-z0-9"):
		return "give small letters, digits and hyphens"
	case strings.Contains(pattern, "{13}") || strings.Contains(pattern, "{14}") || strings.Contains(pattern, "[0-9]"):
		return "has not the right number of digits"
	default:
		return "is not written as it must be"
	}
}

// fieldWords writes the path of a field as words: "order.lines[0].container_count" is "line 1, container count".
func fieldWords(path string) string {
	parts := strings.Split(path, ".")
	if len(parts) > 1 && !strings.Contains(parts[0], "[") {
		parts = parts[1:] // the resource itself
	}
	for i, part := range parts {
		if m := listElement.FindStringSubmatch(part); m != nil {
			n, _ := strconv.Atoi(m[1]) // digits by the pattern
			part = fmt.Sprintf("%s %d", strings.TrimSuffix(listElement.ReplaceAllString(part, ""), "s"), n+1)
		}
		parts[i] = view.Label(part)
	}
	return strings.Join(parts, ", ")
}
