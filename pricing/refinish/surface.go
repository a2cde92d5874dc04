package refinish

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"askwright/pricing/furniture"
)

// Part is a part of a piece with the area that shows.
type Part struct {
	Name string
	Item string // category, in a set of several kinds; else empty
	Area float64
}

// Parts of a piece. Backs and insides are left as they are unless asked for;
// the inside of an open bookcase shows.
const (
	PartTop          = "top"
	PartSides        = "sides"
	PartFront        = "front" // face frame and doors
	PartDrawerFronts = "drawer_fronts"
	PartShelves      = "shelves"
	PartLegs         = "legs"
	PartApron        = "apron"
	PartSeat         = "seat"
	PartBackrest     = "backrest"
	PartHeadboard    = "headboard"
	PartFootboard    = "footboard"
	PartRails        = "rails"
	PartFrame        = "frame"
	PartBack         = "back"
	PartInsides      = "insides"
)

// CommonPractice marks every figure that rests on the habits of the trade.
const CommonPractice = "common practice, no source"

// Assumption is a figure that an estimate took for granted. Given says that
// the caller set it.
type Assumption struct {
	Name   string
	Value  float64
	Unit   string // "cm", "µm", "°C", "share", "count", "yes"
	Basis  string // "given", or CommonPractice
	Finish string // the plan that it is of, where a piece has two
}

// assumptionRange is what a caller may set an assumption to.
type assumptionRange struct {
	unit      string
	low, high float64
}

// assumable are the assumptions that can be set; the size and the numbers of
// drawers and doors are the row's.
var assumable = map[string]assumptionRange{
	"shelves": {"count", 0, 40}, "legs": {"count", 0, 20}, "leg_height": {"cm", 0, 200}, "leg_width": {"cm", 0.5, 50},
	"top_thickness": {"cm", 0.1, 30}, "apron_height": {"cm", 0, 60}, "seat_height": {"cm", 5, 150}, "frame_width": {"cm", 0.5, 50},
	"drawer_share": {"share", 0, 1}, "backrest_share": {"share", 0, 1}, "pulls": {"count", 0, 400},
	"color_coats": {"count", 1, 10}, "clear_coats": {"count", 0, 10}, "prime_coats": {"count", 0, 5}, "strip": {"yes", 0, 1},
	"transfer_efficiency": {"share", 0.05, 1}, "volume_solids": {"share", 0.05, 1}, "dry_film": {"µm", 5, 500},
	"temperature": {"°C", -10, 50}, "damp": {"yes", 0, 1},
}

// AssumptionNames are the names of what a caller may assume, in order.
func AssumptionNames() []string {
	names := make([]string, 0, len(assumable))
	for name := range assumable {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// AssumptionRange is the unit of an assumption and the values it may have;
// false for a name that is not known.
func AssumptionRange(name string) (unit string, low, high float64, ok bool) {
	r, ok := assumable[name]
	return r.unit, r.low, r.high, ok
}

// assumptions gathers what an estimate takes for granted.
type assumptions struct {
	given map[string]float64
	of    string // the plan under way, where there are two
	made  []Assumption
}

// take returns a figure as the caller gave it, else the usual one, and notes it.
func (a *assumptions) take(name string, usual float64) float64 {
	r := assumable[name]
	one := Assumption{Name: name, Value: usual, Unit: r.unit, Basis: CommonPractice, Finish: a.of}
	if v, ok := a.given[name]; ok && v >= r.low && v <= r.high {
		one.Value, one.Basis = v, "given"
	}
	a.note(one)
	return one.Value
}

// note adds an assumption once.
func (a *assumptions) note(one Assumption) {
	if !slices.Contains(a.made, one) {
		a.made = append(a.made, one)
	}
}

// form is how a kind of piece is built.
type form uint8

const (
	chest    form = iota // a box with a front of drawers and doors
	openCase             // a box that is open in front
	table
	chair
	bed
	panel
	frame
)

// span is the usual range of a dimension, in centimetres.
type span struct{ low, usual, high float64 }

// build is how pieces of a category usually are.
type build struct {
	form                   form
	width, depth, height   span
	drawers, doors, pulls  int // pulls of each drawer
	legHeight, apronHeight float64
}

// builds are the usual sizes and shapes by category. Common practice, no source.
var builds = map[string]build{
	"dresser":          {chest, span{90, 140, 200}, span{38, 48, 62}, span{65, 84, 120}, 6, 0, 2, 8, 0},
	"chest_of_drawers": {chest, span{50, 90, 125}, span{35, 46, 62}, span{70, 115, 170}, 5, 0, 2, 8, 0},
	"nightstand":       {chest, span{30, 55, 80}, span{28, 40, 58}, span{40, 64, 85}, 2, 0, 1, 10, 0},
	"vanity":           {chest, span{75, 112, 160}, span{35, 46, 62}, span{68, 76, 170}, 5, 0, 1, 15, 0},
	"sideboard":        {chest, span{90, 152, 240}, span{35, 46, 62}, span{65, 84, 120}, 3, 2, 2, 12, 0},
	"hutch":            {chest, span{75, 117, 200}, span{30, 43, 62}, span{130, 188, 240}, 2, 4, 2, 5, 0},
	"cabinet":          {chest, span{30, 80, 160}, span{20, 40, 65}, span{50, 100, 215}, 1, 2, 1, 5, 0},
	"secretary":        {chest, span{55, 86, 130}, span{30, 46, 65}, span{90, 157, 240}, 4, 2, 2, 5, 0},
	"media_stand":      {chest, span{75, 142, 250}, span{28, 43, 65}, span{30, 60, 90}, 1, 2, 1, 8, 0},
	"wardrobe":         {chest, span{60, 107, 260}, span{35, 56, 75}, span{130, 188, 250}, 1, 2, 2, 5, 0},
	"desk":             {chest, span{75, 122, 210}, span{38, 61, 110}, span{65, 76, 130}, 4, 0, 1, 10, 0},
	"trunk":            {chest, span{45, 97, 140}, span{28, 50, 75}, span{25, 53, 80}, 0, 0, 0, 0, 0},
	"bookcase":         {openCase, span{30, 91, 250}, span{15, 33, 55}, span{50, 157, 260}, 0, 0, 0, 0, 0},
	"console_table":    {table, span{60, 122, 200}, span{22, 36, 55}, span{60, 79, 100}, 2, 0, 1, 0, 12},
	"coffee_table":     {table, span{50, 114, 170}, span{35, 60, 120}, span{28, 43, 60}, 0, 0, 1, 0, 8},
	"end_table":        {table, span{25, 55, 80}, span{25, 50, 80}, span{35, 60, 80}, 1, 0, 1, 0, 12},
	"dining_table":     {table, span{65, 168, 320}, span{60, 96, 150}, span{66, 76, 110}, 0, 0, 0, 0, 10},
	"bar_cart":         {table, span{35, 70, 110}, span{25, 42, 65}, span{55, 80, 110}, 0, 0, 0, 0, 0},
	"bench":            {table, span{50, 117, 220}, span{22, 40, 65}, span{30, 48, 120}, 0, 0, 0, 0, 8},
	"stool":            {table, span{22, 38, 60}, span{22, 38, 60}, span{20, 60, 85}, 0, 0, 0, 0, 5},
	"dining_chair":     {chair, span{35, 48, 70}, span{35, 50, 70}, span{65, 92, 130}, 0, 0, 0, 0, 0},
	"armchair":         {chair, span{50, 75, 120}, span{50, 78, 120}, span{60, 85, 140}, 0, 0, 0, 0, 0},
	"headboard":        {panel, span{80, 150, 220}, span{1, 8, 35}, span{50, 120, 200}, 0, 0, 0, 0, 0},
	"bed_frame":        {bed, span{80, 150, 220}, span{150, 205, 240}, span{20, 110, 220}, 0, 0, 0, 0, 0},
	"mirror":           {frame, span{20, 71, 180}, span{0.5, 5, 25}, span{20, 100, 230}, 0, 0, 0, 0, 0},
}

// otherBuild is taken for a category that nobody knows.
var otherBuild = build{chest, span{20, 90, 300}, span{2, 45, 150}, span{10, 85, 260}, 0, 0, 1, 5, 0}

func buildOf(category string) build {
	if b, ok := builds[category]; ok {
		return b
	}
	return otherBuild
}

// solid is one item with its size settled, in centimetres.
type solid struct {
	build
	category             string
	width, depth, height float64
	drawers, doors       int
	upholstered          bool
}

// settle takes the size and the numbers as they are known, else the usual ones.
func (b build) settle(a furniture.Attributes, made *assumptions) solid {
	s := solid{build: b, category: a.Category, upholstered: a.Material == "upholstered"}
	for _, d := range []struct {
		name  string
		known float64
		usual span
		to    *float64
	}{{"width", a.Width, b.width, &s.width}, {"depth", a.Depth, b.depth, &s.depth}, {"height", a.Height, b.height, &s.height}} {
		*d.to = d.known
		if !(d.known > 0) || d.known > maxLength {
			*d.to = d.usual.usual
			made.note(Assumption{Name: d.name, Value: d.usual.usual, Unit: "cm", Basis: CommonPractice})
		}
	}
	for _, n := range []struct {
		name  string
		known *int
		usual int
		to    *int
	}{{"drawers", a.Drawers, b.drawers, &s.drawers}, {"doors", a.Doors, b.doors, &s.doors}} {
		if n.known != nil && *n.known >= 0 {
			*n.to = min(*n.known, 200)
			continue
		}
		*n.to = n.usual
		if n.usual > 0 {
			made.note(Assumption{Name: n.name, Value: float64(n.usual), Unit: "count", Basis: CommonPractice})
		}
	}
	return s
}

const maxLength = 1e4 // centimetres; what is longer counts as unknown

// OddSizes warns of the sizes that pieces of the category hardly have.
func OddSizes(a furniture.Attributes) (odd []Warning) {
	b := buildOf(a.Category)
	for _, d := range []struct {
		name  string
		known float64
		usual span
	}{{"width", a.Width, b.width}, {"depth", a.Depth, b.depth}, {"height", a.Height, b.height}} {
		if d.known > 0 && d.known <= maxLength && (d.known < d.usual.low || d.known > d.usual.high) {
			odd = append(odd, Warning{
				Code: "unusual_size", Have: d.known, Low: d.usual.low, High: d.usual.high, Subject: d.name,
				Text: fmt.Sprintf("The %s is unusual for a %s: is the unit right? It was reckoned with all the same.", d.name, furniture.Words(cmp.Or(a.Category, "piece"))),
			})
		}
	}
	return odd
}

// surface is what shows of one item, and with it what was asked for: "back",
// "insides". Areas are in square metres. Each is the plain solid: boxes, square
// legs, boards; mouldings and turnings are left out.
func (s solid) surface(made *assumptions, include []string) []Part {
	var parts []Part
	add := func(name string, square float64) {
		if square > 0 {
			parts = append(parts, Part{Name: name, Area: square / 1e4})
		}
	}
	w, d, h := s.width, s.depth, s.height
	insides := slices.Contains(include, PartInsides)
	switch s.form {
	case chest, openCase:
		s.caseParts(made, insides, add)
	case table:
		s.tableParts(made, add)
	case chair:
		s.chairParts(made, add)
	case bed:
		const railHeight = 20
		add(PartHeadboard, 2*w*h)
		add(PartFootboard, 2*w*h/2)
		add(PartRails, 2*2*d*railHeight)
	case panel:
		add(PartFront, w*h)
		add(PartSides, 2*h*d)
		add(PartTop, w*d)
	case frame:
		t := math.Min(made.take("frame_width", 8), math.Min(w, h)/2)
		add(PartFrame, w*h-(w-2*t)*(h-2*t))
	}
	if slices.Contains(include, PartBack) && (s.form == chest || s.form == openCase || s.form == panel) {
		add(PartBack, w*h)
	}
	return parts
}

// caseParts are those of a box on legs.
func (s solid) caseParts(made *assumptions, insides bool, add func(string, float64)) {
	w, d := s.width, s.depth
	legs, legHeight := 4.0, 0.0
	if s.legHeight > 0 {
		legs = made.take("legs", 4)
		legHeight = math.Min(made.take("leg_height", s.legHeight), s.height/2)
	}
	h := s.height - legHeight
	add(PartTop, w*d)
	add(PartSides, 2*d*h)
	if s.form == openCase {
		const thickness = 2
		n := made.take("shelves", math.Max(1, math.Round(h/35)))
		add(PartFront, thickness*(2*h+w*(n+1)))
		add(PartShelves, 2*n*w*d)
		add(PartInsides, 2*d*h+w*h) // the inner sides and the back as it shows
		return
	}
	drawers := 0.0
	if s.drawers > 0 {
		// A door takes the place of two drawers or so.
		share := 0.85 * float64(s.drawers) / float64(s.drawers+2*s.doors)
		drawers = w * h * made.take("drawer_share", share)
	}
	add(PartDrawerFronts, drawers)
	add(PartFront, w*h-drawers)
	if legHeight > 0 {
		add(PartLegs, legs*4*made.take("leg_width", 4)*legHeight)
	}
	if insides {
		add(PartInsides, w*h+2*d*h+2*w*d)
	}
}

// tableParts are a top with its edge, an apron and legs.
func (s solid) tableParts(made *assumptions, add func(string, float64)) {
	w, d := s.width, s.depth
	thickness := math.Min(made.take("top_thickness", 2.5), s.height/2)
	apron := math.Min(made.take("apron_height", s.apronHeight), s.height-thickness)
	add(PartTop, w*d+2*(w+d)*thickness)
	drawers := 0.0
	if s.drawers > 0 {
		drawers = w * apron * made.take("drawer_share", 0.6)
	}
	add(PartDrawerFronts, drawers)
	add(PartApron, 2*(w+d)*apron-drawers)
	usual := 0.0
	if s.category == "bar_cart" {
		usual = 1
	}
	add(PartShelves, 2*w*d*made.take("shelves", usual))
	add(PartLegs, made.take("legs", 4)*4*made.take("leg_width", 5)*(s.height-thickness))
}

// chairParts are a seat, a backrest of slats, legs and stretchers. What is
// upholstered is left alone.
func (s solid) chairParts(made *assumptions, add func(string, float64)) {
	w, d := s.width, s.depth
	seat := math.Min(made.take("seat_height", 45), s.height)
	const thickness, stretcher = 2.5, 2.5
	if !s.upholstered {
		add(PartSeat, w*d+2*(w+d)*thickness)
		add(PartBackrest, 2*w*(s.height-seat)*made.take("backrest_share", 0.5))
	}
	add(PartLegs, made.take("legs", 4)*4*made.take("leg_width", 4)*seat+2*(w+d)*4*stretcher)
}
