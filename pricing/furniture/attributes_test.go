package furniture

import (
	"math"
	"testing"

	"askwright/pricing/internal/probe"
)

func TestItemsOfASet(t *testing.T) {
	mixed := Attributes{
		Category: "dining_table",
		Items:    []Item{{"dining_table", 1}, {"stool", 2}, {"bench", 1}, {"stool", 1}, {"", 3}},
	}
	if got := mixed.Extras(); len(got) != 2 || got[0] != (Item{"bench", 1}) || got[1] != (Item{"stool", 3}) {
		t.Errorf("extras %v", got)
	}
	for _, tt := range []struct {
		a    Attributes
		want float64
	}{
		{Attributes{}, 1}, {Attributes{SetSize: 4}, 4}, {Attributes{SetSize: -2}, 1}, {Attributes{SetSize: 1e9}, 1000},
		{Attributes{SetSize: 4, Items: []Item{{"dining_table", 2}}}, 2},
	} {
		if got := tt.a.Count(); got != tt.want {
			t.Errorf("%+v: %g like items, want %g", tt.a, got, tt.want)
		}
	}
}

func TestSizeIsKnownByAllThreeDimensions(t *testing.T) {
	a := Attributes{Width: 100, Depth: 60, Height: 50, SetSize: 2}
	if v, ok := a.LogVolume(); !ok || !probe.Near(v, 0, 12) {
		t.Errorf("a middling chest: log volume %g, %t", v, ok)
	}
	if floor, ok := a.Footprint(); !ok || !probe.Near(floor, 1.2, 12) {
		t.Errorf("two of 1 m by 60 cm: %g m², %t", floor, ok)
	}
	for _, height := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		a.Height = height
		if _, ok := a.LogVolume(); ok {
			t.Errorf("a height of %g counts as known", height)
		}
		if _, ok := a.Footprint(); ok {
			t.Errorf("with a height of %g the floor counts as known", height)
		}
	}
}
