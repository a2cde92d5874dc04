package pricing

import (
	"math"
	"testing"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/reference"
)

func TestComparablesAdjustToTheSubject(t *testing.T) {
	h := syntheticMarket(200, 31)
	m := Fit(h, today)
	subject := probes[1]
	got := m.Comparables(subject, today, h.Listings, 8)
	if len(got) != 8 {
		t.Fatalf("%d comparables, want 8", len(got))
	}
	byID := map[string]Listing{}
	for _, l := range h.Listings {
		byID[l.ID] = l
	}
	fit := func(a furniture.Attributes, on Date) float64 { return m.value.Location(m.value.describe(a, on).X) }
	for i, c := range got {
		l := byID[c.ID]
		if l.Category != subject.Category {
			t.Errorf("%s is a %s while there are enough of %s", c.ID, l.Category, subject.Category)
		}
		if i > 0 && c.Distance < got[i-1].Distance {
			t.Errorf("%s at %g stands behind %g", c.ID, c.Distance, got[i-1].Distance)
		}
		// All adjustments together lead from its fit to the subject's.
		net := fit(subject, today) - fit(l.Attributes, l.until(today))
		reference.WantRel(t, "net percent", c.NetPercent, percent(net), 1e-9)
		if c.SalePrice > 0 {
			reference.WantRel(t, "adjusted price", c.AdjustedPrice, l.SalePrice*math.Exp(net), 1e-9)
		} else if c.AdjustedPrice != 0 || c.AdjustedAsk == 0 {
			t.Errorf("unsold %s: %+v", c.ID, c)
		}
		product, gross := 1.0, 0.0
		for _, a := range c.Adjustments {
			product *= 1 + a.Percent/100
			gross += math.Abs(math.Log1p(a.Percent / 100))
		}
		reference.WantRel(t, "product of the lines", product, math.Exp(net), 1e-9)
		reference.WantRel(t, "distance", c.Distance, gross, 1e-9)
		if c.Weak != (c.Distance > 0.5) {
			t.Errorf("%s at distance %g: weak %t", c.ID, c.Distance, c.Weak)
		}
	}
}

func TestComparableWithItselfNeedsNoAdjustment(t *testing.T) {
	h := syntheticMarket(100, 32)
	m := Fit(h, today)
	for _, l := range h.Listings[:20] {
		c := m.compare(m.value.describe(l.Attributes, l.until(today)).X, l, today)
		if c.Distance != 0 || len(c.Adjustments) != 0 || c.AdjustedAsk != c.Ask {
			t.Errorf("%+v", c)
		}
	}
}

// Ties go to the newest, then by ID; other categories fill up a short list.
func TestComparablesOrder(t *testing.T) {
	m := Fit(History{}, today)
	sold := func(id, category string, ended Date) Listing {
		return Listing{ID: id, Attributes: furniture.Attributes{Category: category}, ListedOn: ended - 9, Asks: []Ask{{ended - 9, 200}}, Outcome: Sold, EndedOn: ended, SalePrice: 190}
	}
	h := []Listing{sold("c", "desk", today-30), sold("b", "desk", today-10), sold("a", "desk", today-30), sold("d", "bench", today-5)}
	got := m.Comparables(furniture.Attributes{Category: "desk"}, today, h, 4)
	order := ""
	for _, c := range got {
		order += c.ID
	}
	if order != "dbac" { // without sales nothing is adjusted: all tie
		t.Errorf("order %s, want dbac", order)
	}
	if got := m.Comparables(furniture.Attributes{Category: "desk"}, today, h, 3); len(got) != 3 || got[0].ID != "b" {
		t.Errorf("three desks are enough: %+v", got)
	}
	if got := m.Comparables(furniture.Attributes{Category: "desk"}, today, nil, 5); len(got) != 0 {
		t.Errorf("of nothing: %+v", got)
	}
}
