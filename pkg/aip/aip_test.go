package aip_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
)

var lots = aip.MustPattern("sites/{site}/lots/{lot}")

func TestNamesFormatAndMatch(t *testing.T) {
	t.Parallel()
	name := lots.Format("north", "b-17")
	if name != "sites/north/lots/b-17" {
		t.Fatalf("Format = %q", name)
	}
	ids, err := lots.Match(name)
	if err != nil || len(ids) != 2 || ids[0] != "north" || ids[1] != "b-17" {
		t.Fatalf("Match = %v, %v", ids, err)
	}
	for _, bad := range []string{
		"", "sites/north", "sites/north/lots", "sites/north/lots/", "sites//lots/x", "sites/north/lots/x/", "/sites/north/lots/x", "sites/north/pots/x",
		"sites/North/lots/x", "sites/north/lots/-", "sites/north/lots/a_b", "sites/north/lots/" + strings.Repeat("a", 64), "sites/north/lots/x/packs/y", "sites/n\x00/lots/x",
	} {
		_, err := lots.Match(bad)
		if !errors.Is(err, apierr.Reason(aip.NameInvalid)) || apierr.KindOf(err) != apierr.KindInvalidArgument {
			t.Errorf("%q: %v", bad, err)
			continue
		}
		if !strings.Contains(err.Error(), "sites/{site}/lots/{lot}") {
			t.Errorf("%q: the error does not show the form: %v", bad, err)
		}
	}
}

func TestCheckID(t *testing.T) {
	t.Parallel()
	for _, ok := range []string{"a", "7", "a-1", "1a", strings.Repeat("a", 63)} {
		if err := aip.CheckID(ok); err != nil {
			t.Errorf("%q: %v", ok, err)
		}
	}
	for _, bad := range []string{"", "-a", "A", "a b", "é", "a/b", strings.Repeat("a", 64)} {
		if err := aip.CheckID(bad); !errors.Is(err, apierr.Reason(aip.IDInvalid)) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

func TestNewIDsAreValidDistinctAndSortByTime(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 5000 {
		id := aip.NewID("lot")
		if err := aip.CheckID(id); err != nil {
			t.Fatal(err)
		}
		if seen[id] {
			t.Fatalf("%s came twice", id)
		}
		seen[id] = true
	}
	a := aip.NewID("")
	time.Sleep(2 * time.Millisecond)
	if b := aip.NewID(""); a >= b || len(b) != 16 {
		t.Errorf("%s then %s", a, b)
	}
}

func TestParentsAndDescent(t *testing.T) {
	t.Parallel()
	if got := aip.ParentOf("sites/n/lots/l"); got != "sites/n" {
		t.Errorf("got %q", got)
	}
	if got := aip.ParentOf("sites/n"); got != "" {
		t.Errorf("got %q", got)
	}
	for _, tt := range []struct {
		name, ancestor string
		want           bool
	}{
		{"sites/n", "sites/n", true}, {"sites/n/lots/l", "sites/n", true}, {"sites/north", "sites/n", false}, {"sites/n", "sites/n/lots/l", false}, {"x", "", false},
	} {
		if got := aip.Under(tt.name, tt.ancestor); got != tt.want {
			t.Errorf("Under(%q, %q) = %v", tt.name, tt.ancestor, got)
		}
	}
}

func TestPageSizesAndTokens(t *testing.T) {
	t.Parallel()
	req := wrapperspb.String("state = OPEN") // any request will do
	for size, want := range map[int32]int{0: 50, 1: 1, 1000: 1000, 1001: 1000, 1 << 30: 1000} {
		p, err := aip.ParsePage(size, "", req, 50, 1000)
		if err != nil || p.Size != want || p.Cursor != nil {
			t.Errorf("size %d: %+v %v", size, p, err)
		}
	}
	if _, err := aip.ParsePage(-1, "", req, 50, 1000); !errors.Is(err, apierr.Reason(aip.PageSizeInvalid)) {
		t.Errorf("negative size: %v", err)
	}
	p, err := aip.ParsePage(10, "", req, 50, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if p.Next() != "" {
		t.Error("the last page has a token")
	}
	token := p.Next("2031-01-01", "sites/n/lots/\"ü\"")
	q, err := aip.ParsePage(20, token, req, 50, 1000) // another size is allowed
	if err != nil || len(q.Cursor) != 2 || q.Cursor[1] != "sites/n/lots/\"ü\"" {
		t.Fatalf("%+v %v", q, err)
	}
	for name, f := range map[string]func() error{
		"another request": func() error {
			_, err := aip.ParsePage(10, token, wrapperspb.String("state = CLOSED"), 50, 1000)
			return err
		},
		"another type": func() error {
			_, err := aip.ParsePage(10, token, wrapperspb.Bytes([]byte("state = OPEN")), 50, 1000)
			return err
		},
		"garbage":  func() error { _, err := aip.ParsePage(10, "garbage!", req, 50, 1000); return err },
		"not ours": func() error { _, err := aip.ParsePage(10, "e30", req, 50, 1000); return err },
		"too long": func() error {
			_, err := aip.ParsePage(10, strings.Repeat("A", 10000), req, 50, 1000)
			return err
		},
	} {
		if err := f(); !errors.Is(err, apierr.Reason(aip.PageTokenInvalid)) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzPageToken(f *testing.F) {
	req := wrapperspb.String("x")
	p, err := aip.ParsePage(1, "", req, 1, 1)
	if err != nil {
		f.Fatal(err)
	}
	for _, s := range []string{p.Next("a"), p.Next("a", "b"), "", "e30", "bnVsbA", "eyJjIjpbIngiXX0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, token string) {
		p, err := aip.ParsePage(1, token, req, 1, 1)
		if err != nil {
			if !errors.Is(err, apierr.Reason(aip.PageTokenInvalid)) {
				t.Errorf("%v", err)
			}
			return
		}
		if token != "" && len(p.Cursor) == 0 {
			t.Error("a token without a cursor was accepted")
		}
	})
}

func FuzzPattern(f *testing.F) {
	for _, s := range []string{"sites/a/lots/b", "sites/a", "", "sites//lots/", "sites/a/lots/b/"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		ids, err := lots.Match(name)
		if err == nil && lots.Format(ids...) != name {
			t.Errorf("%q does not come back from %v", name, ids)
		}
	})
}

func TestEtags(t *testing.T) {
	t.Parallel()
	at := time.Unix(5, 0)
	a := aip.Etag("x", 1, at, wrapperspb.String("s"), []byte("b"))
	if b := aip.Etag("x", 1, at.In(time.FixedZone("y", 60)), wrapperspb.String("s"), []byte("b")); a != b {
		t.Error("equal state, different etags")
	}
	if a == aip.Etag("x", 2, at, wrapperspb.String("s"), []byte("b")) || aip.Etag("ab", "c") == aip.Etag("a", "bc") {
		t.Error("different state, equal etags")
	}
	if !strings.HasPrefix(a, `"`) || !strings.HasSuffix(a, `"`) {
		t.Errorf("%s is not quoted", a)
	}
	for _, ok := range []string{"", "*", a} {
		if err := aip.CheckEtag(ok, a, "sites/n/lots/l"); err != nil {
			t.Errorf("%q: %v", ok, err)
		}
	}
	err := aip.CheckEtag(`"old"`, a, "sites/n/lots/l")
	if !errors.Is(err, apierr.Reason(aip.EtagMismatch)) || apierr.KindOf(err) != apierr.KindAborted {
		t.Errorf("%v", err)
	}
}
