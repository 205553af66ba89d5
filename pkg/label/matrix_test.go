package label_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/label"
)

// read decodes an ECC 200 symbol of one block (up to 48 modules): finder patterns, placement, and the check
// that all Reed-Solomon syndromes are zero. It is written from memory of ISO/IEC 16022 (figures 2 to 9, annex F) and
// shares nothing with the encoder. It returns the data codewords.
func read(t *testing.T, x *label.Matrix) []byte {
	t.Helper()
	ecc := map[int]int{ // modules of a side -> error correction codewords, table 7
		10: 5, 12: 7, 14: 10, 16: 12, 18: 14, 20: 18, 22: 20, 24: 24, 26: 28, 32: 36, 36: 42, 40: 48, 44: 56, 48: 68,
	}[x.Size()]
	if ecc == 0 {
		t.Fatalf("size %d is no symbol of one block", x.Size())
	}
	region := x.Size()
	if region > 26 {
		region /= 2
	}
	for i := range x.Size() { // solid left and bottom, alternating top and right, in each region
		for edge := 0; edge < x.Size(); edge += region {
			if !x.Dark(i, edge) || !x.Dark(edge+region-1, i) || x.Dark(edge, i) != (i%2 == 0) || x.Dark(i, edge+region-1) != (i%2 == 1) {
				t.Fatalf("finder pattern broken at %d of the region at %d", i, edge)
			}
		}
	}
	n := x.Size() / region * (region - 2)
	module := func(row, col int) bool {
		inner := region - 2
		return x.Dark(row/inner*region+1+row%inner, col/inner*region+1+col%inner)
	}
	words := place(n, module)
	for i := 1; i <= ecc; i++ { // generator has roots 2^1 … 2^ecc in GF(256) with 0x12d
		root := byte(1)
		for range i {
			root = times(root, 2)
		}
		sum := byte(0)
		for _, w := range words {
			sum = times(sum, root) ^ w
		}
		if sum != 0 {
			t.Fatalf("syndrome %d is %d", i, sum)
		}
	}
	return words[:len(words)-ecc]
}

func times(a, b byte) byte {
	product := 0
	for i := range 8 {
		if b>>i&1 == 1 {
			product ^= int(a) << i
		}
	}
	for i := 14; i >= 8; i-- {
		if product>>i&1 == 1 {
			product ^= 0x12d << (i - 8)
		}
	}
	return byte(product)
}

// place walks the mapping matrix of n by n in the diagonal order of annex F and collects the codewords.
func place(n int, module func(row, col int) bool) []byte {
	seen := make([]bool, n*n)
	bit := func(row, col int) byte {
		if row < 0 {
			row, col = row+n, col+4-(n+4)%8
		}
		if col < 0 {
			col, row = col+n, row+4-(n+4)%8
		}
		seen[row*n+col] = true
		if module(row, col) {
			return 1
		}
		return 0
	}
	var words []byte
	collect := func(cells ...[2]int) {
		w := byte(0)
		for _, c := range cells {
			w = w<<1 | bit(c[0], c[1])
		}
		words = append(words, w)
	}
	utah := func(r, c int) {
		collect([2]int{r - 2, c - 2}, [2]int{r - 2, c - 1}, [2]int{r - 1, c - 2}, [2]int{r - 1, c - 1},
			[2]int{r - 1, c}, [2]int{r, c - 2}, [2]int{r, c - 1}, [2]int{r, c})
	}
	row, col := 4, 0
	for row < n || col < n {
		switch {
		case row == n && col == 0:
			collect([2]int{n - 1, 0}, [2]int{n - 1, 1}, [2]int{n - 1, 2}, [2]int{0, n - 2}, [2]int{0, n - 1}, [2]int{1, n - 1}, [2]int{2, n - 1}, [2]int{3, n - 1})
		case row == n-2 && col == 0 && n%4 != 0:
			collect([2]int{n - 3, 0}, [2]int{n - 2, 0}, [2]int{n - 1, 0}, [2]int{0, n - 4}, [2]int{0, n - 3}, [2]int{0, n - 2}, [2]int{0, n - 1}, [2]int{1, n - 1})
		}
		for ; row >= 0 && col < n; row, col = row-2, col+2 {
			if row < n && col >= 0 && !seen[row*n+col] {
				utah(row, col)
			}
		}
		row, col = row+1, col+3
		for ; row < n && col >= 0; row, col = row+2, col-2 {
			if row >= 0 && col < n && !seen[row*n+col] {
				utah(row, col)
			}
		}
		row, col = row+3, col+1
	}
	return words
}

func matrix(t *testing.T, bracketed string) *label.Matrix {
	t.Helper()
	m, err := gs1.ParseBracketed(bracketed)
	if err != nil {
		t.Fatal(err)
	}
	x, err := label.NewMatrix(m)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Example 2 of the GS1 DataMatrix Guideline, "Encoding data"; codewords as read with dmtxread, quoted in the tests
// of github.com/boombuler/barcode.
func TestTheSymbolOfTheGuidelineHasItsCodewords(t *testing.T) {
	t.Parallel()
	words := read(t, matrix(t, "(01)09501101020917(17)190508(10)ABCD1234(21)10"))
	want := []byte{232, 131, 139, 180, 141, 131, 132, 139, 147, 147, 149, 135, 138, 140, 66, 67, 68, 69, 142, 164, 232, 151, 140}
	if len(words) < len(want) || !slices.Equal(words[:len(want)], want) {
		t.Errorf("codewords %v, want %v", words, want)
	}
	if len(words) > len(want) && words[len(want)] != 129 {
		t.Errorf("codeword %d after the data, want the pad 129", words[len(want)])
	}
}

// decode turns codewords of the ASCII encoding into what a reader sends.
func decode(t *testing.T, words []byte) string {
	t.Helper()
	var b strings.Builder
	for i, w := range words {
		switch {
		case w == 129:
			return b.String()
		case w >= 1 && w <= 128:
			b.WriteByte(w - 1)
		case w >= 130 && w <= 229:
			b.WriteByte('0' + (w-130)/10)
			b.WriteByte('0' + (w-130)%10)
		case w == 232 && i > 0:
			b.WriteByte(gs1.GS)
		case w == 232:
		default:
			t.Fatalf("codeword %d at %d", w, i)
		}
	}
	return b.String()
}

func TestSymbolsOfAllSizesReadBack(t *testing.T) {
	t.Parallel()
	sizes := map[int]bool{}
	for n := range 10 {
		for _, own := range []string{"", "X", strings.Repeat("sauce-", 8), strings.Repeat("stock/7", 9)} {
			text := "(01)12345678901231(10)" + strings.Repeat("AB7", n%6) + "Z"
			if own != "" {
				text += "(99)" + own
			}
			if n > 5 {
				text += "(21)" + strings.Repeat("k", n)
			}
			x := matrix(t, text)
			sizes[x.Size()] = true
			m, err := gs1.Parse(decode(t, read(t, x)))
			if err != nil || m.String() != text {
				t.Errorf("%s reads back as %s, %v", text, m, err)
			}
		}
	}
	if len(sizes) < 5 {
		t.Errorf("only sizes %v were tried", sizes)
	}
}

func TestPNGAndSVGShowTheSameSymbolWithItsQuietZone(t *testing.T) {
	t.Parallel()
	l := demi()
	x, err := l.Symbol()
	if err != nil {
		t.Fatal(err)
	}
	const scale = 3
	var buf bytes.Buffer
	if err := x.PNG(&buf, scale); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&buf)
	if err != nil {
		t.Fatal(err)
	}
	side := (x.Size() + 2) * scale
	if img.Bounds().Dx() != side || img.Bounds().Dy() != side {
		t.Fatalf("image %v, want %d pixels a side", img.Bounds(), side)
	}
	drawn := svgModules(t, x.SVG())
	for py := range side {
		for px := range side {
			row, col := py/scale-1, px/scale-1
			r, _, _, _ := img.At(px, py).RGBA()
			if dark := r == 0; dark != x.Dark(row, col) || dark != drawn[[2]int{row, col}] {
				t.Fatalf("pixel %d,%d of the PNG is dark: %v, module %d,%d: %v, SVG %v", px, py, dark, row, col, x.Dark(row, col), drawn[[2]int{row, col}])
			}
		}
	}
	for _, bad := range []int{0, 65} {
		if x.PNG(io.Discard, bad) == nil {
			t.Errorf("scale %d is taken", bad)
		}
	}
}

// svgModules returns the modules that the path of the drawing fills.
func svgModules(t *testing.T, svg string) map[[2]int]bool {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	out := map[[2]int]bool{}
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		el, ok := tok.(xml.StartElement)
		if !ok || el.Name.Local != "path" {
			continue
		}
		for _, a := range el.Attr {
			for run := range strings.SplitSeq(strings.TrimPrefix(a.Value, "M"), "M") {
				var col, row, n, back int
				if _, err := fmt.Sscanf(run, "%d %dh%dv1h-%dz", &col, &row, &n, &back); err != nil || n != back {
					t.Fatalf("run %q: %v", run, err)
				}
				for i := range n {
					out[[2]int{row - 1, col - 1 + i}] = true
				}
			}
		}
	}
}
