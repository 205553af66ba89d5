package gs1_test

import (
	"slices"
	"testing"

	"rondeau.internal/pkg/gs1"
)

// FuzzParse asserts that what is accepted in one form survives a turn through the others.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"01123456789012311012345", "1012345\x1d11991225", "31001234561012345", "0112345678901231235XYZ\x1d10BATCH", "\x1d0112345678901231\x1d",
		"7007211225211231", "423528528", "4331001850-", "255952012345678812345", "8008200601235959",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data string) {
		m, err := gs1.Parse(data)
		if err != nil {
			return
		}
		roundTrip(t, m)
	})
}

func FuzzParseBracketed(f *testing.F) {
	for _, s := range []string{"(01)12345678901231(10)12345", `(10)A\(B)C`, "(10)(11)98765", "(15", "(3103)001750(99)x\\"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := gs1.ParseBracketed(s)
		if err != nil {
			return
		}
		roundTrip(t, m)
	})
}

func FuzzParseDigitalLink(f *testing.F) {
	for _, s := range []string{
		"https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426", "https://a/stem/00/006141411234567890", "http://x/01/%30?a&1=;#",
		"https://id.gs1.org/414/9520123456788/254/32a%2Fb", "https://example.com/01/09520123456788?3103=000195&3922=0299&17=201225",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := gs1.ParseDigitalLink(s)
		if err != nil {
			return
		}
		roundTrip(t, m)
		uri, err := m.DigitalLink(gs1.CanonicalStem)
		if err != nil {
			t.Fatalf("%q reads as %s and cannot be written: %v", s, m, err)
		}
		if _, err := gs1.ParseDigitalLink(uri); err != nil {
			t.Fatalf("%q becomes %q: %v", s, uri, err)
		}
	})
}

func roundTrip(t *testing.T, m gs1.Message) {
	t.Helper()
	data, err := m.Encode()
	if err != nil {
		t.Fatalf("%v does not encode: %v", m, err)
	}
	if back, err := gs1.Parse(data); err != nil || !slices.Equal(back, m) {
		t.Fatalf("%v encodes to %q, which reads as %v, %v", m, data, back, err)
	}
	if back, err := gs1.ParseBracketed(m.String()); err != nil || !slices.Equal(back, m) {
		t.Fatalf("%q reads as %v, %v, want %v", m.String(), back, err, m)
	}
}
