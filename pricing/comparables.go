package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/furniture"
	"askwright/pricing/hedonic"
)

// Comparable is a listing adjusted to the subject, as in an appraiser's
// sales-comparison grid.
type Comparable struct {
	ID            string
	Adjustments   []Adjustment
	NetPercent    float64
	GrossPercent  float64
	Distance      float64 // gross adjustment in log terms; the order of the list
	Weak          bool
	AdjustedPrice float64 // zero for an unsold one
	AdjustedAsk   float64 // its last ask brought to the subject
	ActiveDays    int
	Ask           float64
	SalePrice     float64
}

// Adjustment is one line of the grid.
type Adjustment struct {
	Term    string
	Percent float64
	Money   float64
}

// Comparables ranks sold and unsold candidates by gross adjustment, Σ over
// blocks of |Σ_j (x0_j − x_ij) β̂_j| in log terms (finish with its pairs, trend and
// season as "date"), and returns the n nearest; ties: the newest, then by ID.
// Candidates of other categories count only while fewer than n are of the
// subject's.
func (m *Model) Comparables(subject furniture.Attributes, on Date, candidates []Listing, n int) []Comparable {
	same := before(candidates, func(l Listing) bool { return l.Category == subject.Category })
	if len(same) >= n {
		candidates = same
	}
	x0 := m.value.describe(subject, on).X
	type ranked struct {
		Comparable
		day Date
	}
	all := make([]ranked, 0, len(candidates))
	for _, l := range candidates {
		if c, ok := m.compare(x0, l, on); ok {
			all = append(all, ranked{c, l.until(on)})
		}
	}
	slices.SortStableFunc(all, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(a.Distance, b.Distance), cmp.Compare(b.day, a.day), cmp.Compare(a.ID, b.ID))
	})
	out := make([]Comparable, 0, min(n, len(all)))
	for _, c := range all[:min(max(n, 0), len(all))] {
		out = append(out, c.Comparable)
	}
	return out
}

// compare adjusts one listing to the subject; false where it has no price.
func (m *Model) compare(x0 []float64, l Listing, on Date) (Comparable, bool) {
	end := l.until(on)
	ask, priced := l.askOn(end)
	c := Comparable{ID: l.ID, Ask: ask, ActiveDays: l.ActiveDays(on)}
	price := ask
	if l.Outcome == Sold && validPrice(l.SalePrice) {
		c.SalePrice = l.SalePrice
		price = l.SalePrice
	} else if !priced {
		return c, false
	}
	sums := map[string]float64{}
	xi := m.value.describe(l.Attributes, end).X
	for j, name := range m.value.Names {
		if d := x0[j] - xi[j]; d != 0 {
			sums[gridLine(name)] += d * m.value.Beta[j]
		}
	}
	net := 0.0
	for _, line := range gridLines {
		s, ok := sums[line]
		if !ok {
			continue
		}
		net += s
		c.Distance += math.Abs(s)
		c.Adjustments = append(c.Adjustments, Adjustment{Term: line, Percent: percent(s), Money: price * math.Expm1(s)})
	}
	c.NetPercent, c.GrossPercent = percent(net), percent(c.Distance)
	c.Weak = c.Distance > weakGross
	if priced {
		c.AdjustedAsk = ask * math.Exp(net)
	}
	if c.SalePrice > 0 {
		c.AdjustedPrice = c.SalePrice * math.Exp(net)
	}
	return c, true
}

// gridLines are the lines of the adjustment grid in reading order.
var gridLines = [...]string{
	"category", "size", "set", "condition", "material", "wood", "finish", "color", "hardware", "date",
}

// gridLine is the line that a column belongs to.
func gridLine(term string) string {
	switch b := hedonic.BlockOf(term); b {
	case "pair":
		return "finish"
	case "width", "depth", "height", "width_slope", "depth_slope", "height_slope":
		return "size"
	case "orphan", "items", "with":
		return "set"
	case "trend", "season_cos", "season_sin":
		return "date"
	default:
		return b
	}
}
