package gs1_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rondeau.internal/pkg/gs1"
)

// sent turns the ^ of a published vector into what a reader sends.
func sent(v string) string { return strings.ReplaceAll(v, "^", string(gs1.GS)) }

func TestElementStringsOfTheSyntaxEngineReadAndWrite(t *testing.T) {
	t.Parallel()
	cases := []struct{ bracketed, encoded string }{ // engine
		{"(01)12345678901231(10)12345", "^01123456789012311012345"},
		{"(10)12345(11)991225", "^1012345^11991225"},
		{"(3100)123456(10)12345", "^31001234561012345"},
		{"(01)12345678901231(235)XYZ(10)BATCH", "^0112345678901231235XYZ^10BATCH"},
		{"(7007)211225211231", "^7007211225211231"},
		{"(7007)211225", "^7007211225"},
		{"(423)528528", "^423528528"},
	}
	for _, tc := range cases {
		m, err := gs1.ParseBracketed(tc.bracketed)
		if err != nil {
			t.Errorf("%s: %v", tc.bracketed, err)
			continue
		}
		if got, err := m.Encode(); err != nil || "^"+strings.ReplaceAll(got, string(gs1.GS), "^") != tc.encoded {
			t.Errorf("%s encodes to %q, %v, want %s", tc.bracketed, got, err, tc.encoded)
		}
		back, err := gs1.Parse(sent(tc.encoded))
		if err != nil || back.String() != tc.bracketed {
			t.Errorf("%s reads as %s, %v, want %s", tc.encoded, back, err, tc.bracketed)
		}
	}
	tolerated := map[string]string{
		"^0112345678901231^":         "(01)12345678901231",
		"^0112345678901231^991234":   "(01)12345678901231(99)1234",
		"0112345678901231991234":     "(01)12345678901231(99)1234", // without the first FNC1
		"^1012345^":                  "(10)12345",
		"^0112345678901231^10AB^^":   "",
		"^^0112345678901231":         "",
		"^0112345678901231^^10ABCDE": "",
	}
	for encoded, want := range tolerated {
		m, err := gs1.Parse(sent(encoded))
		if (err == nil) != (want != "") || m.String() != want {
			t.Errorf("%s reads as %q, %v, want %q", encoded, m, err, want)
		}
	}
}

func TestBrokenElementStringsAreRefused(t *testing.T) {
	t.Parallel()
	encoded := []string{ // engine
		"^0112345678901234", "^01123456789012312", "^4235",
		"", "^", "^01123", "^10", "^10^11991225", "^10AB\x01", "^10Größe", "^8812", "^3100123",
	}
	for i := range 5 {
		encoded = append(encoded, "^70072112252112312"[:len("^7007211225")+1+i]) // half a second date
	}
	for _, v := range encoded {
		if m, err := gs1.Parse(sent(v)); err == nil {
			t.Errorf("%q reads as %s, want an error", v, m)
		}
	}
	bracketed := []string{ // engine, the last four ours
		"(10)(11)98765", "(10)12345(11)", "(1A)12345", "(15", "12345",
		"", "(01)12345678901231x", "(10)123456789012345678901", "(310)123456",
	}
	for _, v := range bracketed {
		if m, err := gs1.ParseBracketed(v); err == nil {
			t.Errorf("%q reads as %s, want an error", v, m)
		}
	}
}

func TestElementsThatNeedOrExcludeEachOther(t *testing.T) {
	t.Parallel()
	cases := []struct {
		bracketed string
		says      string // empty: fine
	}{
		{"(01)12345678901231(02)12345678901231", "exclude each other"},                                      // engine
		{"(01)12345678901231(37)123", "exclude each other"},                                                 // engine
		{"(02)12345678901231(37)123", "needs (00) with (02)"},                                               // engine
		{"(02)12345678901231(37)123(00)123456789012345675", ""},                                             // engine
		{"(21)ABC123", "needs (01) or (03) or (8006)"},                                                      // engine
		{"(21)ABC123(01)12345678901231", ""},                                                                // engine
		{"(01)12345678901231(21)A(235)B", "exclude each other"},                                             // dict
		{"(01)12345678901231(3102)000100(3103)001000", "exclude each other"},                                // dict: another 310n
		{"(01)12345678901231(3103)001000(3203)002205", ""},                                                  // kg and lb may stand together
		{"(01)12345678901231(422)528(426)528", "exclude each other"},                                        // dict
		{"(00)123456789012345675(4330)001000(4331)000500", "exclude each other"},                            // dict
		{"(01)12345678901231(4331)000500", "needs (00)"},                                                    // dict
		{"(01)12345678901231(10)A(10)A", ""},                                                                // engine: repeated, same value
		{"(01)12345678901231(10)A(10)B", "stands twice"},                                                    // engine: repeated, other value
		{"(10)A(17)260101(30)5", "needs"},                                                                   // dict
		{"(01)12345678901231(7003)2601011230(7006)251101(7030)999ABC(8008)25110108(13)251100(251)FARM", ""}, // dict
		{"(01)12345678901231(7003)2601012400", "is no time"},                                                // dict: 2400
	}
	for _, tc := range cases {
		m, err := gs1.ParseBracketed(tc.bracketed)
		if err == nil {
			err = m.Check()
		}
		if tc.says == "" && err != nil || tc.says != "" && (err == nil || !strings.Contains(err.Error(), tc.says)) {
			t.Errorf("%s: %v, want %q", tc.bracketed, err, tc.says)
		}
	}
	if err := (gs1.Message{{AI: "21", Value: "A"}, {AI: "37", Value: "1"}}).Check(); err == nil || strings.Count(err.Error(), "needs") != 2 {
		t.Errorf("error = %v, want both faults", err)
	}
}

func TestTheTableIsClosedUnderItsOwnReferences(t *testing.T) {
	t.Parallel()
	codes := gs1.Codes()
	if len(codes) < 80 || !slices.IsSorted(codes) {
		t.Fatalf("%d codes, want all of the table in order", len(codes))
	}
	for _, c := range codes {
		ai, ok := gs1.Lookup(c)
		if !ok || ai.Code != c || ai.Title == "" {
			t.Errorf("%s: %+v, %v", c, ai, ok)
		}
		for _, other := range codes {
			if other != c && strings.HasPrefix(other, c) {
				t.Errorf("%s is the beginning of %s: reading would be ambiguous", c, other)
			}
		}
	}
	// Separators of the AIs that a pack carries: dict, "Sep".
	for c, want := range map[string]bool{
		"00": false, "01": false, "02": false, "10": true, "13": false, "17": false, "20": false, "21": true, "240": true, "30": true,
		"3103": false, "3300": false, "37": true, "400": true, "410": false, "417": false, "422": true, "4331": true, "7003": true, "8008": true,
	} {
		if ai, _ := gs1.Lookup(c); ai.Separated != want {
			t.Errorf("(%s) separated = %v, want %v", c, ai.Separated, want)
		}
	}
	if _, ok := gs1.Lookup("89"); ok {
		t.Error("(89) is found, and does not exist")
	}
}

const set82 = `!"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz`

func drawMessage(t *rapid.T) gs1.Message {
	text := rapid.StringOfN(rapid.SampledFrom([]rune(set82)), 1, 20, 20)
	m := gs1.Message{{AI: "01", Value: "12345678901231"}, {AI: "10", Value: text.Draw(t, "lot")}}
	if rapid.Bool().Draw(t, "serial") {
		m = append(m, gs1.Element{AI: "21", Value: text.Draw(t, "serial number")})
	}
	m = append(m, gs1.Element{AI: "99", Value: text.Draw(t, "own")}, gs1.Element{AI: "17", Value: "260131"})
	return m
}

func TestAnyMessageReadsBackFromAllItsForms(t *testing.T) {
	t.Parallel()
	if len(set82) != 82 {
		t.Fatalf("the set has %d characters", len(set82))
	}
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t)
		mixed := gs1.Message(rapid.Permutation(m).Draw(t, "order"))
		data, err := mixed.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if back, err := gs1.Parse(data); err != nil || !slices.Equal(back, mixed) {
			t.Errorf("%q reads as %v, %v", data, back, err)
		}
		if back, err := gs1.ParseBracketed(mixed.String()); err != nil || !slices.Equal(back, mixed) {
			t.Errorf("%q reads as %v, %v", mixed.String(), back, err)
		}
		uri, err := m.DigitalLink("https://example.com/any/stem")
		if err != nil {
			t.Fatal(err)
		}
		if back, err := gs1.ParseDigitalLink(uri); err != nil || !slices.Equal(back, m) {
			t.Errorf("%q reads as %v, %v", uri, back, err)
		}
	})
}
