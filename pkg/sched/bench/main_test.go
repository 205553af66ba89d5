package main

import (
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func never() bool { return false }

// instances makes a folder with one tiny job shop: two jobs, two machines. By hand: job 1 takes machine 0 for 3 and
// machine 1 for 2, job 2 takes machine 1 for 2 and machine 0 for 4, so machine 0 alone needs 7, and 7 is reached by
// starting job 1 at once and job 2 on machine 0 at 3.
func instances(t *testing.T, bestKnown string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"tiny.txt": "2 2\n0 3 1 2\n1 2 0 4\n", "best-known.csv": "instance,lower_bound,upper_bound,source\ntiny," + bestKnown + ",by hand\n",
	} {
		if err := os.MkdirAll(filepath.Join(dir, "jsp"), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "jsp", name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestMeasuresAgainstBestKnown(t *testing.T) {
	file := filepath.Join(t.TempDir(), "out.csv")
	var out strings.Builder
	err := run([]string{"--family", "jsp", "--iterations", "300", "--seeds", "2", "--instances", instances(t, "7,7"), "--csv", file}, never, &out, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 3 {
		t.Fatalf("%d rows, want a heading and one per seed", len(rows))
	}
	for _, row := range rows[1:] {
		if row[5] != "7" || row[8] != "0.0000" || row[14] != "true" {
			t.Errorf("row %v: want value 7, gap 0, verified", row)
		}
	}
	if !strings.Contains(out.String(), "verified") || !strings.Contains(out.String(), "0.000") {
		t.Errorf("the report says neither that plans are verified nor a gap of 0:\n%s", out.String())
	}
}

func TestAValueBelowAPublishedBoundIsAFault(t *testing.T) {
	err := run([]string{"--family", "jsp", "--iterations", "100", "--instances", instances(t, "9,9")}, never, io.Discard, io.Discard)
	if err == nil || !strings.Contains(err.Error(), "below the published lower bound of 9") {
		t.Errorf("got %v", err)
	}
}

func TestAPlanForAnImpossibleInstanceIsAFault(t *testing.T) {
	err := run([]string{"--family", "jsp", "--iterations", "100", "--instances", instances(t, "infeasible,infeasible")}, never, io.Discard, io.Discard)
	if err == nil || !strings.Contains(err.Error(), "proved to have none") {
		t.Errorf("got %v", err)
	}
}

func TestFlagsSayWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--family", "shop"}, `family "shop" is not known; the families are`},
		{[]string{"--seconds", "0"}, "give --seconds above 0"},
		{[]string{"--seconds", "NaN"}, "give --seconds above 0"},
		{[]string{"--seeds", "0"}, "--seeds is at least 1"},
		{[]string{"--batches", "ten"}, `"ten" is not a number of batches`},
		{[]string{"--match", "[", "--family", "jsp"}, `--match "["`},
		{[]string{"--family", "jsp", "--instances", "nowhere"}, "--instances names the folder"},
		{[]string{"jsp"}, `"jsp" is not a flag`},
	} {
		err := run(c.args, never, io.Discard, io.Discard)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: got %v, want it to say %q", c.args, err, c.want)
		}
	}
}

func TestGroups(t *testing.T) {
	for _, c := range []struct{ family, name, want string }{
		{"fjsp", "mk03", "mk"},
		{"fjsp", "la06_edata", "edata"},
		{"fjsp", "setb4xx", "barnes"},
		{"fjsp", "mt10c1", "barnes"},
		{"fjsp", "behnke21", "behnke"},
		{"rcpsp", "j1201_1", "j120"},
		{"rcpsp", "j305_1", "j30"},
		{"jsp-tardiness", "ft10_f13", "f13"},
		{"jsp", "la16", "la"},
		{"rcpspmax", "ubo20_01", "rcpspmax"},
	} {
		if got := groupOf(c.family, c.name); got != c.want {
			t.Errorf("group of %s %s: %q, want %q", c.family, c.name, got, c.want)
		}
	}
}

func TestMedianOverSeedsOfTheMeanOverInstances(t *testing.T) {
	g := group{gaps: map[uint64][]float64{1: {0, 2}, 2: {4, 4}, 3: {0, 0}}}
	if m, ok := g.medianGap(); !ok || m != 1 {
		t.Errorf("got %v, want 1: the means are 1, 4 and 0", m)
	}
}

func TestReplanningIsMeasured(t *testing.T) {
	var out strings.Builder
	err := run([]string{"--family", "replan", "--batches", "16", "--match", "*-*", "--iterations", "200", "--published", "200"}, never, &out, io.Discard)
	if err != nil {
		t.Fatal(err)
	}
	for _, what := range []string{"vessel-down-16", "late-run-16", "short-delivery-16", "urgent-order-16", "crew-missing-16"} {
		if !strings.Contains(out.String(), what) {
			t.Errorf("%s is missing in\n%s", what, out.String())
		}
	}
	if n := strings.Count(out.String(), "verified"); n != 5 {
		t.Errorf("%d of 5 rows are verified:\n%s", n, out.String())
	}
}
