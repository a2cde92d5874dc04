package api

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"askwright/service"
)

// picture is an SVG drawing in the making. Its looks come from chart.css, so
// that a page can be dark or light; what matters is told by shape and text.
type picture struct {
	width, height float64
	label         string // for those who do not see it
	body          strings.Builder
}

func newPicture(width, height float64, label string) *picture {
	return &picture{width: width, height: height, label: label}
}

// inline is the drawing as a part of a page that has the patterns.
func (p *picture) inline() template.HTML {
	return template.HTML(fmt.Sprintf(`<svg class="chart" viewBox="0 0 %s %s" role="img" aria-label="%s">%s</svg>`, //nolint:gosec // made here, texts are escaped
		short(p.width), short(p.height), html.EscapeString(p.label), p.body.String()))
}

// chartSigns are the signs of the states and the patterns that fill areas, so
// that they differ without colour.
const chartSigns = `<symbol id="stale" viewBox="0 0 10 10"><path d="M0 0H10V10H0Z"/></symbol>` +
	`<symbol id="slow" viewBox="0 0 10 10"><path class="pen" d="M.7.7H9.3V9.3H.7Z"/><path d="M.7 9.3V.7H5V9.3Z"/></symbol>` +
	`<symbol id="fresh" viewBox="0 0 10 10"><path class="pen" d="M.7.7H9.3V9.3H.7Z"/></symbol>` +
	`<symbol id="paused" viewBox="0 0 10 10"><path d="M1 0H4V10H1ZM6 0H9V10H6Z"/></symbol>` +
	`<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="pen" d="M1 0V6"/></pattern>` +
	`<pattern id="dots" width="5" height="5" patternUnits="userSpaceOnUse"><circle cx="1.5" cy="1.5" r=".9"/></pattern></defs>`

// standalone is the drawing as a file of its own.
func (p *picture) standalone() []byte {
	return fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 %s %s" width="%s" height="%s" role="img"><title>%s</title><style>%s%s</style>%s<rect class="paper" width="100%%" height="100%%"/>%s</svg>`,
		short(p.width), short(p.height), short(p.width), short(p.height), html.EscapeString(p.label), mustRead("board/colors.css"), mustRead("board/chart.css"), chartSigns, p.body.String())
}

// short writes a coordinate to a tenth.
func short(x float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(x, 'f', 1, 64), ".0")
}

func (p *picture) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&p.body, `<path class="%s" d="M%s %sL%s %s"/>`, class, short(x1), short(y1), short(x2), short(y2))
}

type point struct{ x, y float64 }

// path joins points; closed, it is an area.
func (p *picture) path(class string, closed bool, points ...point) {
	if len(points) == 0 {
		return
	}
	fmt.Fprintf(&p.body, `<path class="%s" d="`, class)
	for i, at := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		p.body.WriteString(letter + short(at.x) + " " + short(at.y))
	}
	if closed {
		p.body.WriteByte('Z')
	}
	p.body.WriteString(`"/>`)
}

func (p *picture) rect(class, fill string, x, y, w, h float64) {
	if w <= 0 || h <= 0 {
		return
	}
	if fill != "" {
		fill = ` fill="` + fill + `"`
	}
	fmt.Fprintf(&p.body, `<rect class="%s"%s x="%s" y="%s" width="%s" height="%s"/>`, class, fill, short(x), short(y), short(w), short(h))
}

// text at a place; anchor is start, middle or end.
func (p *picture) text(class, anchor string, x, y float64, format string, args ...any) {
	fmt.Fprintf(&p.body, `<text class="%s" text-anchor="%s" x="%s" y="%s">%s</text>`, class, anchor, short(x), short(y), html.EscapeString(fmt.Sprintf(format, args...)))
}

// mark is the sign of a state, a place or an ask, about 10 wide.
func (p *picture) mark(kind string, x, y float64) {
	fmt.Fprintf(&p.body, `<use href="#%s" x="%s" y="%s" width="10" height="10"/>`, kind, short(x-5), short(y-5))
}

// axis turns values into places along one side of a drawing.
type axis struct {
	low, high float64 // values
	from, to  float64 // places
}

func (a axis) at(v float64) float64 {
	if a.high == a.low {
		return a.from
	}
	return a.from + (v-a.low)/(a.high-a.low)*(a.to-a.from)
}

// ticks are round values inside the axis, about n of them.
func (a axis) ticks(n int) []float64 {
	step := roundStep((a.high - a.low) / float64(n))
	var out []float64
	for v := math.Ceil(a.low/step) * step; v <= a.high+step/1e6; v += step {
		out = append(out, v)
	}
	return out
}

// roundStep is the smallest of 1, 2, 5 and 10 times a power of ten that is not
// below x.
func roundStep(x float64) float64 {
	if !(x > 0) || math.IsInf(x, 1) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*power >= x*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// stateFills tell the states apart without colour.
var stateFills = map[string]string{"stale": "", "slow": "url(#hatch)", "fresh": "none", "paused": "url(#dots)"}

// ageChart counts the open listings of each age, by state.
func ageChart(bands []ageBand) template.HTML {
	const rowHeight, left = 30, 86
	most := 1
	for _, b := range bands {
		most = max(most, b.Total)
	}
	p := newPicture(360, float64(len(bands)*rowHeight+34), "Open listings by active days and state; the figures stand below")
	x := axis{high: float64(most), from: left, to: 325}
	for i, b := range bands {
		y := float64(i*rowHeight) + 4
		p.text("tick", "end", left-8, y+15, "%s", b.Name)
		at := 0
		for _, s := range b.States {
			p.rect("block "+s.State, stateFills[s.State], x.at(float64(at)), y, x.at(float64(at+s.Count))-x.at(float64(at)), 20)
			at += s.Count
		}
		p.text("value", "start", x.at(float64(at))+6, y+15, "%d", b.Total)
	}
	p.line("axis", left, 0, left, p.height-28)
	for i, state := range service.ListingStates {
		at := 60 + float64(i)*76
		p.rect("block "+state, stateFills[state], at, p.height-18, 12, 12)
		p.text("tick", "start", at+17, p.height-8, "%s", state)
	}
	return p.inline()
}

// survivalChart draws the share still unsold by active day, with its limits.
func survivalChart(d DaysToSell) template.HTML {
	p := newPicture(240, 150, fmt.Sprintf("Share of %d listings still unsold by active day", d.Listings))
	x := axis{high: min(180, max(30, float64(d.LastDay))), from: 46, to: 226}
	y := axis{high: 1, from: 122, to: 8}
	for _, v := range []float64{0, 0.5, 1} {
		p.line("grid", x.from, y.at(v), x.to, y.at(v))
		p.text("tick", "end", x.from-5, y.at(v)+4, "%.0f %%", 100*v)
	}
	for _, v := range x.ticks(4) {
		p.text("tick", "middle", x.at(v), 140, "%.0f", v)
	}
	curve, low, high := []point{{x.at(0), y.at(1)}}, []point{{x.at(0), y.at(1)}}, []point{{x.at(0), y.at(1)}}
	step := func(to *[]point, day, share float64) {
		last := (*to)[len(*to)-1]
		*to = append(*to, point{x.at(day), last.y}, point{x.at(day), y.at(share)})
	}
	end := min(float64(d.LastDay), x.high)
	for _, s := range d.Steps {
		if float64(s.Day) > x.high {
			break
		}
		step(&curve, float64(s.Day), asFloat(s.Unsold))
		if s.Low != nil {
			step(&low, float64(s.Day), asFloat(*s.Low))
			step(&high, float64(s.Day), asFloat(*s.High))
		}
	}
	for _, points := range []*[]point{&curve, &low, &high} {
		*points = append(*points, point{x.at(end), (*points)[len(*points)-1].y})
	}
	slices.Reverse(low)
	p.path("band", true, append(high, low...)...)
	p.path("curve", false, curve...)
	if d.Median != nil {
		m := float64(*d.Median)
		p.line("mark", x.at(m), y.at(0.5), x.at(m), y.from)
		p.text("value", "start", x.at(m)+5, y.at(0.5)-5, "%d", *d.Median)
	}
	return p.inline()
}

// fairChart sets the asks against the fair value: one mark for each open
// listing, left of the line where it asks less.
func fairChart(reviews []Review) template.HTML {
	const most = 60 // percent; those beyond stand at the edge
	p := newPicture(360, 0, "Asks above or below the fair value, in percent, one mark for each open listing; the figures stand below")
	x := axis{low: -most, high: most, from: 14, to: 346}
	const bin = 4.0
	height := make(map[int]int)
	tallest := 0
	type dot struct {
		state string
		bin   int
		row   int
	}
	var dots []dot
	for _, r := range reviews {
		above, ok := r.aboveFair()
		if !ok {
			continue
		}
		i := int(math.Round(min(max(above, -most), most) / bin))
		dots = append(dots, dot{r.State, i, height[i]})
		height[i]++
		tallest = max(tallest, height[i])
	}
	base := float64(max(4, tallest))*12 + 14
	for _, d := range dots {
		p.mark(d.state, x.at(float64(d.bin)*bin), base-float64(d.row)*12-8)
	}
	p.line("axis", x.from-8, base, x.to+8, base)
	p.line("mark", x.at(0), 2, x.at(0), base+4)
	for _, v := range []float64{-40, -20, 0, 20, 40} {
		label := fmt.Sprintf("%+.0f %%", v)
		if v == 0 {
			label = "fair"
		}
		p.text("tick", "middle", x.at(v), base+18, "%s", strings.Replace(label, "-", "−", 1))
	}
	p.height = base + 24
	return p.inline()
}

// curveChart draws what an ask leads to: the days until half of such listings
// are sold, by ask, with the present ask (nil: none) and the suggested one.
func curveChart(s Suggestion, present *number) *picture {
	p := newPicture(360, 230, "Active days until as likely as not sold, by ask; the figures stand below")
	if len(s.Curve) == 0 {
		return p
	}
	low, high := asFloat(s.Curve[0].Ask), asFloat(s.Curve[len(s.Curve)-1].Ask)
	if present != nil {
		low, high = min(low, asFloat(*present)), max(high, asFloat(*present))
	}
	days := 7.0
	var points []point
	for _, c := range s.Curve {
		if c.MedianDays != nil {
			days = max(days, float64(*c.MedianDays))
		}
	}
	x, y := axis{low: 0, high: days * 1.04, from: 52, to: 350}, axis{low: low, high: high, from: 190, to: 14}
	for _, v := range y.ticks(5) {
		p.line("grid", x.from, y.at(v), x.to, y.at(v))
		p.text("tick", "end", x.from-6, y.at(v)+4, "%.0f", v)
	}
	for _, v := range x.ticks(5) {
		p.text("tick", "middle", x.at(v), 207, "%.0f", v)
	}
	p.text("tick", "end", x.to, 224, "active days until as likely as not sold")
	p.line("axis", x.from, y.from, x.to, y.from)
	for _, c := range s.Curve {
		if c.MedianDays != nil {
			points = append(points, point{x.at(float64(*c.MedianDays)), y.at(asFloat(c.Ask))})
		}
	}
	p.path("curve", false, points...)
	at := func(ask number) (place point, ok bool) {
		for i, c := range s.Curve {
			if asFloat(c.Ask) >= asFloat(ask) && c.MedianDays != nil {
				days := float64(*c.MedianDays)
				if i > 0 && s.Curve[i-1].MedianDays != nil && asFloat(c.Ask) > asFloat(ask) {
					a := axis{low: asFloat(s.Curve[i-1].Ask), high: asFloat(c.Ask), from: float64(*s.Curve[i-1].MedianDays), to: days}
					days = a.at(asFloat(ask))
				}
				return point{x.at(days), y.at(asFloat(ask))}, true
			}
		}
		return point{x.to, y.at(asFloat(ask))}, false
	}
	name := func(kind, label string, ask number) {
		place, ok := at(ask)
		p.line("mark", x.from, place.y, place.x, place.y)
		if ok {
			p.mark(kind, place.x, place.y)
			p.line("mark", place.x, place.y, place.x, y.from)
		}
		p.text("value", "start", x.from+6, place.y-5, "%s %s", label, trimmed(0, string(ask)))
	}
	if s.Ask != nil && (present == nil || asFloat(*s.Ask) != asFloat(*present)) {
		name("slow", "suggested", *s.Ask)
	}
	if present != nil {
		name("stale", "asks now", *present)
	}
	return p
}
