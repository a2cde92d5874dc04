package pricing

import (
	"maps"
	"math"
	"slices"
	"time"
)

// Attributes describe a piece as it is offered. An empty string or a zero
// means unknown, never "none" and never zero.
type Attributes struct {
	Category string // "sideboard", "desk", ...
	SetSize  int    // how many like items are sold together; 0 counts as 1
	Items    []Item // a mixed set by its items, the main item first; nil for one kind

	Width, Depth, Height float64 // of the main item, in centimetres

	Material  string // construction: "solid_wood", "veneer", ...
	Wood      string // species
	Condition int    // grade 1 (poor) to 5 (excellent)

	Finish, SecondFinish string
	Color, SecondColor   string
	Hardware             string

	// Recorded and shown; in the model only where they earn it on held-out
	// sales (docs/pricing.md).
	Style    string
	YearMade int
	Maker    string
	Topcoat  string
	Sheen    string
	Venue    string
	Area     string

	Drawers, Doors *int // of the main item; nil: unknown; for estimates of work
}

// Item is one kind of thing in a mixed set: six dining chairs.
type Item struct {
	Category string
	Count    int
}

// Term is a named column of the value model with the value that one piece has
// in it: "size" 0.35, "finish:painted" 1.
type Term struct {
	Name  string
	Value float64
}

const (
	referenceVolume = 300_000 // cm³, a middling chest: log volume 0
	maxLogVolume    = 8       // either way; farther is an input error
)

const (
	maxTrendYears = 50
	sizeUnknown   = "size_unknown:" // + category
	sizeSlope     = "size_slope:"   // + category
)

// epoch is where the trend is zero.
var epoch = NewDate(2020, time.January, 1)

// terms returns the columns of a piece sold on a day, zeros left out:
//
//	intercept, size = log(w·d·h / 300 000 cm³), set = log q, condition = grade − 3,
//	trend = years since 2020-01-01, season = cos and sin of the year's angle,
//	orphan = one alone of a usual pair, items = log(1 + other items of a mixed set),
//	one column per level of category, material, wood, finish, color, hardware,
//	one per pair of finish and wood (material where the wood is unknown),
//	size_slope:c = size in category c, with:c = log(1 + other items of category c).
//
// An unknown attribute has no column, an unknown size that of its category.
func terms(a Attributes, on Date) []Term {
	t := make([]Term, 0, 14)
	add := func(name string, value float64) {
		if value != 0 {
			t = append(t, Term{name, value})
		}
	}
	level := func(block, name string) {
		if name != "" {
			add(block+":"+name, 1)
		}
	}
	add("intercept", 1)
	if v, ok := a.logVolume(); ok {
		add("size", v)
		add(sizeSlope+a.Category, v)
	} else {
		add(sizeUnknown+a.Category, 1)
	}
	add("set", math.Log(a.count()))
	if isOrphan(a) {
		add("orphan", 1)
	}
	extras, more := a.extras(), 0
	for _, i := range extras {
		more += i.Count
		add("with:"+i.Category, math.Log1p(float64(i.Count)))
	}
	add("items", math.Log1p(float64(more)))
	if a.Condition >= 1 && a.Condition <= 5 {
		add("condition", float64(a.Condition-3))
	}
	years := (float64(on) - float64(epoch)) / 365.25
	add("trend", clamp(years, -maxTrendYears, maxTrendYears))
	add("season_cos", math.Cos(2*math.Pi*years))
	add("season_sin", math.Sin(2*math.Pi*years))
	level("category", a.Category)
	level("material", a.Material)
	level("wood", a.Wood)
	level("finish", a.Finish)
	level("color", a.Color)
	level("hardware", a.Hardware)
	if under := groundOf(a); a.Finish != "" && under != "" {
		level("pair", a.Finish+" on "+under)
	}
	return t
}

// groundOf names what the finish is on.
func groundOf(a Attributes) string {
	if a.Wood != "" {
		return a.Wood
	}
	return a.Material
}

// count is the number of like items; of a mixed set, of its main item.
func (a Attributes) count() float64 {
	q := a.SetSize
	if len(a.Items) > 0 {
		q = a.Items[0].Count
	}
	return float64(min(max(q, 1), 1000))
}

// isOrphan reports whether the piece is one alone of what usually comes in pairs.
func isOrphan(a Attributes) bool {
	switch a.Category {
	case "nightstand", "end_table", "dining_chair", "stool":
		return a.count() == 1 && len(a.Items) <= 1
	}
	return false
}

// extras are the items of a mixed set beside the main one, one entry for each
// category, by name.
func (a Attributes) extras() []Item {
	if len(a.Items) < 2 {
		return nil
	}
	counts := map[string]int{}
	for _, i := range a.Items[1:] {
		if i.Count > 0 && i.Category != "" {
			counts[i.Category] += min(i.Count, 1000)
		}
	}
	out := make([]Item, 0, len(counts))
	for _, c := range slices.Sorted(maps.Keys(counts)) {
		out = append(out, Item{c, counts[c]})
	}
	return out
}

// logVolume is the logarithm of the volume over the reference; false where a
// dimension is unknown.
func (a Attributes) logVolume() (float64, bool) {
	for _, x := range [...]float64{a.Width, a.Depth, a.Height} {
		if !(x > 0) || math.IsInf(x, 1) {
			return 0, false
		}
	}
	v := math.Log(a.Width) + math.Log(a.Depth) + math.Log(a.Height) - math.Log(referenceVolume)
	return min(max(v, -maxLogVolume), maxLogVolume), true
}

// footprint is the floor that the piece takes, in square metres.
func (a Attributes) footprint() (float64, bool) {
	if _, ok := a.logVolume(); !ok {
		return 0, false
	}
	return a.Width * a.Depth / 1e4 * a.count(), true
}

// clamp is the number between the limits that is nearest to x.
func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }

// levelsOf a piece are those of the rate models.
func levelsOf(a Attributes) rateLevels { return rateLevels{a.Category, a.Finish, a.Color} }
