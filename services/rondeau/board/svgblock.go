package board

import (
	"fmt"
	"math"
	"strings"
)

// fills tell families apart. They were searched for so that they differ also for people without the receptors for red or
// green, and by lightness on grey paper; dark letters are readable on all of them. Tests compute all three. More families
// get the same fills with a texture, and the codes are letters of the families, so that nothing depends on colour.
var fills = []string{"#fbeb9a", "#9a86ff", "#ff9a81", "#7ef3df", "#f382c4", "#4f9e50", "#c0ccfc", "#878473"}

// texture is drawn over a fill.
type texture struct{ id, definition string }

var textures = []texture{
	{"dots", `<pattern id="dots" width="6" height="6" patternUnits="userSpaceOnUse"><circle cx="3" cy="3" r="0.9" fill="#1a1a1a" fill-opacity="0.55"/></pattern>`},
	{"bars", `<pattern id="bars" width="7" height="7" patternUnits="userSpaceOnUse"><rect y="3" width="7" height="1" fill="#1a1a1a" fill-opacity="0.5"/></pattern>`},
	{"posts", `<pattern id="posts" width="7" height="7" patternUnits="userSpaceOnUse"><rect x="3" width="1" height="7" fill="#1a1a1a" fill-opacity="0.5"/></pattern>`},
}

// dress gives a family its fill and the texture over it, empty for none.
func dress(family int) (fill, over string) {
	round := (family / len(fills)) % (len(textures) + 1)
	if round > 0 {
		over = textures[round-1].id
	}
	return fills[family%len(fills)], over
}

// swatch draws a rectangle in the dress of a family.
func (p *picture) swatch(family int, x, y, width, height float64, attributes string) {
	fill, over := dress(family)
	p.rect(x, y, width, height, fmt.Sprintf(`fill="%s" %s`, fill, attributes))
	if over != "" {
		p.rect(x, y, width, height, fmt.Sprintf(`fill="url(#%s)"`, over))
	}
}

// block draws a step, and behind it the time in which the vessel holds the material. There is room to its right before
// the next one.
func (p *picture) block(r Row, l line, k Block, room float64) {
	x := p.board.Batches[k.Batch]
	family := p.family[k.Batch]
	if held, some := p.board.cut(Span{k.End, k.until()}); some {
		fill, _ := dress(family)
		p.rect(p.x(held.Start), l.y+5, p.x(held.End)-p.x(held.Start), svgLane-10,
			fmt.Sprintf(`fill="%s" fill-opacity="0.4" stroke="#4a4a4a" stroke-width="0.8" stroke-dasharray="2 2"`, fill))
	}
	if !k.End.After(p.board.Start) || !k.Start.Before(p.board.End) {
		return
	}
	s, _ := p.board.cut(k.Span)
	from, width := p.x(s.Start), math.Max(p.x(s.End)-p.x(s.Start), 2.5)
	outline := `stroke="#4a4a4a" stroke-width="0.8"`
	switch {
	case x.Late:
		outline = fmt.Sprintf(`stroke="%s" stroke-width="%.1f"`, lateInk, math.Min(3, math.Max(1.5, width/4)))
	case x.AtRisk():
		outline = fmt.Sprintf(`stroke="%s" stroke-width="%.1f" stroke-dasharray="5 2"`, riskInk, math.Min(2.4, math.Max(1.2, width/4)))
	}
	p.out.WriteString("<g>")
	p.swatch(family, from, l.y, width, svgLane, outline)
	p.label(k, from, l.y, width, room, remark(x))
	words := p.codes[k.Batch] + " " + k.Step + " of " + p.board.describe(x) + "; in " + r.Name + " " + p.board.when(k.Start) + " until " + p.board.when(k.End)
	if k.until().After(k.End) {
		words += ", held until " + p.board.when(k.until())
	}
	if !k.Limit.IsZero() {
		words += ", cooling limit " + p.board.when(k.Limit)
	}
	switch {
	case x.Late:
		words += ", " + p.board.tardy(x)
	case x.AtRisk():
		words += ", " + p.board.risky(x)
	case x.Sure != nil:
		words += ", in time with " + x.sure()
	}
	p.add("<title>%s</title></g>", escape(words))
}

// Outlines of late batches and of those at risk: dark enough on every fill, told apart by the stroke and by words too.
const (
	lateInk = "#7a0010"
	riskInk = "#6b3a00"
)

// remark is what is written beside the code of a batch that needs a look: "late", or how sure it is.
func remark(x Batch) string {
	switch {
	case x.Late:
		return "late"
	case x.AtRisk():
		return x.sure()
	}
	return ""
}

// label writes as much as fits into a block: code and step, the code, or nothing. A remark is written beside the block
// when it does not fit and there is room.
func (p *picture) label(k Block, x, y, width, room float64, remark string) {
	code := p.codes[k.Batch]
	texts := []string{code + " " + k.Step, code}
	if remark != "" {
		texts = []string{code + " " + remark + ", " + k.Step, code + " " + remark, code}
	}
	inside := ""
	for i, text := range texts {
		for _, size := range []float64{11, 9} {
			if w := wide(text, size); inside == "" && w+4 <= width && (i > 0 || size == 11) {
				inside = text
				p.inside(k, x+math.Min(4, (width-w)/2), y, w, size, text)
			}
		}
	}
	beside := code + " " + remark
	if inside == code {
		beside = remark
	}
	if remark != "" && !strings.Contains(inside, remark) && wide(beside, 9)+6 <= room {
		p.words(x+width+4, y+svgLane/2+4, 9, `font-weight="bold"`, beside)
	}
}

// inside writes into a block, on plain ground where it has a texture.
func (p *picture) inside(k Block, x, y, width, size float64, text string) {
	if fill, over := dress(p.family[k.Batch]); over != "" {
		p.rect(x-1.5, y+5, width+2, svgLane-10, fmt.Sprintf(`fill="%s"`, fill))
	}
	p.words(x, y+svgLane/2+4, size, ``, text)
}

// limit marks by when a cooling must have ended: a thin line from the step to a bar, with the code of the batch.
func (p *picture) limit(l line, k Block) {
	if k.Limit.IsZero() || !k.Limit.After(p.board.Start) || !k.Start.Before(p.board.End) {
		return
	}
	y := l.y + svgLane + 5
	from, to := math.Max(p.x(k.Start), p.left), p.x(k.Limit)
	if to > p.right { // beyond the picture: the line runs out of it
		p.rule(from, y, p.right, y, `stroke="#4a4a4a" stroke-width="0.8" stroke-dasharray="1 2"`)
		return
	}
	p.rule(from, y, to, y, `stroke="#4a4a4a" stroke-width="0.8" stroke-dasharray="1 2"`)
	p.rule(to, l.y+svgLane-1, to, y+4, `stroke="#1a1a1a" stroke-width="2"`)
	p.words(to+2, y+4, 9, ``, p.codes[k.Batch])
}

// legend says in words what the picture shows: the marks, the batches, the late ones and the notes.
func (p *picture) legend() {
	p.y += 24
	p.marks()
	p.batches()
	late := false
	explained, all := p.board.explained()
	for i, x := range p.board.Batches {
		if !x.Late {
			continue
		}
		if !late {
			late = true
			p.y += 22
			p.words(svgMargin, p.y, 13, `font-weight="bold"`, "Late batches")
		}
		p.paragraph(p.codes[i]+" "+p.board.tardy(x)+".", 11, `font-weight="bold"`, svgMargin, svgWidth-2*svgMargin)
		if !explained[i] {
			continue
		}
		for _, reason := range x.Reasons {
			p.paragraph(reason, 11, ``, svgMargin+12, svgWidth-2*svgMargin-12)
		}
	}
	if !all {
		p.paragraph(others, 11, ``, svgMargin, svgWidth-2*svgMargin)
	}
	p.risks()
	p.y += 6
	if p.board.Limits != "" {
		p.paragraph(p.board.Limits, 11, ``, svgMargin, svgWidth-2*svgMargin)
	}
	for _, n := range p.board.Notes {
		p.paragraph(n, 11, ``, svgMargin, svgWidth-2*svgMargin)
	}
}

// risks lists the batches that are planned in time and may well be late.
func (p *picture) risks() {
	which, all := p.board.riskiest()
	if all == 0 {
		return
	}
	p.y += 22
	title := "Batches that may be late"
	if all > len(which) {
		title += fmt.Sprintf(", the %d least sure of %d", len(which), all)
	}
	p.words(svgMargin, p.y, 13, `font-weight="bold"`, title)
	for _, i := range which {
		p.paragraph(p.codes[i]+" "+p.board.risky(p.board.Batches[i])+".", 11, ``, svgMargin, svgWidth-2*svgMargin)
	}
}

// marks explains the signs.
func (p *picture) marks() {
	const box, tall = 26.0, 14.0
	plainBox := func(attributes string) func(x, y float64) {
		return func(x, y float64) { p.rect(x, y, box, tall, attributes) }
	}
	x := svgMargin
	type mark struct {
		text string
		draw func(x, y float64)
	}
	list := []mark{
		{"step of a batch", plainBox(`fill="#ffffff" stroke="#4a4a4a" stroke-width="0.8"`)},
		{"late batch", plainBox(`fill="#ffffff" stroke="` + lateInk + `" stroke-width="3"`)},
	}
	if p.board.knowsSure() {
		list = append(list, mark{"in time with less than 95 %", plainBox(`fill="#ffffff" stroke="` + riskInk + `" stroke-width="2.4" stroke-dasharray="5 2"`)})
	}
	list = append(list, []mark{
		{"holds material until the next step takes it", plainBox(`fill="#f2f2f2" stroke="#4a4a4a" stroke-width="0.8" stroke-dasharray="2 2"`)},
		{"cleaning", plainBox(`fill="url(#cleaning)" stroke="#4a4a4a" stroke-width="0.8"`)},
		{"out of service", plainBox(`fill="url(#down)" stroke="#1a1a1a" stroke-width="1"`)},
		{"nobody on shift", plainBox(`fill="#e6e6e6"`)},
		{"cooling must have ended", func(x, y float64) {
			p.rule(x, y+tall/2, x+box-4, y+tall/2, `stroke="#4a4a4a" stroke-width="0.8" stroke-dasharray="1 2"`)
			p.rule(x+box-4, y+1, x+box-4, y+tall-1, `stroke="#1a1a1a" stroke-width="2"`)
		}},
	}...)
	for _, m := range list {
		width := box + 6 + wide(m.text, 11) + 14
		if x+width > svgWidth-svgMargin {
			x = svgMargin
			p.y += 22
		}
		m.draw(x, p.y-tall+3)
		p.words(x+box+6, p.y, 11, ``, m.text)
		x += width
	}
	p.y += 14
}

// batches lists what the codes stand for, in two columns.
func (p *picture) batches() {
	const size, step, code, columns = 11.0, 18.0, 62.0, 2
	column := (svgWidth - 2*svgMargin) / columns
	date := wide("Wed 30 Sep 00:00", size)
	room := column - code - 2*date - 24
	sure := 0.0
	if p.board.knowsSure() {
		sure = wide("In time", size) + 8
		room -= sure + 10
	}
	rows := (len(p.board.Batches) + columns - 1) / columns
	p.y += 22
	for i := range min(columns, len(p.board.Batches)) {
		at := svgMargin + float64(i)*column + code
		for _, h := range []struct {
			x    float64
			text string
		}{{at, "Batch"}, {at + room + 4, "Done"}, {at + room + date + 12, "Due"}} {
			p.words(h.x, p.y, size, `font-weight="bold" fill="#4a4a4a"`, h.text)
		}
		if sure > 0 {
			p.words(at+room+2*date+12+sure, p.y, size, `font-weight="bold" fill="#4a4a4a" text-anchor="end"`, "In time")
		}
	}
	top := p.y + 6
	for i, x := range p.board.Batches {
		at := svgMargin + float64(i/rows)*column
		y := top + float64(i%rows)*step
		outline := `stroke="#4a4a4a" stroke-width="0.8"`
		name := x.Name
		if x.Late {
			outline = `stroke="` + lateInk + `" stroke-width="3"`
			name = "LATE: " + name
		}
		if x.AtRisk() {
			outline = `stroke="` + riskInk + `" stroke-width="2.4" stroke-dasharray="5 2"`
			name = "AT RISK: " + name
		}
		p.swatch(p.family[i], at, y, 26, 13, outline)
		p.words(at+32, y+11, size, `font-weight="bold"`, p.codes[i])
		p.words(at+code, y+11, size, ``, fit(name, size, room))
		p.words(at+code+room+4, y+11, size, ``, p.board.when(x.Done))
		if !x.Due.IsZero() {
			p.words(at+code+room+date+12, y+11, size, ``, p.board.when(x.Due))
		}
		if text := x.sure(); text != "" {
			weight := ``
			if remark(x) != "" {
				weight = `font-weight="bold" `
			}
			p.words(at+code+room+2*date+12+sure, y+11, size, weight+`text-anchor="end"`, text)
		}
	}
	p.y = top + float64(rows)*step
}
