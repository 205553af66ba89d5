package board

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// Measures of the picture, in its own units: pixels at full size.
const (
	svgWidth   = 1200.0
	svgMargin  = 20.0
	svgNames   = 150.0 // width of the names of the vessels
	svgLane    = 24.0  // height of a block
	svgGap     = 6.0   // below a lane
	svgMarks   = 13.0  // below a lane with limits of cooling
	svgClass   = 18.0  // height of the name of a class
	svgAxis    = 38.0  // height of the days and hours
	letterWide = 0.55  // mean width of a letter, of its height; common sans-serif faces have 0.5 to 0.55
)

// SVG draws a board as a picture 1200 wide, in SVG 1.1 (W3C Recommendation, 16 August 2011) without scripts, styles of
// others or fonts to load.
func SVG(w io.Writer, b Board) error {
	if err := b.Check(); err != nil {
		return err
	}
	p := &picture{board: b, codes: b.Codes(), left: svgMargin + svgNames, right: svgWidth - svgMargin}
	_, p.family = b.families()
	p.heading()
	p.top = p.y
	p.layout()
	p.axis()
	p.rows()
	p.y = p.bottom
	p.legend()
	_, err := io.WriteString(w, p.head()+p.out.String()+"</svg>\n")
	return err
}

// picture is one drawing in progress; y is how far down it has come.
type picture struct {
	board       Board
	codes       []string
	family      []int
	left, right float64 // of the time
	top, bottom float64 // of the rows with their axis
	y           float64
	out         strings.Builder
	lines       []line
}

// line is one lane of a row with its place.
type line struct {
	row    int
	class  string // to be written above, where it changes
	first  bool   // of its row
	last   bool
	y      float64 // top of the blocks
	height float64 // with the gap below
	blocks []Block
}

// escape makes a text safe inside of an element or attribute.
func escape(s string) string {
	var out strings.Builder
	_ = xml.EscapeText(&out, []byte(plain(s))) // a Builder does not fail
	return out.String()
}

func (p *picture) add(format string, args ...any) { fmt.Fprintf(&p.out, format+"\n", args...) }

// rect draws a rectangle with further attributes.
func (p *picture) rect(x, y, width, height float64, attributes string) {
	p.add(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" %s/>`, x, y, width, height, attributes)
}

// rule draws a straight line with further attributes.
func (p *picture) rule(x1, y1, x2, y2 float64, attributes string) {
	p.add(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" %s/>`, x1, y1, x2, y2, attributes)
}

// words writes a text with its left end on the base line at x, y.
func (p *picture) words(x, y, size float64, attributes, text string) {
	p.add(`<text x="%.1f" y="%.1f" font-size="%.0f" %s>%s</text>`, x, y, size, attributes, escape(text))
}

// wide estimates the width of a text.
func wide(text string, size float64) float64 {
	return float64(utf8.RuneCountInString(text)) * size * letterWide
}

// fit cuts a text to a width.
func fit(text string, size, width float64) string {
	if wide(text, size) <= width {
		return text
	}
	n := int(width / size / letterWide)
	if n < 2 {
		return ""
	}
	return strings.TrimRight(string([]rune(text)[:n-1]), " ,") + "…"
}

// x is the place of a moment.
func (p *picture) x(t time.Time) float64 {
	share := float64(t.Sub(p.board.Start)) / float64(p.board.End.Sub(p.board.Start))
	return p.left + share*(p.right-p.left)
}

// head opens the picture; it is written last, when the height is known.
func (p *picture) head() string {
	height := p.y + svgMargin
	var out strings.Builder
	fmt.Fprintf(&out, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="%.0f" height="%.0f" viewBox="0 0 %.0f %.0f" role="img" font-family="Helvetica, Arial, sans-serif" fill="#1a1a1a">
<title>%s</title>
<desc>%s</desc>
<defs>
<pattern id="cleaning" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" fill="#ffffff"/><rect width="2" height="6" fill="#4a4a4a"/></pattern>
<pattern id="down" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#ffffff"/><path d="M0 0L8 8M8 0L0 8" stroke="#1a1a1a" stroke-width="1"/></pattern>
`, svgWidth, height, svgWidth, height, escape(p.board.title()), escape(p.board.Quality))
	for _, t := range textures {
		out.WriteString(t.definition + "\n")
	}
	out.WriteString("</defs>\n")
	fmt.Fprintf(&out, `<rect width="%.0f" height="%.0f" fill="#ffffff"/>`+"\n", svgWidth, height)
	return out.String()
}

// heading writes what the picture shows.
func (p *picture) heading() {
	p.y = svgMargin + 18
	p.words(svgMargin, p.y, 18, `font-weight="bold"`, fit(p.board.title(), 18, svgWidth-2*svgMargin))
	p.y += 4
	p.paragraph(p.board.Quality, 13, `fill="#1a1a1a"`, svgMargin, svgWidth-2*svgMargin)
	p.paragraph(p.board.Outlook, 13, `fill="#1a1a1a"`, svgMargin, svgWidth-2*svgMargin)
	p.y += 10
}

// paragraph writes words in as many lines as they need.
func (p *picture) paragraph(text string, size float64, attributes string, x, width float64) {
	line := ""
	flush := func() {
		if line != "" {
			p.y += size + 4
			p.words(x, p.y, size, attributes, line)
		}
		line = ""
	}
	for _, word := range strings.Fields(plain(text)) {
		if line != "" && wide(line+" "+word, size) > width {
			flush()
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	flush()
}

// layout gives every lane its place.
func (p *picture) layout() {
	y := p.top + svgAxis
	class := ""
	for i, r := range p.board.Rows {
		named := ""
		if r.Class != class {
			class, named = r.Class, r.Class
			if named != "" {
				y += svgClass
			}
		}
		lanes := r.lanes()
		for j, lane := range lanes {
			l := line{row: i, first: j == 0, last: j == len(lanes)-1, y: y + 3, height: 3 + svgLane + svgGap, blocks: lane}
			if l.first {
				l.class = named
			}
			for _, k := range lane {
				if !k.Limit.IsZero() {
					l.height = 3 + svgLane + svgMarks
				}
			}
			p.lines = append(p.lines, l)
			y += l.height
		}
	}
	p.bottom = y
}

// axis draws days, hours and the times in which nobody is on shift.
func (p *picture) axis() {
	b := p.board
	head := p.top + svgAxis
	for _, c := range b.closed() {
		p.rect(p.x(c.Start), head, p.x(c.End)-p.x(c.Start), p.bottom-head, `fill="#e6e6e6"`)
	}
	perHour := (p.right - p.left) / b.End.Sub(b.Start).Hours()
	every := 24
	for _, n := range []int{1, 2, 3, 4, 6, 12} {
		if float64(n)*perHour >= 26 {
			every = n
			break
		}
	}
	for _, k := range b.ticks(every) {
		x := p.x(k.at)
		p.rule(x, head-4, x, p.bottom, `stroke="#bdbdbd" stroke-width="0.6"`)
		text := fmt.Sprintf("%02d", k.hour)
		switch {
		case k.hour == 0 || x+wide(text, 10)/2 > p.right+svgMargin: // a day begins, or there is no room
		case x < p.left+8:
			p.words(x+3, head-7, 10, ``, text)
		default:
			p.words(x, head-7, 10, `text-anchor="middle"`, text)
		}
	}
	for _, d := range b.days() {
		x, width := p.x(d.Start), p.x(d.End)-p.x(d.Start)
		p.rule(x, p.top, x, p.bottom, `stroke="#4a4a4a" stroke-width="1.2"`)
		name := d.Start.In(b.zone()).Format("Monday 2 January 2006")
		for _, shorter := range []string{"Mon 2 Jan", "Mon"} {
			if wide(name, 12)+8 > width {
				name = d.Start.In(b.zone()).Format(shorter)
			}
		}
		if wide(name, 12)+8 <= width {
			p.words(x+5, p.top+13, 12, `font-weight="bold"`, name)
		}
	}
	p.words(svgMargin, p.top+13, 11, ``, "Hours in "+b.zone().String())
	p.rule(svgMargin, head, p.right, head, `stroke="#4a4a4a" stroke-width="1"`)
	p.rule(p.right, p.top, p.right, p.bottom, `stroke="#4a4a4a" stroke-width="0.6"`)
}

// rows draws the vessels and what is in them.
func (p *picture) rows() {
	for _, l := range p.lines {
		r := p.board.Rows[l.row]
		if l.class != "" {
			p.rect(svgMargin, l.y-3-svgClass, svgNames-2, svgClass, `fill="#ffffff"`)
			p.words(svgMargin, l.y-3-5, 11, `font-weight="bold" fill="#4a4a4a"`, fit(l.class, 11, svgNames-6))
			p.rule(svgMargin, l.y-3-svgClass, p.right, l.y-3-svgClass, `stroke="#7a7a7a" stroke-width="0.8"`)
		}
		if l.first {
			p.words(svgMargin+8, l.y+svgLane/2+4, 13, ``, fit(r.Name, 13, svgNames-12))
		}
		for _, d := range r.Down {
			if c, some := p.board.down(d); some {
				p.out.WriteString("<g>")
				p.rect(p.x(c.Start), l.y, p.x(c.End)-p.x(c.Start), svgLane, `fill="url(#down)" stroke="#1a1a1a" stroke-width="1"`)
				p.add("<title>%s</title></g>", escape(p.board.outage(r, d)))
			}
		}
		if l.first {
			for _, s := range r.Cleanings {
				p.cleaning(r, l, s)
			}
		}
		for i, k := range l.blocks {
			p.block(r, l, k, p.room(r, l, i))
		}
		for _, k := range l.blocks {
			p.limit(l, k)
		}
		if l.last {
			p.rule(svgMargin, l.y-3+l.height, p.right, l.y-3+l.height, `stroke="#cfcfcf" stroke-width="0.6"`)
		}
	}
	p.rule(svgMargin, p.bottom, p.right, p.bottom, `stroke="#4a4a4a" stroke-width="1"`)
}

// room is the free width to the right of a block.
func (p *picture) room(r Row, l line, i int) float64 {
	from, next := l.blocks[i].until(), p.board.End
	before := func(t time.Time) {
		if !t.Before(from) && t.Before(next) {
			next = t
		}
	}
	if i+1 < len(l.blocks) {
		before(l.blocks[i+1].Start)
	}
	if l.first {
		for _, c := range r.Cleanings {
			before(c.Start)
		}
	}
	for _, d := range r.Down {
		before(d.Start)
	}
	return p.x(next) - p.x(from)
}

func (p *picture) cleaning(r Row, l line, s Span) {
	c, some := p.board.cut(s)
	if !some {
		return
	}
	p.out.WriteString("<g>")
	p.rect(p.x(c.Start), l.y+4, max(p.x(c.End)-p.x(c.Start), 2), svgLane-8, `fill="url(#cleaning)" stroke="#4a4a4a" stroke-width="0.8"`)
	p.add("<title>%s</title></g>", escape("Cleaning of "+r.Name+", "+p.board.when(s.Start)+" until "+p.board.when(s.End)))
}
