package label

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"strings"

	"github.com/boombuler/barcode/datamatrix"

	"rondeau.internal/pkg/gs1"
)

// quiet is the light margin around a Data Matrix symbol in modules: ISO/IEC 16022 asks for one.
const quiet = 1

// maxScale bounds the size of images: 144 modules at this scale are 9,344 pixels.
const maxScale = 64

// Matrix is a GS1 DataMatrix symbol.
type Matrix struct {
	size int
	dark []bool // rows of size modules
}

// NewMatrix makes the symbol of a message (ECC 200, FNC1 first and as separator). The message is checked as by its
// Check. Messages too long for the largest symbol are an error.
func NewMatrix(m gs1.Message) (*Matrix, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	data, err := m.Encode()
	if err != nil {
		return nil, err
	}
	fnc1 := string([]byte{datamatrix.FNC1})
	code, err := datamatrix.Encode(fnc1 + strings.ReplaceAll(data, string(gs1.GS), fnc1))
	if err != nil {
		return nil, fmt.Errorf("GS1 DataMatrix of %d characters: %w; leave elements out", len(data), err)
	}
	box := code.Bounds()
	x := &Matrix{size: box.Dx(), dark: make([]bool, box.Dx()*box.Dy())}
	for row := range box.Dy() {
		for col := range box.Dx() {
			r, _, _, _ := code.At(box.Min.X+col, box.Min.Y+row).RGBA()
			x.dark[row*x.size+col] = r < 0x8000
		}
	}
	return x, nil
}

// Symbol returns the GS1 DataMatrix symbol of the label. The label is checked.
func (l *Label) Symbol() (*Matrix, error) {
	m, err := l.Message()
	if err != nil {
		return nil, err
	}
	return NewMatrix(m)
}

// Size returns the number of modules along a side, without the quiet zone.
func (x *Matrix) Size() int { return x.size }

// Dark reports whether a module is dark; row 0 is the top. Outside the symbol all is light.
func (x *Matrix) Dark(row, col int) bool {
	return row >= 0 && row < x.size && col >= 0 && col < x.size && x.dark[row*x.size+col]
}

// PNG writes the symbol with its quiet zone, scale pixels a module, 1 to 64.
func (x *Matrix) PNG(w io.Writer, scale int) error {
	if scale < 1 || scale > maxScale {
		return fmt.Errorf("a scale of %d pixels a module; give 1 to %d", scale, maxScale)
	}
	side := (x.size + 2*quiet) * scale
	img := image.NewPaletted(image.Rect(0, 0, side, side), color.Palette{color.White, color.Black})
	for i := range img.Pix {
		if x.Dark(i/img.Stride/scale-quiet, i%img.Stride/scale-quiet) {
			img.Pix[i] = 1
		}
	}
	return png.Encode(w, img)
}

// SVG returns the symbol with its quiet zone as a drawing of one unit a module, to be scaled where it is shown.
func (x *Matrix) SVG() string {
	var b strings.Builder
	side := x.size + 2*quiet
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges">`, side, side)
	fmt.Fprintf(&b, `<rect width="%d" height="%d" fill="#fff"/><path d="`, side, side)
	for row := range x.size {
		for col := 0; col < x.size; col++ {
			from := col
			for x.Dark(row, col) {
				col++
			}
			if n := col - from; n > 0 {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+quiet, row+quiet, n, n)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String()
}
