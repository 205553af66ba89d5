package gs1_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rondeau.internal/pkg/gs1"
)

// Sources of keys and vectors in this package's tests:
// dict: GS1 Barcode Syntax Dictionary (gs1/gs1-syntax-dictionary, 2026-07-27), its lint tests;
// engine: GS1 Barcode Syntax Engine (gs1/gs1-syntax-engine, 2026-06-23), its unit tests;
// others are named beside the value.
func TestPublishedKeysAreValid(t *testing.T) {
	t.Parallel()
	cases := []struct {
		key    gs1.Key
		value  string
		source string
	}{
		{gs1.GTIN8, "02345673", "dict"},
		{gs1.GTIN12, "416000336108", "dict"},
		{gs1.GTIN12, "614141210220", "Uniform Code Council, worked example"},
		{gs1.GTIN13, "6291041500213", "GS1, worked example"},
		{gs1.GTIN13, "7300011000017", "GS1 Sweden, worked example"},
		{gs1.GTIN13, "8904000210037", "GS1 India, worked example"},
		{gs1.GTIN13, "2112345678900", "engine"},
		{gs1.GTIN13, "1234567890128", "dict"},
		{gs1.GLN, "1014541210223", "Uniform Code Council, worked example"},
		{gs1.GLN, "9520123456788", "engine"},
		{gs1.GTIN14, "12345678901231", "dict"},
		{gs1.GTIN14, "09520123456788", "engine"},
		{gs1.GTIN14, "09521234543213", "bwipp wiki"},
		{gs1.GTIN14, "40987650000223", "IBM support page"},
		{gs1.GTIN14, "70614141123451", "gs1/EPCIS"},
		{gs1.SSCC, "123456789012345675", "dict"},
		{gs1.SSCC, "952012345678912345", "engine"},
		{gs1.SSCC, "106141411234567897", "bwipp wiki"},
		{gs1.SSCC, "006141411234567890", "engine"},
	}
	for _, tc := range cases {
		if err := tc.key.Check(tc.value); err != nil {
			t.Errorf("%s (%s): %v", tc.value, tc.source, err)
		}
		body, last := tc.value[:len(tc.value)-1], tc.value[len(tc.value)-1]
		if d, err := gs1.CheckDigit(body); err != nil || d != last {
			t.Errorf("check digit of %s = %c, %v, want %c (%s)", body, d, err, last, tc.source)
		}
		if whole, err := tc.key.Complete(body); err != nil || whole != tc.value {
			t.Errorf("complete %s = %s, %v", body, whole, err)
		}
	}
}

func TestWrongKeysAreRefusedWithAReason(t *testing.T) {
	t.Parallel()
	cases := []struct {
		key   gs1.Key
		value string
		says  string
	}{
		{gs1.GTIN8, "12345673", "check digit"},             // dict
		{gs1.GTIN12, "416000336109", "check digit"},        // dict
		{gs1.GTIN13, "1234567890129", "check digit"},       // dict
		{gs1.GTIN14, "12345678901232", "check digit"},      // dict
		{gs1.SSCC, "123456789012345670", "check digit"},    // dict
		{gs1.GTIN13, "2112345678901", "check digit is 0"},  // engine
		{gs1.GTIN13, "", "0 digits"},                       // dict: empty
		{gs1.GTIN13, "123456789012 ", "at place 13"},       // dict: space
		{gs1.GTIN13, "A234567890128", "at place 1"},        // dict: letter
		{gs1.GTIN13, "12345678901231", "a GTIN-13 has 13"}, // dict: length
		{gs1.SSCC, "12345678901234567", "has 17 digits"},   // dict: length
		{gs1.GLN, "952012345678\u0668", "has digits only"}, // a digit, but not an ASCII one
	}
	for _, tc := range cases {
		if err := tc.key.Check(tc.value); err == nil || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s %q: %v, want it to say %q", tc.key, tc.value, err, tc.says)
		}
	}
	for _, body := range []string{"", "12a"} {
		if d, err := gs1.CheckDigit(body); err == nil {
			t.Errorf("CheckDigit(%q) = %c, want an error", body, d)
		}
	}
	if _, err := gs1.GTIN8.Complete("123"); err == nil {
		t.Error("a body of three digits was completed to a GTIN-8")
	}
}

func TestAnySingleWrongDigitIsCaughtAndPaddingKeepsTheDigit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		k := gs1.Key(rapid.IntRange(0, 5).Draw(t, "key"))
		digits := rapid.SliceOfN(rapid.ByteRange('0', '9'), k.Digits()-1, k.Digits()-1).Draw(t, "body")
		s, err := k.Complete(string(digits))
		if err != nil {
			t.Fatal(err)
		}
		padded, err := gs1.CheckDigit("000" + string(digits))
		if err != nil || padded != s[len(s)-1] {
			t.Errorf("leading zeros change the digit of %s to %c (%v)", s, padded, err)
		}
		at := rapid.IntRange(0, len(s)-1).Draw(t, "at")
		wrong := []byte(s)
		wrong[at] = '0' + (wrong[at]-'0'+byte(rapid.IntRange(1, 9).Draw(t, "by")))%10
		if k.Check(string(wrong)) == nil {
			t.Errorf("%s passes, written wrong from %s", wrong, s)
		}
		// Weights 3 and 1 differ by 2, so a swap of neighbours shows unless they differ by 0 or 5.
		i := rapid.IntRange(0, len(s)-2).Draw(t, "swap")
		swapped := []byte(s)
		swapped[i], swapped[i+1] = swapped[i+1], swapped[i]
		d := int(s[i]) - int(s[i+1])
		if hidden := d%5 == 0; hidden != (k.Check(string(swapped)) == nil) {
			t.Errorf("swap at %d of %s: seen %v", i, s, !hidden)
		}
	})
}

func TestShortGTINsArePaddedToFourteen(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"02345673": "00000002345673", "416000336108": "00416000336108", "6291041500213": "06291041500213", "12345678901231": "12345678901231",
	} {
		if got, err := gs1.PadGTIN(in); err != nil || got != want {
			t.Errorf("PadGTIN(%s) = %s, %v, want %s", in, got, err, want)
		}
	}
	for _, in := range []string{"", "123456789", "12345673", "6291041500214"} {
		if got, err := gs1.PadGTIN(in); err == nil {
			t.Errorf("PadGTIN(%q) = %s, want an error", in, got)
		}
	}
}

func TestAnSSCCIsBuiltFromItsPieces(t *testing.T) {
	t.Parallel()
	// 1 + 0614141 + 123456789 -> 106141411234567897, bwipp wiki.
	if got, err := gs1.NewSSCC(1, "0614141", 123456789); err != nil || got != "106141411234567897" {
		t.Errorf("SSCC = %s, %v", got, err)
	}
	for _, bad := range []struct {
		extension int
		prefix    string
		serial    uint64
	}{{10, "0614141", 1}, {-1, "0614141", 1}, {1, "061x141", 1}, {1, "061", 1}, {1, "0614141", 1_000_000_000}} {
		if got, err := gs1.NewSSCC(bad.extension, bad.prefix, bad.serial); err == nil {
			t.Errorf("NewSSCC(%+v) = %s, want an error", bad, got)
		}
	}
}
