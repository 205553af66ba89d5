package predict

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// annotations draw marks and put the words of everything where they cover nothing: candidates around each anchor are
// tried in turn, and the one that covers the least is taken.
type annotations struct{ p *Picture }

// label to be placed. It may slide along several anchors.
type label struct {
	words   string
	colour  color.Color
	anchors []vg.Point
	// level labels stand on their line, just above or below it; loose ones may stand off, so that a mark on a curve can be
	// named where there is room.
	level, loose bool
	// curve is the number of the curve that it names, -1 for none.
	curve int
}

// Plot implements plot.Plotter.
func (a annotations) Plot(c draw.Canvas, pl *plot.Plot) {
	x, y := pl.Transforms(&c)
	at := func(h, v float64) vg.Point { return vg.Point{X: x(h), Y: y(v)} }
	var busy []vg.Point // points of curves that words should not cover
	curves := make([][]vg.Point, len(a.p.Curves))
	for n, curve := range a.p.Curves {
		curves[n] = dots(curve, at)
		busy = append(busy, curves[n]...)
	}
	labels := a.labels(c, at)
	for _, m := range a.p.Marks {
		p := at(m.Hours, m.Y)
		a.mark(c, p, m.Cross)
		for dx := -6; dx <= 6; dx += 3 {
			for dy := -6; dy <= 6; dy += 3 {
				busy = append(busy, vg.Point{X: p.X + px(float64(dx)), Y: p.Y + px(float64(dy))})
			}
		}
	}
	for _, l := range a.p.Limits {
		height := y(l.Y)
		for px := c.Min.X; px < c.Max.X; px += 4 {
			busy = append(busy, vg.Point{X: px, Y: height})
		}
	}
	a.p.placed = nil
	for _, l := range labels {
		a.p.placed = append(a.p.placed, a.place(c, l, busy, curves, a.p.placed))
	}
	a.p.room = c.Rectangle
}

func (a annotations) labels(c draw.Canvas, at func(h, v float64) vg.Point) []label {
	var out []label
	for _, m := range a.p.Marks {
		out = append(out, label{words: m.Words, colour: ink, anchors: []vg.Point{at(m.Hours, m.Y)}, loose: true, curve: -1})
	}
	for _, l := range a.p.Limits {
		line := label{words: l.Words, colour: vermillion, level: true, curve: -1}
		end := at(0, l.Y)
		for _, share := range []vg.Length{0.99, 0.9, 0.75, 0.6, 0.45, 0.3} {
			line.anchors = append(line.anchors, vg.Point{X: c.Min.X + share*(c.Max.X-c.Min.X), Y: end.Y})
		}
		out = append(out, line)
	}
	for n, curve := range a.p.Curves {
		if curve.Words == "" {
			continue
		}
		l := label{words: curve.Words, colour: curve.Colour, curve: n}
		for _, share := range []float64{0.35, 0.2, 0.5, 0.65, 0.8, 0.9, 0.1} {
			i := int(share * float64(len(curve.Hours)-1))
			l.anchors = append(l.anchors, at(curve.Hours[i], curve.Y[i]))
		}
		out = append(out, l)
	}
	if b := a.p.Band; b != nil && b.Words != "" {
		l := label{words: b.Words, colour: blue, curve: -1}
		for _, share := range []float64{0.5, 0.65, 0.35, 0.8, 0.2} {
			i := int(share * float64(len(b.Hours)-1))
			l.anchors = append(l.anchors, at(b.Hours[i], math.Max(b.Low[i], b.High[i])))
		}
		out = append(out, l)
	}
	return out
}

// place draws a label at its best candidate and gives the room it takes.
func (a annotations) place(c draw.Canvas, l label, busy []vg.Point, curves [][]vg.Point, placed []vg.Rectangle) vg.Rectangle {
	style := a.p.style(px(12.5), l.colour)
	w, h := style.Width(l.words), style.Height(l.words)
	gap := px(7)
	var best vg.Rectangle
	least := math.Inf(1)
	for n, anchor := range l.anchors {
		var corners []vg.Point
		distances := []vg.Length{gap}
		if l.loose {
			distances = []vg.Length{gap, 2 * gap, 3.5 * gap}
		}
		for _, far := range distances {
			corners = append(corners,
				vg.Point{X: anchor.X + far, Y: anchor.Y + far}, vg.Point{X: anchor.X + far, Y: anchor.Y - far - h},
				vg.Point{X: anchor.X - far - w, Y: anchor.Y - far - h}, vg.Point{X: anchor.X - far - w, Y: anchor.Y + far},
				vg.Point{X: anchor.X - w/2, Y: anchor.Y + far}, vg.Point{X: anchor.X - w/2, Y: anchor.Y - far - h},
			)
		}
		if l.level {
			corners = []vg.Point{{X: anchor.X - w, Y: anchor.Y + px(3)}, {X: anchor.X - w, Y: anchor.Y - h - px(3)}}
		}
		for k, corner := range corners {
			r := vg.Rectangle{Min: corner, Max: vg.Point{X: corner.X + w, Y: corner.Y + h}}
			cost := float64(n) + 0.3*float64(k) + 20*outside(r, c.Rectangle)
			for _, other := range placed {
				cost += 3 * overlap(r, other)
			}
			for _, p := range busy {
				if p.X > r.Min.X-1 && p.X < r.Max.X+1 && p.Y > r.Min.Y-1 && p.Y < r.Max.Y+1 {
					cost += 2
				}
			}
			if l.curve >= 0 && !nearestCurve(r, l.curve, curves) {
				cost += 30
			}
			if cost < least {
				least, best = cost, r
			}
		}
	}
	c.FillText(style, vg.Point{X: best.Min.X, Y: best.Min.Y + style.FontExtents().Descent}, l.words)
	return best
}

// dots are points along a curve, so close that no word slips between them.
func dots(curve Curve, at func(h, v float64) vg.Point) []vg.Point {
	var out []vg.Point
	for i := range curve.Hours {
		here := at(curve.Hours[i], curve.Y[i])
		if i > 0 {
			before := out[len(out)-1]
			n := int(math.Hypot(float64(here.X-before.X), float64(here.Y-before.Y)) / 3)
			for k := 1; k < n; k++ {
				f := vg.Length(k) / vg.Length(n)
				out = append(out, vg.Point{X: before.X + f*(here.X-before.X), Y: before.Y + f*(here.Y-before.Y)})
			}
		}
		out = append(out, here)
	}
	return out
}

// nearestCurve tells whether a rectangle lies nearer to its own curve than to any other.
func nearestCurve(r vg.Rectangle, own int, curves [][]vg.Point) bool {
	distance := func(points []vg.Point) float64 {
		least := math.Inf(1)
		for _, p := range points {
			dx := max(0, r.Min.X-p.X, p.X-r.Max.X)
			dy := max(0, r.Min.Y-p.Y, p.Y-r.Max.Y)
			least = math.Min(least, float64(dx*dx+dy*dy))
		}
		return least
	}
	mine := distance(curves[own])
	for n := range curves {
		if n != own && distance(curves[n]) < mine {
			return false
		}
	}
	return true
}

// outside is how far a rectangle sticks out of another, in points.
func outside(r, of vg.Rectangle) float64 {
	return float64(max(0, of.Min.X-r.Min.X) + max(0, r.Max.X-of.Max.X) + max(0, of.Min.Y-r.Min.Y) + max(0, r.Max.Y-of.Max.Y))
}

// overlap is the common area of two rectangles, in square points.
func overlap(a, b vg.Rectangle) float64 {
	w := min(a.Max.X, b.Max.X) - max(a.Min.X, b.Min.X)
	h := min(a.Max.Y, b.Max.Y) - max(a.Min.Y, b.Min.Y)
	if w <= 0 || h <= 0 {
		return 0
	}
	return float64(w * h)
}

// mark draws a ring, or a cross.
func (a annotations) mark(c draw.Canvas, p vg.Point, cross bool) {
	r := px(5.5)
	c.SetLineDash(nil, 0)
	if cross {
		c.SetColor(vermillion)
		c.SetLineWidth(px(2.4))
		for _, side := range []vg.Length{1, -1} {
			var path vg.Path
			path.Move(vg.Point{X: p.X - r, Y: p.Y - side*r})
			path.Line(vg.Point{X: p.X + r, Y: p.Y + side*r})
			c.Stroke(path)
		}
		return
	}
	var ring vg.Path
	ring.Move(vg.Point{X: p.X + r, Y: p.Y})
	ring.Arc(p, r, 0, 2*math.Pi)
	ring.Close()
	c.SetColor(color.White)
	c.Fill(ring)
	c.SetColor(green)
	c.SetLineWidth(px(2.4))
	c.Stroke(ring)
}
