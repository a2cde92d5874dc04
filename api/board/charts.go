package board

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"askwright/api/chart"
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// The pictures of the board.

// stateFills tell the states apart without colour.
var stateFills = map[string]string{"stale": "", "slow": "url(#hatch)", "fresh": "none", "paused": "url(#dots)"}

// ageChart counts the open listings of each age, by state.
func ageChart(bands []ageBand) template.HTML {
	const rowHeight, left = 30, 86
	most := 1
	for _, b := range bands {
		most = max(most, b.Total)
	}
	p := &chart.Inline{Width: 360, Height: float64(len(bands)*rowHeight + 34), Label: "Open listings by active days and state; the figures stand below"}
	x := chart.Axis{High: float64(most), From: left, To: 325}
	for i, b := range bands {
		y := float64(i*rowHeight) + 4
		p.Text("tick", "end", left-8, y+15, "%s", b.Name)
		at := 0
		for _, s := range b.States {
			p.Rect("block "+s.State, stateFills[s.State], x.At(float64(at)), y, x.At(float64(at+s.Count))-x.At(float64(at)), 20)
			at += s.Count
		}
		p.Text("value", "start", x.At(float64(at))+6, y+15, "%d", b.Total)
	}
	p.Line("axis", left, 0, left, p.Height-28)
	for i, state := range advice.ListingStates {
		at := 60 + float64(i)*76
		p.Rect("block "+state, stateFills[state], at, p.Height-18, 12, 12)
		p.Text("tick", "start", at+17, p.Height-8, "%s", state)
	}
	return p.HTML()
}

// survivalChart draws the share still unsold by active day, with its limits.
func survivalChart(d wire.DaysToSell) template.HTML {
	p := &chart.Inline{Width: 240, Height: 150, Label: fmt.Sprintf("Share of %d listings still unsold by active day", d.Listings)}
	x := chart.Axis{High: min(180, max(30, float64(d.LastDay))), From: 46, To: 226}
	y := chart.Axis{High: 1, From: 122, To: 8}
	for _, v := range []float64{0, 0.5, 1} {
		p.Line("grid", x.From, y.At(v), x.To, y.At(v))
		p.Text("tick", "end", x.From-5, y.At(v)+4, "%.0f%%", 100*v)
	}
	for _, v := range x.Ticks(4) {
		p.Text("tick", "middle", x.At(v), 140, "%.0f", v)
	}
	curve, low, high := []chart.Point{spot(x.At(0), y.At(1))}, []chart.Point{spot(x.At(0), y.At(1))}, []chart.Point{spot(x.At(0), y.At(1))}
	step := func(to *[]chart.Point, day, share float64) {
		last := (*to)[len(*to)-1]
		*to = append(*to, spot(x.At(day), last.Y), spot(x.At(day), y.At(share)))
	}
	end := min(float64(d.LastDay), x.High)
	for _, s := range d.Steps {
		if float64(s.Day) > x.High {
			break
		}
		step(&curve, float64(s.Day), asFloat(s.Unsold))
		if s.Low != nil {
			step(&low, float64(s.Day), asFloat(*s.Low))
			step(&high, float64(s.Day), asFloat(*s.High))
		}
	}
	for _, points := range []*[]chart.Point{&curve, &low, &high} {
		*points = append(*points, spot(x.At(end), (*points)[len(*points)-1].Y))
	}
	slices.Reverse(low)
	p.Path("band", true, append(high, low...)...)
	p.Path("curve", false, curve...)
	if d.Median != nil {
		m := float64(*d.Median)
		p.Line("mark", x.At(m), y.At(0.5), x.At(m), y.From)
		p.Text("value", "start", x.At(m)+5, y.At(0.5)-5, "%d", *d.Median)
	}
	return p.HTML()
}

// fairChart sets the asks against the fair value: one mark for each open
// listing, left of the line where it asks less.
func fairChart(reviews []wire.Review) template.HTML {
	const most = 60 // percent; those beyond stand at the edge
	p := &chart.Inline{Width: 360, Height: 0, Label: "Asks above or below the fair value, in percent, one mark for each open listing; the figures stand below"}
	x := chart.Axis{Low: -most, High: most, From: 14, To: 346}
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
		above := asFloat(aboveFair(r))
		if math.IsNaN(above) {
			continue
		}
		i := int(math.Round(min(max(above, -most), most) / bin))
		dots = append(dots, dot{r.State, i, height[i]})
		height[i]++
		tallest = max(tallest, height[i])
	}
	base := float64(max(4, tallest))*12 + 14
	for _, d := range dots {
		p.Mark(d.state, x.At(float64(d.bin)*bin), base-float64(d.row)*12-8)
	}
	p.Line("axis", x.From-8, base, x.To+8, base)
	p.Line("mark", x.At(0), 2, x.At(0), base+4)
	for _, v := range []float64{-40, -20, 0, 20, 40} {
		label := fmt.Sprintf("%+.0f%%", v)
		if v == 0 {
			label = "fair"
		}
		p.Text("tick", "middle", x.At(v), base+18, "%s", strings.Replace(label, "-", "−", 1))
	}
	p.Height = base + 24
	return p.HTML()
}

// curveChart draws what an ask leads to: the days until half of such listings
// are sold, by ask, with the present ask (nil: none) and the suggested one.
func curveChart(s wire.Suggestion, present *web.Number) *chart.Inline {
	p := &chart.Inline{Width: 360, Height: 230, Label: "Days up until half are sold, by ask; the figures stand below"}
	if len(s.Curve) == 0 {
		return p
	}
	low, high := asFloat(s.Curve[0].Ask), asFloat(s.Curve[len(s.Curve)-1].Ask)
	if present != nil {
		low, high = min(low, asFloat(*present)), max(high, asFloat(*present))
	}
	days := 7.0
	var points []chart.Point
	for _, c := range s.Curve {
		if c.MedianDays != nil {
			days = max(days, float64(*c.MedianDays))
		}
	}
	x, y := chart.Axis{Low: 0, High: days * 1.04, From: 52, To: 350}, chart.Axis{Low: low, High: high, From: 190, To: 14}
	for _, v := range y.Ticks(5) {
		p.Line("grid", x.From, y.At(v), x.To, y.At(v))
		p.Text("tick", "end", x.From-6, y.At(v)+4, "%.0f", v)
	}
	for _, v := range x.Ticks(5) {
		p.Text("tick", "middle", x.At(v), 207, "%.0f", v)
	}
	p.Text("tick", "end", x.To, 224, "days up until half are sold")
	p.Line("axis", x.From, y.From, x.To, y.From)
	for _, c := range s.Curve {
		if c.MedianDays != nil {
			points = append(points, spot(x.At(float64(*c.MedianDays)), y.At(asFloat(c.Ask))))
		}
	}
	p.Path("curve", false, points...)
	at := func(ask web.Number) (place chart.Point, ok bool) {
		for i, c := range s.Curve {
			if asFloat(c.Ask) >= asFloat(ask) && c.MedianDays != nil {
				days := float64(*c.MedianDays)
				if i > 0 && s.Curve[i-1].MedianDays != nil && asFloat(c.Ask) > asFloat(ask) {
					a := chart.Axis{Low: asFloat(s.Curve[i-1].Ask), High: asFloat(c.Ask), From: float64(*s.Curve[i-1].MedianDays), To: days}
					days = a.At(asFloat(ask))
				}
				return spot(x.At(days), y.At(asFloat(ask))), true
			}
		}
		return spot(x.To, y.At(asFloat(ask))), false
	}
	name := func(kind, label string, ask web.Number) {
		place, ok := at(ask)
		p.Line("mark", x.From, place.Y, place.X, place.Y)
		if ok {
			p.Mark(kind, place.X, place.Y)
			p.Line("mark", place.X, place.Y, place.X, y.From)
		}
		p.Text("value", "start", x.From+6, place.Y-5, "%s %s", label, wire.Trimmed(0, string(ask)))
	}
	if s.Ask != nil && (present == nil || asFloat(*s.Ask) != asFloat(*present)) {
		name("slow", "suggested", *s.Ask)
	}
	if present != nil {
		name("stale", "asks now", *present)
	}
	return p
}

// storyChart draws a listing over its days: the ask as a line, pauses as
// shaded stretches, messages as far as they are dated, and the end.
func storyChart(v wire.Viewer, l *service.Listing, events []wire.Event, today pricing.Date) *chart.Inline {
	p := &chart.Inline{Width: 360, Height: 200, Label: "The ask over the days on the market, with pauses; the entries stand below"}
	if !l.IsOffered() || len(l.Asks) == 0 {
		return p
	}
	end := today
	if !l.EndedOn.IsZero() {
		end = l.EndedOn
	}
	x := chart.Axis{High: max(7, float64(end-l.ListedOn)), From: 52, To: 346}
	low, high := l.Asks[0].Amount, l.Asks[0].Amount
	for _, ask := range l.Asks {
		low, high = min(low, ask.Amount), max(high, ask.Amount)
	}
	if l.SalePrice > 0 {
		low, high = min(low, l.SalePrice), max(high, l.SalePrice)
	}
	y := chart.Axis{Low: 0.85 * low.Major(v.Currency), High: 1.08 * high.Major(v.Currency), From: 150, To: 14}
	at := func(d pricing.Date) float64 { return x.At(float64(min(max(d, l.ListedOn), end) - l.ListedOn)) }
	for _, pause := range l.Pauses {
		to := end
		if !pause.To.IsZero() {
			to = pause.To
		}
		p.Rect("pause", "url(#dots)", at(pause.From), y.To, at(to)-at(pause.From), y.From-y.To)
	}
	for _, value := range y.Ticks(4) {
		p.Line("grid", x.From, y.At(value), x.To, y.At(value))
		p.Text("tick", "end", x.From-6, y.At(value)+4, "%.0f", value)
	}
	for _, day := range x.Ticks(5) {
		p.Text("tick", "middle", x.At(day), y.From+18, "%.0f", day)
	}
	p.Text("tick", "end", x.To, y.From+38, "days on market")
	var steps []chart.Point
	for i, ask := range l.Asks {
		value := y.At(ask.Amount.Major(v.Currency))
		if i > 0 {
			steps = append(steps, spot(at(ask.On), steps[len(steps)-1].Y))
		}
		steps = append(steps, spot(at(ask.On), value))
		p.Text("value", "start", at(ask.On)+3, value-5, "%s", wire.Trimmed(0, ask.Amount.Format(v.Currency)))
	}
	steps = append(steps, spot(at(end), steps[len(steps)-1].Y))
	p.Path("curve", false, steps...)
	p.Line("axis", x.From, y.From, x.To, y.From)
	for _, e := range events {
		if n := e.Changes["messages"].New; n != "" && e.Kind == service.EventInterest && e.VoidedBy == nil {
			if on, err := pricing.ParseDate(e.On); err == nil {
				p.Line("axis", at(on), y.From-6, at(on), y.From+3)
				anchor := "start"
				if at(on) > (x.From+x.To)/2 {
					anchor = "end"
				}
				p.Text("tick", anchor, at(on), y.From-9, "%s messages", n)
			}
		}
	}
	if l.Outcome == service.OutcomeSold && l.SalePrice > 0 {
		place := y.At(l.SalePrice.Major(v.Currency))
		p.Mark("stale", at(end), place)
		p.Text("value", "end", at(end)-8, place+14, "sold %s", wire.Trimmed(0, l.SalePrice.Format(v.Currency)))
	}
	return p
}

// tape is the common scale of the bars, in active days.
type tape struct{ Days int }

func tapeFor(reviews []listRow) tape {
	most := 60
	for _, r := range reviews {
		most = max(most, r.ActiveDays)
		if r.ExpectedDays != nil {
			most = max(most, *r.ExpectedDays)
		}
	}
	return tape{Days: min(180, (most+29)/30*30)}
}

const tapeWidth = 240

func (t tape) place(days int) float64 {
	return float64(min(days, t.Days)) / float64(t.Days) * tapeWidth
}

// Bar draws the active days along the expected span: thin within it, thick
// beyond.
func (t tape) Bar(r listRow) template.HTML {
	var out strings.Builder
	out.WriteString(`<svg class="bar" viewBox="0 0 240 14" preserveAspectRatio="none" aria-hidden="true">`)
	age, span := t.place(r.ActiveDays), float64(tapeWidth)
	if r.ExpectedDays != nil {
		span = t.place(*r.ExpectedDays)
	}
	fmt.Fprintf(&out, `<path class="span" d="M0 7H%.4g"/><path class="age" d="M0 7H%.4g"/>`, span, min(age, span))
	if age > span {
		fmt.Fprintf(&out, `<path class="over" d="M%.4g 7H%.4g"/>`, span, age)
	}
	fmt.Fprintf(&out, `<path class="stop" d="M%.4g 0V14"/></svg>`, span)
	return template.HTML(out.String()) //nolint:gosec // numbers only
}

// Ruler marks the days of the tape.
func (t tape) Ruler() template.HTML {
	p := &chart.Inline{Width: tapeWidth, Height: 16, Label: "active days"}
	for day := 0; day <= t.Days; day += 10 {
		long := 4.0
		if day%30 == 0 {
			long = 7
			anchor := "middle"
			switch day {
			case 0:
				anchor = "start"
			case t.Days:
				anchor = "end"
			}
			p.Text("tick", anchor, t.place(day), 8, "%d", day)
		}
		p.Line("axis", t.place(day), 16-long, t.place(day), 16)
	}
	return p.HTML()
}

func spot(x, y float64) chart.Point { return chart.Point{X: x, Y: y} }
