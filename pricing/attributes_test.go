package pricing

import (
	"math"
	"testing"
	"time"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
	"askwright/pricing/internal/probe"
)

func TestTerms(t *testing.T) {
	a := furniture.Attributes{
		Category: "sideboard", SetSize: 2, Width: 100, Depth: 50, Height: 120,
		Material: "veneer", Wood: "teak", Condition: 5, Finish: "clear", Color: "natural", Hardware: "original",
	}
	want := map[string]float64{
		"intercept": 1, "sized@wdh:sideboard": 1, "height@wdh:sideboard": math.Ln2, "set": math.Ln2, "condition": 2,
		"trend": 366 / 365.25, "season_cos": math.Cos(2 * math.Pi * 366 / 365.25), "season_sin": math.Sin(2 * math.Pi * 366 / 365.25),
		"category:sideboard": 1, "material:veneer": 1, "wood:teak": 1, "finish:clear": 1,
		"color:natural": 1, "hardware:original": 1, "pair:clear on teak": 1,
	}
	got := map[string]float64{}
	for _, term := range hedonic.Terms(a, NewDate(2021, time.January, 1)) {
		got[term.Name] = term.Value
	}
	if len(got) != len(want) {
		t.Errorf("terms %v, want %v", got, want)
	}
	for name, w := range want {
		if !probe.Near(got[name], w, 12) {
			t.Errorf("%s = %g, want %g", name, got[name], w)
		}
	}
}

func TestUnknownAttributesHaveNoTerm(t *testing.T) {
	for _, a := range []furniture.Attributes{
		{Category: "desk"},
		{Category: "desk", Width: 100, Depth: 50},
		{Category: "desk", Width: 100, Depth: -50, Height: 70, Condition: 9},
		{Category: "desk", Width: math.NaN(), Depth: 50, Height: 70, Condition: -1, Finish: "clear"},
	} {
		for _, term := range hedonic.Terms(a, today) {
			switch hedonic.BlockOf(term.Name) {
			case "height", "condition", "set", "material", "pair":
				t.Errorf("%+v has the term %v", a, term)
			}
			if math.IsNaN(term.Value) {
				t.Errorf("%+v: %v", a, term)
			}
		}
	}
}
