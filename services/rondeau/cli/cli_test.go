package cli

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/services/rondeau/cli/view"
	"rondeau.internal/services/rondeau/demo"
	"rondeau.internal/services/rondeau/kitchen"
	"rondeau.internal/services/rondeau/suite"
)

// run calls the program as a person would and gives what it printed.
func run(t *testing.T, args ...string) (out, errOut string, status int) {
	t.Helper()
	var o, e bytes.Buffer
	status = Main(t.Context(), args, strings.NewReader(""), &o, &e)
	return o.String(), e.String(), status
}

func TestEveryColumnOfEveryListExists(t *testing.T) {
	t.Parallel()
	for _, r := range resources {
		message, err := r.message(r.single)
		if err != nil {
			t.Fatal(err)
		}
		view.Table(view.Style{}, []proto.Message{message.Interface()}, r.columns...) // panics on an unknown one
		for _, kind := range []string{"List" + r.plural + "Request", "List" + r.plural + "Response", "Get" + r.single + "Request"} {
			_, err = r.message(kind)
			if err != nil {
				t.Error(err)
			}
		}
	}
}

func TestEveryCommandHasHelpAndAGroup(t *testing.T) {
	t.Parallel()
	a := &app{}
	root := a.root()
	var visit func(command *cobra.Command)
	visit = func(command *cobra.Command) {
		if command.Short == "" {
			t.Errorf("%s has no short help", command.CommandPath())
		}
		if command.Parent() == root && command.GroupID == "" {
			t.Errorf("%s stands under no heading", command.CommandPath())
		}
		for _, child := range command.Commands() {
			visit(child)
		}
	}
	for _, child := range root.Commands() {
		visit(child)
	}
}

func TestMistakesOnTheCommandLineAreToldWithoutASuite(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	cases := []struct {
		name   string
		args   []string
		says   string
		status int
	}{
		{"no suite runs", []string{"outlet", "list"}, "rondeau up", exitFailed},
		{"an unknown command", []string{"outlets"}, "unknown command", exitFailed},
		{"an unknown flag", []string{"outlet", "list", "--colour"}, "unknown flag", exitUsage},
		{"an unknown role", []string{"--as", "chef", "token", "--key", "/dev/null"}, "roles are", exitUsage},
		{"a negative mass", []string{"delivery", "expect", "vale", "2027-03-01", "bones=-3kg"}, "negative", exitUsage},
		{"a mass in no unit", []string{"delivery", "expect", "vale", "2027-03-01", "bones=3stone"}, "stone", exitUsage},
		{"a day that is none", []string{"order", "place", "bistro", "2027-02-30", "demi=2"}, "not a day", exitUsage},
		{"a line without a count", []string{"order", "place", "bistro", "2027-03-01", "demi"}, "PRODUCT=COUNT", exitUsage},
		{"an id with capitals", []string{"outlet", "show", "Bistro"}, "Bistro", exitUsage},
		{"an unknown measurement", []string{"run", "record", "b/simmer", "colour=3"}, "kinds are", exitUsage},
		{"a half name", []string{"run", "start", "simmer"}, "BATCH/RUN", exitUsage},
		{"an output that is none", []string{"outlet", "list", "-o", "xml"}, "table or json", exitUsage},
		{"a missing argument", []string{"chill", "reading", "c1"}, "CHILL PROBE TEMPERATURE", exitUsage},
		{"a demo that starts on a Tuesday", []string{"demo", "--start", "2027-03-02"}, "Monday", exitUsage},
		{"serving without settings", []string{"serve", "planning"}, "--database", exitUsage},
		{"a token before there is a key", []string{"token"}, "rondeau up", exitUsage},
		{"replay of nothing", []string{"replay", "planning"}, "--since", exitUsage},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			out, errOut, status := run(t, append([]string{"--data", data}, c.args...)...)
			if status != c.status || !strings.Contains(errOut, c.says) {
				t.Errorf("status %d, said %q (and %q), want %d and %q", status, errOut, out, c.status, c.says)
			}
		})
	}
}

// A stranger's first morning on a suite, with what goes wrong in it.
func TestFirstMorning(t *testing.T) {
	data := t.TempDir()
	s, err := suite.Start(t.Context(), suite.Options{Data: data, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	apply(t, s)
	do := func(want string, args ...string) string {
		t.Helper()
		out, errOut, status := run(t, append([]string{"--data", data}, args...)...)
		if !strings.Contains(out+errOut, want) {
			t.Errorf("%v: status %d, said\n%s%s\nwant %q", args, status, out, errOut, want)
		}
		return out
	}
	monday := time.Now().AddDate(0, 0, 14)
	for monday.Weekday() != time.Monday {
		monday = monday.AddDate(0, 0, 1)
	}
	date := monday.Format(time.DateOnly)
	do("ready", "status")
	do("The Bench", "outlet", "add", "bench", "display_name=The Bench", "dispatch_weekdays=[monday]", "dispatch_time_of_day=07:00")
	do("exists", "outlet", "add", "bench", "display_name=The Bench", "dispatch_weekdays=[monday]", "dispatch_time_of_day=07:00")
	do("08:00", "outlet", "change", "bench", "dispatch_time_of_day=08:00")
	do("placed", "--as", "outlet/bench", "order", "place", "bench", date, "demi-1kg=6", "--id", "first", "--request-id", "r-1")
	do("placed", "--as", "outlet/bench", "order", "place", "bench", date, "demi-1kg=6", "--id", "first", "--request-id", "r-1")
	do("used before", "--as", "outlet/bench", "order", "place", "bench", date, "demi-1kg=7", "--id", "first", "--request-id", "r-1")
	do("harbour-grill", "--as", "outlet/bench", "order", "list", "harbour-grill")
	do("does not exist", "order", "place", "nowhere", date, "demi-1kg=6")
	do("8", "order", "change", "bench/first", "demi-1kg=8")
	do("ORDER_AFTER_CUT_OFF", "order", "place", "corner-bistro", time.Now().Format(time.DateOnly), "demi-1kg=1")
	out := do("first", "order", "list", "bench", "-o", "json")
	if strings.Count(out, `"name"`) != 1 {
		t.Errorf("a repeated request placed another order:\n%s", out)
	}
	do("demi-1kg", "plan", "make", time.Now().Format(time.DateOnly), "21", "--preview")
	do("nothing to list", "plan", "list")
	do("may not", "--as", "auditor", "order", "cancel", "bench/first")
	do("cancelled", "order", "cancel", "bench/first")
	do("kitchen: 1", "export")
	do("keep", "import", "--preview", writeExport(t, data))
}

func apply(t *testing.T, s *suite.Suite) {
	t.Helper()
	a := &app{data: s.Data(), as: "manager", site: "quayside"}
	file, err := kitchen.Parse("quayside.yaml", demo.Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	changes, err := kitchen.Compare(t.Context(), a.connections(), file)
	if err != nil {
		t.Fatal(err)
	}
	err = kitchen.Apply(t.Context(), a.connections(), file, changes, nil)
	if err != nil {
		t.Fatal(err)
	}
}

func writeExport(t *testing.T, data string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "exported.yaml")
	var o, e bytes.Buffer
	status := Main(context.WithoutCancel(t.Context()), []string{"--data", data, "export", "-f", path}, strings.NewReader(""), &o, &e)
	if status != 0 {
		t.Fatal(e.String())
	}
	return path
}
