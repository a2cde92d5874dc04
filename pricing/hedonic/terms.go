package hedonic

import (
	"math"
	"strings"
	"time"

	"askwright/pricing/civil"
	"askwright/pricing/furniture"
)

// Term is a named column of the value model with the value that one piece has
// in it: "condition" 2, "finish:painted" 1.
type Term struct {
	Name  string
	Value float64
}

const maxTrendYears = 50

// epoch is where the trend is zero.
var epoch = civil.New(2020, time.January, 1)

// Terms returns the columns of a piece sold on a day, zeros left out:
//
//	intercept, set = log q, condition = grade − 3, the size by its dimensions (addSize),
//	trend = years since 2020-01-01, season = cos and sin of the year's angle,
//	orphan = one alone of a usual pair, items = log(1 + other items of a mixed set),
//	one column per level of category, material, wood, finish, color, hardware,
//	one per pair of finish and wood (material where the wood is unknown),
//	with:c = log(1 + other items of category c).
//
// An unknown attribute has no column.
func Terms(a furniture.Attributes, on civil.Date) []Term {
	t := make([]Term, 0, 18)
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
	addSize(add, a)
	add("set", math.Log(a.Count()))
	if IsOrphan(a) {
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
	add("trend", min(max(years, -maxTrendYears), maxTrendYears))
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

// IsOrphan reports whether the piece is one alone of what usually comes in pairs.
func IsOrphan(a furniture.Attributes) bool {
	switch a.Category {
	case "nightstand", "end_table", "dining_chair", "stool":
		return a.Count() == 1 && len(a.Items) <= 1
	}
	return false
}

// BlockOf is what comes before the level in a term, LevelOf the level.
func BlockOf(term string) string {
	name, _, _ := strings.Cut(term, ":")
	return name
}

// LevelOf is what follows the block in a term.
func LevelOf(term string) string {
	_, level, _ := strings.Cut(term, ":")
	return level
}
