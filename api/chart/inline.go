package chart

import (
	"fmt"
	"html/template"
	"math"
	"strings"
)

// Inline is a drawing that is part of a page: its looks come from the page's
// stylesheet, by class, so that it can be dark, light or printed. A Picture is a
// file of its own, with the colours in it.
type Inline struct {
	Width, Height float64
	Label         string // for those who do not see it
	body          strings.Builder
}

// HTML is the drawing. The page holds Signs.
func (p *Inline) HTML() template.HTML {
	return template.HTML(fmt.Sprintf(`<svg class="chart" viewBox="0 0 %s %s" role="img" aria-label="%s">%s</svg>`, //nolint:gosec // made here, texts are escaped
		short(p.Width), short(p.Height), escape(p.Label), p.body.String()))
}

// Signs are the marks of the states and the patterns that fill areas, so
// that they differ without colour.
const Signs = `<symbol id="stale" viewBox="0 0 10 10"><path d="M0 0H10V10H0Z"/></symbol>` +
	`<symbol id="slow" viewBox="0 0 10 10"><path class="pen" d="M.7.7H9.3V9.3H.7Z"/><path d="M.7 9.3V.7H5V9.3Z"/></symbol>` +
	`<symbol id="fresh" viewBox="0 0 10 10"><path class="pen" d="M.7.7H9.3V9.3H.7Z"/></symbol>` +
	`<symbol id="paused" viewBox="0 0 10 10"><path d="M1 0H4V10H1ZM6 0H9V10H6Z"/></symbol>` +
	`<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="pen" d="M1 0V6"/></pattern>` +
	`<pattern id="dots" width="5" height="5" patternUnits="userSpaceOnUse"><circle cx="1.5" cy="1.5" r=".9"/></pattern></defs>`

// Line joins two places.
func (p *Inline) Line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&p.body, `<path class="%s" d="M%s %sL%s %s"/>`, class, short(x1), short(y1), short(x2), short(y2))
}

// Path joins points; closed, it is an area.
func (p *Inline) Path(class string, closed bool, points ...Point) {
	if len(points) == 0 {
		return
	}
	fmt.Fprintf(&p.body, `<path class="%s" d="`, class)
	for i, at := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		p.body.WriteString(letter + short(at.X) + " " + short(at.Y))
	}
	if closed {
		p.body.WriteByte('Z')
	}
	p.body.WriteString(`"/>`)
}

// Rect is filled by its class, or with a pattern of Signs.
func (p *Inline) Rect(class, fill string, x, y, w, h float64) {
	if w <= 0 || h <= 0 {
		return
	}
	if fill != "" {
		fill = ` fill="` + fill + `"`
	}
	fmt.Fprintf(&p.body, `<rect class="%s"%s x="%s" y="%s" width="%s" height="%s"/>`, class, fill, short(x), short(y), short(w), short(h))
}

// Text stands at a place; anchor is start, middle or end.
func (p *Inline) Text(class, anchor string, x, y float64, format string, args ...any) {
	fmt.Fprintf(&p.body, `<text class="%s" text-anchor="%s" x="%s" y="%s">%s</text>`, class, anchor, short(x), short(y), escape(fmt.Sprintf(format, args...)))
}

// Mark is one of Signs, 10 wide, around a place.
func (p *Inline) Mark(sign string, x, y float64) {
	fmt.Fprintf(&p.body, `<use href="#%s" x="%s" y="%s" width="10" height="10"/>`, sign, short(x-5), short(y-5))
}

// Axis turns values into places along one side of a drawing.
type Axis struct {
	Low, High float64 // values
	From, To  float64 // places
}

// At is the place of a value.
func (a Axis) At(v float64) float64 {
	if a.High == a.Low {
		return a.From
	}
	return a.From + (v-a.Low)/(a.High-a.Low)*(a.To-a.From)
}

// Ticks are round values inside the axis, about n of them.
func (a Axis) Ticks(n int) []float64 {
	if !(a.High > a.Low) {
		return nil
	}
	step := niceStep((a.High - a.Low) / float64(n))
	var out []float64
	for v := math.Ceil(a.Low/step) * step; v <= a.High+step/1e6; v += step {
		out = append(out, v)
	}
	return out
}
