package cli

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

var updatePredict = flag.Bool("update-predict", false, "write what `rondeau predict` prints into testdata/predict")

// readings is the history that examples speak of.
const readings = `minutes,temperature_c
0,68
15,57
30,50
45,44
60,39
90,30
120,23
150,19
180,16
210,13
240,11
270,9
300,7
330,5
345,4
`

// examples are the lines of the help texts of `rondeau predict`, by command.
func examples(t *testing.T) map[string][][]string {
	t.Helper()
	history := filepath.Join(t.TempDir(), "readings.csv")
	err := os.WriteFile(history, []byte(readings), 0o600)
	if err != nil {
		t.Fatal(err)
	}
	word := regexp.MustCompile(`"[^"]*"|\S+`)
	out := map[string][][]string{}
	var visit func(command *cobra.Command)
	visit = func(command *cobra.Command) {
		for _, line := range strings.Split(command.Example, "\n") {
			var args []string
			for _, one := range word.FindAllString(line, -1) {
				one = strings.Trim(one, `"`)
				if one == "readings.csv" {
					one = history
				}
				args = append(args, one)
			}
			if len(args) > 0 {
				out[command.Name()] = append(out[command.Name()], args)
			}
		}
		for _, child := range command.Commands() {
			visit(child)
		}
	}
	visit((&app{}).predictCommand())
	return out
}

func TestExamplesOfPredictRun(t *testing.T) {
	t.Parallel()
	all := examples(t)
	for _, command := range []string{"predict", "reduce", "heat", "chill", "freeze", "thaw", "growth"} {
		if len(all[command]) == 0 {
			t.Errorf("%s has no examples", command)
		}
	}
	for command, lines := range all {
		for _, line := range lines {
			t.Run(command+" "+strings.Join(line[2:], " "), func(t *testing.T) {
				t.Parallel()
				if line[0] != "rondeau" {
					t.Fatalf("%q", line)
				}
				out, errOut, status := run(t, line[1:]...)
				if status != 0 || errOut != "" || len(strings.Split(out, "\n")) < 8 {
					t.Errorf("status %d:\n%s%s", status, out, errOut)
				}
			})
		}
	}
}

// golden runs of each command. Figures are masked: words, layout and field names are kept here, the figures are checked
// where they are computed.
var golden = []struct{ name, line string }{
	{"reduce", "reduce --vessel household --volume 3.8L --to 0.6L --heat gentle"},
	{"reduce-us", "reduce --vessel kettle-200 --product brown-stock --volume 40gal --to 30Brix --heat boil --altitude 5280ft --seen 1h=25gal"},
	{"heat", "heat --vessel stockpot-20 --volume 18L --start 15C --to 90C --lid on"},
	{"chill-meets", "chill --means blast --vessel pan-65 --product brown-stock --depth 30mm"},
	{"chill-misses", "chill --means walk-in --vessel stockpot-20 --product thin-stock --profile fsanz"},
	{"chill-ice-us", "chill --means ice-bath --vessel stockpot-20 --volume 4gal --start 200F --ice 50lb --profile fsis"},
	{"freeze", "freeze --product demi-glace --vessel pouch-500"},
	{"thaw", "thaw --vessel pouch-500 --means water"},
	{"growth", "growth --schedule 57C@0,21C@5h,5C@12h"},
}

var (
	takesTime = regexp.MustCompile(`\d+ h( \d+ min)?|\d+ min\b`)
	figure    = regexp.MustCompile(`-?\d+(\.\d+)?`)
	padding   = regexp.MustCompile(` {2,}`)
	broken    = regexp.MustCompile(`(\S)\n {4,}`)
)

// masked leaves out of a printed answer its figures, and the cautions and names of the models, which are not worded here.
func masked(text string) string {
	text, _, _ = strings.Cut(text, "\nCautions:")
	text = broken.ReplaceAllString(text, "$1 ") // where a line breaks depends on its figures
	text = takesTime.ReplaceAllString(text, "TIME")
	text = figure.ReplaceAllString(text, "#")
	text = padding.ReplaceAllString(text, "  ")
	lines := slices.DeleteFunc(strings.Split(text, "\n"), func(line string) bool {
		return strings.Contains(line, " model  ") || strings.HasPrefix(line, "by ") || strings.Contains(line, " criterion ")
	})
	return strings.Join(lines, "\n")
}

// fields lists the paths of a JSON text with the kinds of their values, in the order of the text of paths.
func fields(t *testing.T, text string) string {
	t.Helper()
	var whole any
	err := json.Unmarshal([]byte(text), &whole)
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	seen := map[string]bool{}
	var visit func(path string, value any)
	visit = func(path string, value any) {
		switch one := value.(type) {
		case map[string]any:
			for name, inner := range one {
				visit(path+"."+name, inner)
			}
		case []any:
			for _, inner := range one {
				visit(path+"[]", inner)
			}
			if len(one) == 0 {
				seen[path+"[] none"] = true
			}
		default:
			seen[fmt.Sprintf("%s %T", path, value)] = true
		}
	}
	visit("", whole)
	var lines []string
	for line := range seen {
		lines = append(lines, line)
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n") + "\n"
}

func TestWhatPredictPrints(t *testing.T) {
	t.Parallel()
	for _, c := range golden {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			args := append([]string{"predict"}, strings.Fields(c.line)...)
			text, errOut, status := run(t, args...)
			if status != 0 {
				t.Fatalf("status %d: %s", status, errOut)
			}
			whole, errOut, status := run(t, append(args, "-o", "json")...)
			if status != 0 {
				t.Fatalf("status %d: %s", status, errOut)
			}
			sentence, _, _ := strings.Cut(text, "\n")
			var answer struct {
				Answer string `json:"answer"`
			}
			err := json.Unmarshal([]byte(whole), &answer)
			if err != nil || answer.Answer != sentence {
				t.Errorf("JSON answers %q, %v; the table %q", answer.Answer, err, sentence)
			}
			compare(t, c.name+".txt", "rondeau predict "+c.line+"\n\n"+masked(text))
			compare(t, c.name+".fields", fields(t, whole))
		})
	}
}

func compare(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "predict", name)
	if *updatePredict {
		err := os.MkdirAll(filepath.Dir(path), 0o755)
		if err == nil {
			err = os.WriteFile(path, []byte(got), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s has changed; got\n%s\nwant\n%s\n(go test ./services/rondeau/cli -run TestWhatPredictPrints -update-predict writes it)", path, got, want)
	}
}

func TestPredictWritesFiles(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	svg, png, csv := filepath.Join(folder, "c.svg"), filepath.Join(folder, "c.png"), filepath.Join(folder, "c.csv")
	_, errOut, status := run(t, "predict", "chill", "--means", "ice-bath", "--svg", svg, "--png", png, "--csv", csv)
	if status != 0 {
		t.Fatal(errOut)
	}
	for path, begins := range map[string]string{svg: "<?xml", png: "\x89PNG", csv: "elapsed_minutes,temperature_celsius,"} {
		content, err := os.ReadFile(path)
		if err != nil || len(content) < 1000 || !strings.HasPrefix(string(content), begins) {
			t.Errorf("%s: %d bytes, %v", path, len(content), err)
		}
	}
	_, errOut, status = run(t, "predict", "chill", "--means", "ice-bath", "--svg", filepath.Join(folder, "none", "c.svg"))
	if status != exitUsage || !strings.Contains(errOut, "c.svg") || !strings.Contains(errOut, "no such") {
		t.Errorf("status %d, said %q", status, errOut)
	}
}

func TestMistakesInPredictAreMistakesOfTheCommandLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ line, says string }{
		{"reduce --volume 4stone --to 1L", `--volume "4stone": unit "stone" is unknown; give a volume from 0.05 L to 20000 L, such as 3.8L or 1gal`},
		{"reduce --volume 4L --to 1L --color red", "unknown flag"},
		{"chill --means fridge", "walk-in"},
		{"growth --history nowhere.csv", "nowhere.csv"},
		{"reduce 4L", "unknown command"},
	} {
		_, errOut, status := run(t, append([]string{"predict"}, strings.Fields(c.line)...)...)
		if status == 0 || !strings.Contains(errOut, c.says) {
			t.Errorf("%s: status %d, said %q, want %q", c.line, status, errOut, c.says)
		}
	}
	_, errOut, status := run(t, "predict", "reduce", "--volume", "4stone", "--to", "5 miles", "--lid", "ajar")
	if status != exitUsage || strings.Count(errOut, "rondeau: --") < 2 {
		t.Errorf("status %d, said %q", status, errOut)
	}
}

func TestPredictCompletesTheWordsOfItsLibraries(t *testing.T) {
	t.Parallel()
	for flag, want := range map[string]string{"--vessel": "stockpot-40", "--product": "demi-glace", "--means": "ice-bath", "--profile": "food-code", "--units": "metric"} {
		out, _, status := run(t, "__complete", "predict", "chill", flag, "")
		if status != 0 || !strings.Contains(out, want) {
			t.Errorf("%s offers %q", flag, out)
		}
	}
}
