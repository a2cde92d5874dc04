package service

import (
	"fmt"
	"slices"
	"strings"

	"askwright/pricing/refinish"
)

// MaterialPrice is what one container of a product costs the group.
type MaterialPrice struct {
	Product string
	Price   Money
	Size    float64 // of the container
	Unit    string  // see MaterialUnits
	Default bool    // a rough shop price: common practice, no source; not kept
}

// litres in each unit, exactly: a U.S. gallon is 231 cubic inches of 16.387064
// millilitres (NIST Handbook 44, appendix C).
var litresIn = map[string]float64{
	"l": 1, "ml": 0.001, "gal": 3.785411784, "qt": 0.946352946, "pt": 0.473176473, "fl_oz": 0.0295735295625,
}

// MaterialUnits are the units of containers.
var MaterialUnits = []string{"gal", "qt", "pt", "fl_oz", "l", "ml", "sheet", "roll"}

// nearDollar are the currencies in which the rough shop prices, which are in
// US dollars, hold as they are. In others a group tells its own.
var nearDollar = []string{"USD", "CAD", "AUD", "NZD", "EUR", "GBP", "CHF"}

// isMetric reports whether areas are in square metres and liquids in litres.
func (g *Group) isMetric() bool { return g.Unit != UnitInch }

// Prices are those of the group, with a rough shop price for each product that
// it has none of, where there are such in its currency.
func (g *Group) Prices() []MaterialPrice {
	out := slices.Clone(g.MaterialPrices)
	if !slices.Contains(nearDollar, g.Currency.Code) {
		return out
	}
	for _, p := range refinish.DefaultPrices(g.isMetric()) {
		if slices.ContainsFunc(g.MaterialPrices, func(own MaterialPrice) bool { return own.Product == p.Product }) {
			continue
		}
		unit, _ := refinish.ProductUnit(p.Product)
		if unit = strings.ToLower(unit); unit == "l" && !g.isMetric() {
			unit = "qt"
			p.Size /= litresIn["qt"]
		}
		out = append(out, MaterialPrice{Product: p.Product, Price: MoneyOf(p.Money, g.Currency), Size: p.Size, Unit: unit, Default: true})
	}
	return out
}

// shop are the prices in the words of pricing.
func (g *Group) shop() []refinish.Price {
	prices := g.Prices()
	out := make([]refinish.Price, len(prices))
	for i, p := range prices {
		size := p.Size
		if litres, ok := litresIn[p.Unit]; ok {
			size *= litres
		}
		out[i] = refinish.Price{Product: p.Product, Money: p.Price.Major(g.Currency), Size: size, Basis: "group"}
		if p.Default {
			out[i].Basis = refinish.CommonPractice
		}
	}
	return out
}

const maxMaterialPrices = 100

// checkMaterialPrices also drops the rough shop prices that come back with an
// edited list.
func (g *Group) checkMaterialPrices() (wrong []FieldError) {
	refuse := func(format string, args ...any) {
		wrong = append(wrong, FieldError{Column: "material_prices", Reason: fmt.Sprintf(format, args...)})
	}
	g.MaterialPrices = slices.DeleteFunc(slices.Clone(g.MaterialPrices), func(p MaterialPrice) bool { return p.Default })
	if len(g.MaterialPrices) > maxMaterialPrices {
		refuse("at most %d", maxMaterialPrices)
		return wrong
	}
	for i := range g.MaterialPrices {
		p := &g.MaterialPrices[i]
		p.Product, p.Unit = Canonical(p.Product), Canonical(p.Unit)
		kind, known := refinish.ProductUnit(p.Product)
		_, isLiquid := litresIn[p.Unit]
		switch {
		case !known:
			refuse("price %d: %q is no product%s; known are %s", i+1, Clip(p.Product), DidYouMean(p.Product, refinish.ProductNames()), strings.Join(refinish.ProductNames(), ", "))
		case !IsOneOf(p.Unit, MaterialUnits) || isLiquid != (kind == "L") || (!isLiquid && p.Unit != kind):
			refuse("%s: the unit %q does not fit; expected %s", p.Product, Clip(p.Unit), unitsFor(kind))
		case !Between(p.Size, 0.001, 10_000):
			refuse("%s: expected a container of 0.001 to 10000 %s", p.Product, p.Unit)
		case !Between(int64(p.Price), 0, MaxMinor):
			refuse("%s: the price must not be negative", p.Product)
		}
	}
	return wrong
}

func unitsFor(kind string) string {
	if kind == "L" {
		return "gal, qt, pt, fl_oz, l or ml"
	}
	return kind
}

// DidYouMean is a hint to the nearest known word, where there is one.
func DidYouMean(word string, known []string) string {
	if near := nearest(word, known); near != "" {
		return " (did you mean " + near + "?)"
	}
	return ""
}
