package label_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/label"
)

func demi() label.Label {
	return label.Label{
		Product: "Demi-glace, classic", GTIN: "9520123456788", Lot: "DG-1125", Serial: "000417",
		Packed: gs1.Date{Year: 2026, Month: 11, Day: 25}, BestBefore: gs1.Date{Year: 2027, Month: 2, Day: 28, NoDay: true},
		Net: 1_750_000, Allergens: []string{"celery", "wheat (gluten)"}, Storage: "Keep frozen at -18 °C or colder",
	}
}

func TestALabelSaysWhatTheRecordsSay(t *testing.T) {
	t.Parallel()
	l := demi()
	got, err := l.Text(40)
	if err != nil {
		t.Fatal(err)
	}
	want := `DEMI-GLACE, CLASSIC
Lot: DG-1125
Serial: 000417
Packed: 2026-11-25
Best before: 2027-02
Net: 1.750 kg
Contains: *CELERY*, *WHEAT (GLUTEN)*
Keep frozen at -18 °C or colder
(01)09520123456788(13)261125(15)270200
(3102)000175(10)DG-1125(21)000417
https://id.gs1.org/01/09520123456788/10/
DG-1125/21/000417?13=261125&15=270200&31
02=000175
`
	if got != want {
		t.Errorf("text:\n%s\nwant:\n%s", got, want)
	}
}

func TestNoLineIsWiderThanThePaper(t *testing.T) {
	t.Parallel()
	l := demi()
	l.Product = "Jus de veau réduit à la bordelaise pour les grandes occasions extraordinairement-longues-sans-espace"
	l.Allergens = []string{"celery", "milk", "sulphur dioxide and sulphites above ten milligrams a kilogram"}
	for width := label.MinWidth; width < 60; width++ {
		text, err := l.Text(width)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > width || n == 0 {
				t.Errorf("width %d: line of %d: %q", width, n, line)
			}
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		for _, part := range []string{strings.ToUpper(l.Product), "*CELERY*,*MILK*,", "(21)000417", "MILLIGRAMSAKILOGRAM*"} {
			if !strings.Contains(squeeze(text), squeeze(part)) {
				t.Errorf("width %d loses %q:\n%s", width, part, text)
			}
		}
	}
}

func TestALabelWithFaultsIsNotPrintedAndAllAreNamed(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		change func(l *label.Label)
		says   []string
	}{
		{
			"nothing given", func(l *label.Label) { *l = label.Label{} },
			[]string{"no product", "no lot", "no storage", "allergens are not stated", "neither a use-by", "GTIN"},
		},
		{"both dates", func(l *label.Label) { l.UseBy = l.BestBefore }, []string{"keep the one that applies"}},
		{"date before packing", func(l *label.Label) { l.BestBefore = gs1.Date{Year: 2026, Month: 11, Day: 24} }, []string{"before the packing date 2026-11-25"}},
		{"wrong check digit", func(l *label.Label) { l.GTIN = "9520123456789" }, []string{"check digit is 8"}},
		{"lot a symbol cannot carry", func(l *label.Label) { l.Lot = "Charge Ä" }, []string{"cannot carry"}},
		{"weight finer than the symbol", func(l *label.Label) { l.Net = 1_750_001 }, []string{"round it"}},
		{"negative weight", func(l *label.Label) { l.Net = -1 }, []string{"negative"}},
		{"control character", func(l *label.Label) { l.Storage = "cold\x1b[2J" }, []string{"cannot be printed"}},
		{"nameless allergen", func(l *label.Label) { l.Allergens = []string{" "} }, []string{"allergen 1 has no name"}},
		{"no such day", func(l *label.Label) { l.Packed = gs1.Date{Year: 2026, Month: 2, Day: 30} }, []string{"no day of the calendar"}},
	}
	for _, tc := range cases {
		l := demi()
		tc.change(&l)
		_, err := l.Text(40)
		if err == nil {
			t.Errorf("%s: printed", tc.name)
			continue
		}
		for _, s := range tc.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%s: %v, want it to say %q", tc.name, err, s)
			}
		}
		if x, err := l.Symbol(); err == nil {
			t.Errorf("%s: symbol of size %d", tc.name, x.Size())
		}
	}
	l := demi()
	if _, err := l.Text(label.MinWidth - 1); err == nil {
		t.Error("printed on paper that is too narrow")
	}
	l.Allergens = []string{}
	if text, err := l.Text(40); err != nil || !strings.Contains(text, "Contains: none declared") {
		t.Errorf("without allergens: %v\n%s", err, text)
	}
}
