package predict

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Picture of an answer: curves over time, limits as lines, everything named in words beside it, not by colour alone.
type Picture struct {
	Title, Subtitle string
	// Footer is a sentence below the axes.
	Footer string
	Y      string // axis with unit
	Curves []Curve
	Band   *Band
	Limits []Limit
	Marks  []Mark
	// Low and High of the y axis; equal means by the data.
	Low, High float64
	// Lower is a second picture below the first, over the same hours; its titles are not used.
	Lower *Picture

	small  bool           // drawn as a lower panel
	placed []vg.Rectangle // words, as they were drawn last
	room   vg.Rectangle   // of the axes
}

// Curve is a line over hours with its words beside it.
type Curve struct {
	Words  string
	Hours  []float64
	Y      []float64
	Colour color.RGBA
	Dashed bool
}

// Band is the area between the early and the late course.
type Band struct {
	Words     string
	Hours     []float64
	Low, High []float64
}

// Limit is a horizontal line.
type Limit struct {
	Words string
	Y     float64
}

// Mark is a point in time and height with its words, such as the moment by which a limit must be reached. A cross stands
// for what is missed or refused, a ring for what is met.
type Mark struct {
	Words string
	Hours float64
	Y     float64
	Cross bool
}

// Colours that people with any kind of colour vision can tell apart (Okabe and Ito, Color Universal Design, 2008).
var (
	blue       = color.RGBA{R: 0x00, G: 0x72, B: 0xB2, A: 0xFF}
	vermillion = color.RGBA{R: 0xD5, G: 0x5E, B: 0x00, A: 0xFF}
	green      = color.RGBA{R: 0x00, G: 0x9E, B: 0x73, A: 0xFF}
	ink        = color.RGBA{R: 0x22, G: 0x22, B: 0x22, A: 0xFF}
	pale       = color.RGBA{R: 0xCF, G: 0xE4, B: 0xF3, A: 0xFF}
	grid       = color.RGBA{R: 0xD8, G: 0xD8, B: 0xD8, A: 0xFF}
)

// Size of a picture in pixels.
const (
	pictureWidth  = 800
	pictureHeight = 520
)

var sans = font.Font{Typeface: "Liberation", Variant: "Sans"}

func px(n float64) vg.Length { return vg.Length(n) * 0.75 } // a pixel is 1/96 in, a point 1/72 in

// SVG returns the picture as SVG. Words stay text; a reader without the font takes one of the same widths. Title and
// description speak to those who do not see it.
func (p *Picture) SVG() ([]byte, error) {
	drawn, err := p.onto(vgsvg.NewWith(vgsvg.UseWH(px(pictureWidth), px(pictureHeight))))
	if err != nil {
		return nil, err
	}
	drawn = bytes.ReplaceAll(drawn, []byte("font-family:Liberation Sans;"), []byte("font-family:'Liberation Sans',Arial,Helvetica,sans-serif;"))
	var told bytes.Buffer
	for _, one := range []struct{ tag, text string }{{"title", p.Title}, {"desc", p.description()}} {
		told.WriteString("<" + one.tag + ">")
		err := xml.EscapeText(&told, []byte(one.text))
		if err != nil {
			return nil, fmt.Errorf("write the %s of the picture: %w", one.tag, err)
		}
		told.WriteString("</" + one.tag + ">\n")
	}
	return bytes.Replace(drawn, []byte("<g transform"), append(told.Bytes(), "<g transform"...), 1), nil
}

// description tells the picture in words.
func (p *Picture) description() string {
	parts := []string{p.Subtitle}
	for _, one := range []*Picture{p, p.Lower} {
		if one == nil {
			continue
		}
		for _, l := range one.Limits {
			parts = append(parts, l.Words)
		}
		for _, m := range one.Marks {
			parts = append(parts, m.Words)
		}
	}
	return strings.Join(append(parts, p.Footer), "; ")
}

// PNG returns the picture as PNG of twice the size, for print and fine screens.
func (p *Picture) PNG() ([]byte, error) {
	return p.onto(vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(px(pictureWidth), px(pictureHeight)), vgimg.UseDPI(192))})
}

// surface is a canvas that can be written out.
type surface interface {
	vg.CanvasSizer
	io.WriterTo
}

func (p *Picture) onto(c surface) ([]byte, error) {
	canvas := draw.New(c)
	canvas.SetColor(color.White)
	canvas.Fill(canvas.Rectangle.Path())
	style := p.style(px(17), ink)
	style.Font.Weight = 3 // bold
	top := canvas.Max.Y - px(14)
	canvas.FillText(style, vg.Point{X: px(18), Y: top - px(14)}, p.Title)
	canvas.FillText(p.style(px(13), ink), vg.Point{X: px(18), Y: top - px(34)}, p.Subtitle)
	bottom := canvas.Min.Y + px(8)
	if p.Footer != "" {
		canvas.FillText(p.style(px(11), ink), vg.Point{X: px(18), Y: bottom + px(2)}, p.Footer)
		bottom += px(20)
	}
	inner := draw.Canvas{Canvas: canvas.Canvas, Rectangle: vg.Rectangle{Min: vg.Point{X: px(10), Y: bottom}, Max: vg.Point{X: canvas.Max.X - px(22), Y: top - px(52)}}}
	hours := p.hours()
	if p.Lower != nil {
		hours = math.Max(hours, p.Lower.hours())
		below := inner
		below.Max.Y = inner.Min.Y + (inner.Max.Y-inner.Min.Y)*0.36
		inner.Min.Y = below.Max.Y + px(8)
		p.Lower.small = true
		lower, err := p.Lower.axes(hours)
		if err != nil {
			return nil, err
		}
		upper, err := p.axes(hours)
		if err != nil {
			return nil, err
		}
		// Both panels begin at the same place.
		shift := lower.DataCanvas(below).Min.X - upper.DataCanvas(inner).Min.X
		below.Min.X += max(0, -shift)
		inner.Min.X += max(0, shift)
		lower.Draw(below)
		upper.Draw(inner)
	} else {
		pl, err := p.axes(hours)
		if err != nil {
			return nil, err
		}
		pl.Draw(inner)
	}
	var b bytes.Buffer
	_, err := c.WriteTo(&b)
	if err != nil {
		return nil, fmt.Errorf("write the picture: %w", err)
	}
	return b.Bytes(), nil
}

func (p *Picture) style(size vg.Length, c color.Color) text.Style {
	f := sans
	f.Size = size
	return text.Style{Color: c, Font: f, Handler: plot.DefaultTextHandler}
}

// axes is everything but title and footer.
func (p *Picture) axes(hours float64) (*plot.Plot, error) {
	pl := plot.New()
	pl.BackgroundColor = color.White
	pl.X.Min, pl.X.Max = 0, hours
	pl.Y.Min, pl.Y.Max = p.heights()
	pl.X.Label.Text, pl.Y.Label.Text = "time (hours)", p.Y
	pl.X.Tick.Marker = ticks{minutes: hours <= 2.5, most: 9}
	if hours <= 2.5 {
		pl.X.Label.Text = "time (minutes)"
	}
	pl.Y.Tick.Marker = ticks{most: 9}
	if p.small {
		pl.Y.Tick.Marker = ticks{most: 5}
	}
	if p.Lower != nil {
		pl.X.Label.Text = ""
	}
	for _, a := range []*plot.Axis{&pl.X, &pl.Y} {
		a.Label.TextStyle.Font, a.Tick.Label.Font = p.style(px(13), ink).Font, p.style(px(13), ink).Font
		a.Label.Padding, a.Padding = px(4), 0
		a.Color, a.Tick.Color, a.Label.TextStyle.Color, a.Tick.Label.Color = ink, ink, ink, ink
	}
	lines := plotter.NewGrid()
	lines.Horizontal.Color, lines.Vertical.Color = grid, grid
	pl.Add(lines)
	if p.Band != nil {
		area, err := plotter.NewPolygon(append(along(p.Band.Hours, p.Band.Low, false), along(p.Band.Hours, p.Band.High, true)...))
		if err != nil {
			return nil, fmt.Errorf("draw the range: %w", err)
		}
		area.Color, area.Width = pale, 0
		pl.Add(area)
	}
	for _, l := range p.Limits {
		err := p.line(pl, plotter.XYs{{X: 0, Y: l.Y}, {X: hours, Y: l.Y}}, vermillion, 1.2, []vg.Length{px(8), px(5)})
		if err != nil {
			return nil, err
		}
	}
	for _, curve := range p.Curves {
		var dashes []vg.Length
		if curve.Dashed {
			dashes = []vg.Length{px(3), px(3)}
		}
		err := p.line(pl, along(curve.Hours, curve.Y, false), curve.Colour, 2.4, dashes)
		if err != nil {
			return nil, err
		}
	}
	pl.Add(annotations{p})
	return pl, nil
}

func (p *Picture) line(pl *plot.Plot, xy plotter.XYs, c color.Color, width float64, dashes []vg.Length) error {
	l, err := plotter.NewLine(xy)
	if err != nil {
		return fmt.Errorf("draw a line: %w", err)
	}
	l.Color, l.Width, l.Dashes = c, px(width), dashes
	pl.Add(l)
	return nil
}

func along(x, y []float64, backwards bool) plotter.XYs {
	out := make(plotter.XYs, len(x))
	for i := range x {
		at := i
		if backwards {
			at = len(x) - 1 - i
		}
		out[i] = plotter.XY{X: x[at], Y: y[at]}
	}
	return out
}

func (p *Picture) hours() float64 {
	most := 0.01
	for _, c := range p.Curves {
		most = math.Max(most, c.Hours[len(c.Hours)-1])
	}
	if p.Band != nil {
		most = math.Max(most, p.Band.Hours[len(p.Band.Hours)-1])
	}
	for _, m := range p.Marks {
		most = math.Max(most, m.Hours*1.02)
	}
	return most
}

func (p *Picture) heights() (low, high float64) {
	if p.Low != p.High {
		return p.Low, p.High
	}
	low, high = math.Inf(1), math.Inf(-1)
	reach := func(v float64) { low, high = math.Min(low, v), math.Max(high, v) }
	for _, c := range p.Curves {
		for _, y := range c.Y {
			reach(y)
		}
	}
	for _, l := range p.Limits {
		reach(l.Y)
	}
	if p.Band != nil {
		for i := range p.Band.Hours {
			reach(p.Band.Low[i])
			reach(p.Band.High[i])
		}
	}
	room := math.Max(1e-3, 0.06*(high-low))
	for _, l := range p.Limits { // words need room below the lowest line
		if l.Y < low+room {
			return low - 2*room, high + room
		}
	}
	return low - room, high + room
}

// ticks are round numbers, as many as `most` or somewhat fewer; hours of short courses are written in minutes.
type ticks struct {
	minutes bool
	most    float64
}

// Ticks implements plot.Ticker.
func (t ticks) Ticks(low, high float64) []plot.Tick {
	scale := 1.0
	steps := []float64{1, 2, 2.5, 5, 10}
	if t.minutes {
		scale, steps = 60, []float64{1, 1.5, 2, 3, 5, 10}
	}
	span := (high - low) * scale
	power := math.Pow(10, math.Floor(math.Log10(span/t.most)))
	step := steps[len(steps)-1] * power
	for _, s := range steps {
		if span/(s*power) <= t.most {
			step = s * power
			break
		}
	}
	var out []plot.Tick
	for v := math.Ceil(low*scale/step-1e-9) * step; v <= high*scale*(1+1e-9); v += step {
		label := trimmed(v)
		if math.Abs(v) < step*1e-6 {
			label = "0"
		}
		out = append(out, plot.Tick{Value: v / scale, Label: label})
	}
	return out
}
