package cli

import (
	"bytes"
	"encoding/json"
	"maps"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/services/rondeau/cli/view"
	"rondeau.internal/services/rondeau/suite"
)

// week is a suite in simulated time and the people who work on it at terminals.
type week struct {
	t    *testing.T
	data string
	site string
	now  *clock.Fake
	zone *time.Location

	quiet  bool // while a command is repeated
	reader *app // reads what is kept
}

func startWeek(t *testing.T, first string) *week {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	w := &week{t: t, data: t.TempDir(), site: "quayside", zone: zone, now: clock.NewFake(time.Time{})}
	w.at(first)
	s, err := suite.Start(t.Context(), suite.Options{Data: w.data, Listen: "127.0.0.1:0", Clock: w.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

// at lets the kitchen's clock stand at a moment.
func (w *week) at(moment string) {
	w.t.Helper()
	when, err := time.ParseInLocation("2006-01-02 15:04", moment, w.zone)
	if err != nil {
		w.t.Fatal(err)
	}
	w.now.Set(when)
}

// say runs one command of one person ("role name") and gives what it printed.
func (w *week) say(person string, words ...string) (out, errOut string, status int) {
	role, name, _ := strings.Cut(person, " ")
	args := append([]string{"--data", w.data, "--site", w.site, "--as", role, "--who", name}, words...)
	var o, e bytes.Buffer
	status = Main(w.t.Context(), args, strings.NewReader(""), &o, &e)
	if w.quiet {
		return o.String(), e.String(), status
	}
	w.t.Logf("%s $ rondeau %s\n%s%s", person, strings.Join(words, " "), o.String(), e.String())
	return o.String(), e.String(), status
}

// does runs a command that must succeed and print each of the wanted words.
func (w *week) does(person, want string, words ...string) string {
	w.t.Helper()
	out, errOut, status := w.say(person, words...)
	if status != 0 {
		w.t.Fatalf("%s: rondeau %s: status %d\n%s%s", person, strings.Join(words, " "), status, out, errOut)
	}
	w.wants(out+errOut, want, words)
	return out
}

// refuses runs a command that must fail, and say each of the wanted words (parted by |).
func (w *week) refuses(person, want string, words ...string) {
	w.t.Helper()
	out, errOut, status := w.say(person, words...)
	if status == 0 || out != "" {
		w.t.Errorf("%s: rondeau %s: status %d, want a refusal\n%s", person, strings.Join(words, " "), status, out)
		return
	}
	w.wants(errOut, want, words)
}

func (w *week) wants(text, want string, words []string) {
	w.t.Helper()
	for part := range strings.SplitSeq(want, "|") {
		if !strings.Contains(text, part) {
			w.t.Errorf("rondeau %s\nsays\n%s\nwant %q", strings.Join(words, " "), text, part)
		}
	}
}

// until repeats a command until it prints the word: what one service tells the others takes a moment to arrive.
func (w *week) until(person, want string, words ...string) string {
	w.t.Helper()
	w.quiet = true
	defer func() { w.quiet = false }()
	deadline := time.Now().Add(10 * time.Second)
	for {
		out, errOut, _ := w.say(person, words...)
		if strings.Contains(out, want) {
			return out
		}
		if time.Now().After(deadline) {
			w.t.Fatalf("rondeau %s never said %q:\n%s%s", strings.Join(words, " "), want, out, errOut)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// first gives the id of the first thing in a list that the filter picks.
func (w *week) first(person, kind, filter string) string {
	w.t.Helper()
	var o, e bytes.Buffer
	role, name, _ := strings.Cut(person, " ")
	status := Main(w.t.Context(), []string{"--data", w.data, "--site", w.site, "--as", role, "--who", name, kind, "list", "--filter", filter, "-o", "json"}, strings.NewReader(""), &o, &e)
	var found []struct{ Name string }
	err := json.Unmarshal(o.Bytes(), &found)
	if status != 0 || err != nil || len(found) == 0 {
		w.t.Fatalf("no %s with %s: %v %s%s", kind, filter, err, o.String(), e.String())
	}
	return found[0].Name[strings.LastIndex(found[0].Name, "/")+1:]
}

// refusing runs commands that are all refused, and checks that nothing in the kitchen changed by them.
func (w *week) refusing(commands func()) {
	w.t.Helper()
	before := w.settled()
	commands()
	after := w.kept()
	for kind, text := range before {
		if after[kind] != text {
			w.t.Errorf("refused commands changed %s:\n%s\nnow\n%s", kind, text, after[kind])
		}
	}
}

// settled is what the services keep, once what they tell each other has arrived.
func (w *week) settled() map[string]string {
	w.t.Helper()
	last := w.kept()
	for range 500 {
		time.Sleep(20 * time.Millisecond)
		now := w.kept()
		if maps.Equal(now, last) {
			return now
		}
		last = now
	}
	w.t.Fatal("the kitchen never comes to rest")
	return nil
}

// kept is everything that a kitchen has recorded, as the lists tell it.
func (w *week) kept() map[string]string {
	w.t.Helper()
	if w.reader == nil {
		w.reader = &app{data: w.data, site: w.site, as: "manager", who: "nora", timeout: time.Minute}
		w.t.Cleanup(w.reader.close)
	}
	all := map[string]string{}
	note := func(kind string, messages []proto.Message, err error) {
		w.t.Helper()
		if err != nil {
			w.t.Fatalf("%s: %v", kind, err)
		}
		var text strings.Builder
		err = view.JSON(&text, true, messages...)
		if err != nil {
			w.t.Fatal(err)
		}
		all[kind] = text.String()
	}
	for _, r := range resources {
		parent := w.reader.siteName()
		if r.nested() {
			parent += "/" + strings.Split(r.pattern, "/")[0] + "/-"
		}
		messages, err := w.reader.list(w.t.Context(), r, parent, "", 0)
		note(r.word, messages, err)
	}
	safety, err := w.reader.foodSafety()
	if err != nil {
		w.t.Fatal(err)
	}
	records, err := safety.ListSafetyRecords(w.t.Context(), &foodsafetypb.ListSafetyRecordsRequest{Parent: w.reader.siteName(), PageSize: 500})
	note("records", []proto.Message{records}, err)
	return all
}
