package gs1

import (
	"fmt"
	"strings"
)

// Key is a kind of numeric GS1 key with a check digit.
type Key uint8

// The keys.
const (
	GTIN8 Key = iota
	GTIN12
	GTIN13
	GTIN14
	GLN
	SSCC
)

var keys = [...]struct {
	name   string
	digits int
}{{"GTIN-8", 8}, {"GTIN-12", 12}, {"GTIN-13", 13}, {"GTIN-14", 14}, {"GLN", 13}, {"SSCC", 18}}

// String returns the name of the key, e.g. "GTIN-13".
func (k Key) String() string {
	if int(k) < len(keys) {
		return keys[k].name
	}
	return fmt.Sprintf("Key(%d)", uint8(k))
}

// Digits returns the length of the key including its check digit, 0 for an unknown key.
func (k Key) Digits() int {
	if int(k) < len(keys) {
		return keys[k].digits
	}
	return 0
}

// CheckDigit returns the digit that completes the digits before it: with weights 3, 1, 3 … from the right,
// (10 - sum mod 10) mod 10. GS1 General Specifications, "Check digit calculation". The argument must be one
// or more ASCII digits.
func CheckDigit(body string) (byte, error) {
	if body == "" {
		return 0, fmt.Errorf("no digits given; give the key without its check digit")
	}
	if at := notDigit(body); at >= 0 {
		return 0, fmt.Errorf("%q has %q at place %d; a key has digits only", body, body[at], at+1)
	}
	return checkDigit(body), nil
}

func checkDigit(body string) byte {
	sum, weight := 0, 3
	for i := len(body) - 1; i >= 0; i-- {
		sum += weight * int(body[i]-'0')
		weight = 4 - weight
	}
	return byte('0' + (10-sum%10)%10)
}

// notDigit returns the index of the first byte that is not an ASCII digit, or -1.
func notDigit(s string) int {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return i
		}
	}
	return -1
}

// Check returns nil when s is a complete key of this kind, otherwise an error that says what to correct.
func (k Key) Check(s string) error {
	if at := notDigit(s); at >= 0 {
		return fmt.Errorf("%s %q has %q at place %d; a %s has digits only", k, s, s[at], at+1, k)
	}
	if len(s) != k.Digits() || s == "" {
		return fmt.Errorf("%s %q has %d digits; a %s has %d", k, s, len(s), k, k.Digits())
	}
	if err := checksum(s); err != nil {
		return fmt.Errorf("%s %w", k, err)
	}
	return nil
}

// checksum checks the last digit of digits; s must have two or more.
func checksum(s string) error {
	last := len(s) - 1
	if want := checkDigit(s[:last]); s[last] != want {
		return fmt.Errorf("%q ends in %c where its check digit is %c; a digit is wrong, read it again", s, s[last], want)
	}
	return nil
}

// Complete returns body with its check digit; body must have one digit less than the key.
func (k Key) Complete(body string) (string, error) {
	if len(body) != k.Digits()-1 {
		return "", fmt.Errorf("%q has %d digits; a %s has %d before its check digit", body, len(body), k, k.Digits()-1)
	}
	d, err := CheckDigit(body)
	if err != nil {
		return "", err
	}
	return body + string(rune(d)), nil
}

// PadGTIN checks a GTIN-8, -12, -13 or -14 and returns it in 14 digits, as application identifier 01 wants it.
func PadGTIN(s string) (string, error) {
	for _, k := range []Key{GTIN8, GTIN12, GTIN13, GTIN14} {
		if len(s) == k.Digits() {
			if err := k.Check(s); err != nil {
				return "", err
			}
			return strings.Repeat("0", 14-len(s)) + s, nil
		}
	}
	return "", fmt.Errorf("GTIN %q has %d characters; a GTIN has 8, 12, 13 or 14 digits", s, len(s))
}

// NewSSCC builds an SSCC from its extension digit (0 to 9), the company prefix and a serial reference. The serial is
// padded with zeros; an error says when it no longer fits.
func NewSSCC(extension int, prefix string, serial uint64) (string, error) {
	if extension < 0 || extension > 9 {
		return "", fmt.Errorf("extension digit %d; give 0 to 9", extension)
	}
	if len(prefix) < 4 || len(prefix) > 12 || notDigit(prefix) >= 0 {
		return "", fmt.Errorf("company prefix %q; give 4 to 12 digits", prefix)
	}
	room := 16 - len(prefix)
	ref := fmt.Sprintf("%0*d", room, serial)
	if len(ref) > room {
		return "", fmt.Errorf("serial reference %d has %d digits; after prefix %s there is room for %d", serial, len(ref), prefix, room)
	}
	return SSCC.Complete(fmt.Sprint(extension) + prefix + ref)
}
