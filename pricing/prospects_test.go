package pricing_test

import (
	"encoding/json"
	"math"
	"testing"

	"askwright/pricing"
)

// What is kept of a suggestion gives the suggestion's own figures back, at
// every ask of its curve, after a trip through JSON.
func TestOutlineIsTheSuggestion(t *testing.T) {
	t.Parallel()
	h, day := outlineHistory()
	m, s := pricing.Fit(h, day), pricing.DefaultSettings()
	open := h.Listings[0]
	open.ID, open.Piece, open.Outcome, open.EndedOn, open.SalePrice, open.ListedOn = "open", "open", pricing.Open, 0, 0, day-40
	open.Asks = []pricing.Ask{{On: day - 40, Amount: 420}}
	for name, q := range map[string]pricing.Query{
		"as described":     {Attributes: open.Attributes, WithinDays: 30},
		"with an estimate": {Attributes: open.Attributes, Estimate: 460, WithinDays: 45},
		"open for 40 days": {Attributes: open.Attributes, Estimate: 460, WithinDays: 30, Standing: &pricing.Standing{Listing: open}},
	} {
		want, got := m.Suggest(q, day, s, nil), m.Outline(q, day, s)
		if want.Refusal != nil {
			t.Fatalf("%s: refused: %s", name, want.Refusal.Detail)
		}
		if got.Ask != want.Ask || *got.SalePrice != *want.SalePrice {
			t.Errorf("%s: outline %v %+v, want %v %+v", name, got.Ask, *got.SalePrice, want.Ask, *want.SalePrice)
		}
		text, err := json.Marshal(got.Prospects)
		if err != nil {
			t.Fatal(err)
		}
		var kept pricing.Prospects
		if err := json.Unmarshal(text, &kept); err != nil {
			t.Fatal(err)
		}
		for _, p := range want.Curve {
			if c := kept.ChanceSold(p.Ask, kept.Age, float64(q.WithinDays)); math.Abs(c-p.ChanceSold) > 1e-12 {
				t.Errorf("%s: chance at %v is %v, want %v", name, p.Ask, c, p.ChanceSold)
			}
		}
	}
	if none := pricing.Fit(pricing.History{}, day).Outline(pricing.Query{Attributes: open.Attributes}, day, s); none.SalePrice != nil || none.Ask != 0 || none.Prospects != nil {
		t.Errorf("without sales: %+v, want nothing", none)
	}
}

// outlineHistory is thirty sideboards, sold at 90 to 98 % of their asks.
func outlineHistory() (pricing.History, pricing.Date) {
	var h pricing.History
	first := pricing.NewDate(2025, 1, 6)
	for i := range 30 {
		id := string(rune('a' + i))
		ask := 380 + 10*float64(i%9)
		listed := first + pricing.Date(9*i)
		h.Listings = append(h.Listings, pricing.Listing{
			ID: id, Piece: id, Attributes: pricing.Attributes{Category: "sideboard", Width: 150, Depth: 45, Height: 80, Condition: 3 + i%3},
			ListedOn: listed, Asks: []pricing.Ask{{On: listed, Amount: ask}}, Outcome: pricing.Sold, EndedOn: listed + pricing.Date(5+i%40),
			SalePrice: ask * (0.9 + 0.02*float64(i%5)),
		})
	}
	return h, first + 330
}
