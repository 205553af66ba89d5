package board

import (
	"math"
	"strconv"
	"testing"
)

// linear takes the gamma of sRGB (IEC 61966-2-1; from memory) off a colour "#rrggbb".
func linear(t *testing.T, hex string) [3]float64 {
	t.Helper()
	n, err := strconv.ParseUint(hex[1:], 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	var out [3]float64
	for i := range out {
		c := float64(n>>(16-8*i)&255) / 255
		if c <= 0.04045 {
			out[i] = c / 12.92
		} else {
			out[i] = math.Pow((c+0.055)/1.055, 2.4)
		}
	}
	return out
}

// luminance is that of sRGB, 0 to 1.
func luminance(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// lab is CIELAB under D65 (CIE 15; from memory).
func lab(c [3]float64) [3]float64 {
	x := (0.4124*c[0] + 0.3576*c[1] + 0.1805*c[2]) / 0.9505
	y := luminance(c)
	z := (0.0193*c[0] + 0.1192*c[1] + 0.9505*c[2]) / 1.089
	f := func(v float64) float64 {
		if v > 216.0/24389 {
			return math.Cbrt(v)
		}
		return (24389.0/27*v + 16) / 116
	}
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

// The contrast of letters with what they stand on is (L1 + 0.05) / (L2 + 0.05), and 4.5 is asked for (W3C, Web Content
// Accessibility Guidelines 2.1, success criterion 1.4.3; from memory).
func TestLettersAreReadableOnEveryFill(t *testing.T) {
	t.Parallel()
	letters := luminance(linear(t, "#1a1a1a"))
	for _, fill := range fills {
		if c := (luminance(linear(t, fill)) + 0.05) / (letters + 0.05); c < 4.5 {
			t.Errorf("contrast of letters on %s is %.1f", fill, c)
		}
	}
}

// People without the red or the green receptor see what these projections of linear sRGB leave (Viénot, Brettel and
// Mollon 1999, Digital video colourmaps for checking the legibility of displays by dichromats; matrices from memory).
// A difference of 2.3 in CIELAB is just noticeable (Mahy and others 1994; from memory); four times that is asked for.
func TestFillsDifferForEverybody(t *testing.T) {
	t.Parallel()
	for name, m := range map[string][3][3]float64{
		"all receptors": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
		"no red":        {{0.11238, 0.88762, 0}, {0.11238, 0.88762, 0}, {0.00401, -0.00401, 1}},
		"no green":      {{0.29275, 0.70725, 0}, {0.29275, 0.70725, 0}, {-0.02234, 0.02234, 1}},
	} {
		seen := make([][3]float64, len(fills))
		for i, fill := range fills {
			c := linear(t, fill)
			var s [3]float64
			for k := range s {
				s[k] = math.Max(0, m[k][0]*c[0]+m[k][1]*c[1]+m[k][2]*c[2])
			}
			seen[i] = lab(s)
		}
		for i := range seen {
			for j := range i {
				d := math.Hypot(math.Hypot(seen[i][0]-seen[j][0], seen[i][1]-seen[j][1]), seen[i][2]-seen[j][2])
				t.Logf("%s: %s and %s differ by %.1f", name, fills[i], fills[j], d)
				if grey := math.Abs(seen[i][0] - seen[j][0]); name == "all receptors" && grey < 2.3 {
					t.Errorf("%s and %s differ by %.1f in lightness only", fills[i], fills[j], grey)
				}
				if d < 9.2 {
					t.Errorf("%s: %s and %s differ by %.1f only", name, fills[i], fills[j], d)
				}
			}
		}
	}
}

func TestNoTwoOfTheFirstThirtyTwoFamiliesLookAlike(t *testing.T) {
	t.Parallel()
	seen := map[[2]string]int{}
	for family := range len(fills) * (len(textures) + 1) {
		fill, over := dress(family)
		if other, twice := seen[[2]string{fill, over}]; twice {
			t.Errorf("families %d and %d look alike", other, family)
		}
		seen[[2]string{fill, over}] = family
	}
	if len(seen) != 32 {
		t.Errorf("%d looks", len(seen))
	}
}
