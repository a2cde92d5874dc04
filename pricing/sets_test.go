package pricing

import (
	"math"
	"testing"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
)

// A mixed set is worth more than its main item, by as much as others fetched.
func TestMixedSetsArePricedByAllItems(t *testing.T) {
	h := syntheticMarket(300, 61)
	table := furniture.Attributes{Category: "sideboard", Material: "solid_wood", Finish: "clear", Condition: 3, Width: 100, Depth: 45, Height: 80}
	set := table
	set.Items = []furniture.Item{{Category: "sideboard", Count: 1}, {Category: "bench", Count: 3}, {Category: "mirror", Count: 1}}
	value := func(m *Model, a furniture.Attributes) float64 {
		return m.Suggest(Query{Attributes: a}, today, DefaultSettings(), nil).SalePrice.Likely
	}

	before := Fit(h, today)
	reference.WantRel(t, "never sold together", value(before, set)/value(before, table), math.Pow(5, 0.2), 1e-9)

	var sets []Listing
	for i, l := range h.Listings {
		if l.Category == "sideboard" && l.Outcome == Sold && i%2 == 0 {
			l.Items = set.Items
			l.SalePrice *= 2
			l.Asks = []Ask{{l.ListedOn, l.Asks[0].Amount * 2}}
			l.Estimate *= 2
			l.ID, l.Piece = l.ID+"set", l.Piece+"set"
			sets = append(sets, l)
		}
	}
	if len(sets) < 8 {
		t.Fatalf("%d sets", len(sets))
	}
	after := Fit(History{append(sets, h.Listings...)}, today)
	if got := value(after, set) / value(after, table); math.Abs(got/2-1) > 0.1 {
		t.Errorf("%d sets that fetched twice as much: factor %.2f", len(sets), got)
	}
	grid := after.Comparables(set, today, []Listing{h.Listings[0]}, 1)
	found := false
	for _, a := range grid[0].Adjustments {
		found = found || a.Term == "set"
	}
	if !found {
		t.Errorf("no line for the set in %+v", grid[0].Adjustments)
	}
}

func TestOrphans(t *testing.T) {
	for _, tt := range []struct {
		a    furniture.Attributes
		want bool
	}{
		{furniture.Attributes{Category: "nightstand"}, true},
		{furniture.Attributes{Category: "dining_chair", SetSize: 1}, true},
		{furniture.Attributes{Category: "dining_chair", SetSize: 4}, false},
		{furniture.Attributes{Category: "nightstand", Items: []furniture.Item{{Category: "nightstand", Count: 1}, {Category: "bench", Count: 1}}}, false},
		{furniture.Attributes{Category: "dresser"}, false},
	} {
		if got := hedonic.IsOrphan(tt.a); got != tt.want {
			t.Errorf("%+v alone of a pair: %t", tt.a, got)
		}
	}
	// With no sale of either, one alone brings a tenth less than the set exponent says.
	m := Fit(syntheticMarket(300, 61), today)
	one, two := furniture.Attributes{Category: "stool", SetSize: 1}, furniture.Attributes{Category: "stool", SetSize: 2}
	set := m.value.Beta[m.value.Index["set"]]
	orphan := m.value.Beta[m.value.Index["orphan"]]
	s := DefaultSettings()
	if got, want := m.fitFor(two, 0, today, s)-m.fitFor(one, 0, today, s), set*math.Ln2-orphan; !probe.Near(got, want, 9) || orphan >= 0 {
		t.Errorf("a pair is %.3f above one alone, want %.3f", got, want)
	}
}

// Of a category that was never sold the estimate says more than the records
// of other pieces.
func TestEstimateWeighsMoreForWhatWasNeverSold(t *testing.T) {
	m := Fit(syntheticMarket(300, 62), today)
	s := DefaultSettings()
	for _, a := range []furniture.Attributes{{Category: "piano", Condition: 3}, {Category: "desk", Condition: 3}} {
		plain := m.fitFor(a, 0, today, s)
		estimate := math.Exp(plain + m.rates.Opening + 1) // a factor of e dearer
		moved := m.fitFor(a, estimate, today, s) - plain
		if a.Category == "desk" && moved != 0 {
			t.Errorf("desk: moved by %.3f, want 0", moved)
		}
		if a.Category == "piano" && (moved < 0.4 || moved > 1) {
			t.Errorf("piano: moved by %.3f of 1", moved)
		}
	}
}

// Each category has its own size slope, drawn to the common one.
func TestSizeSlopeOfACategory(t *testing.T) {
	h := syntheticMarket(1500, 63)
	for i, l := range h.Listings {
		if v, ok := l.LogVolume(); ok && l.Category == "wardrobe" {
			factor := math.Exp(-0.45 * v) // bigger brings no more
			l.SalePrice *= factor
			l.Estimate *= factor
			l.Asks = append([]Ask(nil), l.Asks...)
			for j := range l.Asks {
				l.Asks[j].Amount *= factor
			}
			h.Listings[i] = l
		}
	}
	m := Fit(h, today)
	larger := func(category string) float64 {
		a := furniture.Attributes{Category: category, Width: 100, Depth: 50, Height: 80}
		b := a
		b.Width, b.Depth = 110, 55 // in this market they always go together
		return (m.fitFor(b, 0, today, DefaultSettings()) - m.fitFor(a, 0, today, DefaultSettings())) / math.Log(1.1)
	}
	if w, d := larger("wardrobe"), larger("desk"); math.Abs(w) > 0.2 || math.Abs(d-0.90) > 0.16 {
		t.Errorf("slopes: wardrobe %.2f, desk %.2f; made with 0 and 0.90", w, d)
	}
}
