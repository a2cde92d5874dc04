package pricing

import (
	"math"
	"time"

	"askwright/pricing/furniture"
)

// Term is a named column of the value model with the value that one piece has
// in it: "size" 0.35, "finish:painted" 1.
type Term struct {
	Name  string
	Value float64
}

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
func terms(a furniture.Attributes, on Date) []Term {
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
	if v, ok := a.LogVolume(); ok {
		add("size", v)
		add(sizeSlope+a.Category, v)
	} else {
		add(sizeUnknown+a.Category, 1)
	}
	add("set", math.Log(a.Count()))
	if isOrphan(a) {
		add("orphan", 1)
	}
	extras, more := a.Extras(), 0
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
func groundOf(a furniture.Attributes) string {
	if a.Wood != "" {
		return a.Wood
	}
	return a.Material
}

// isOrphan reports whether the piece is one alone of what usually comes in pairs.
func isOrphan(a furniture.Attributes) bool {
	switch a.Category {
	case "nightstand", "end_table", "dining_chair", "stool":
		return a.Count() == 1 && len(a.Items) <= 1
	}
	return false
}
