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

// Comparables adjusts the n nearest of some sold and unsold candidates to the
// subject, the nearest first: see Nearest.
func (m *Model) Comparables(subject furniture.Attributes, on Date, candidates []Listing, n int) []Comparable {
	nearest := m.Nearest(subject, on, candidates, n)
	x0 := m.value.describe(subject, on).X
	out := make([]Comparable, len(nearest))
	for i, at := range nearest {
		out[i] = m.compare(x0, candidates[at], on)
	}
	return out
}

// Nearest ranks sold and unsold candidates by gross adjustment, Σ over blocks of
// |Σ_j (x0_j − x_ij) β̂_j| in log terms (finish with its pairs, trend and season as
// "date"), and returns the places of the n nearest; ties: the newest, then by ID.
// Candidates of other categories count only while fewer than n are of the
// subject's; those without a price never do. Of a candidate's prices nothing else
// matters, and nothing but its last ask.
func (m *Model) Nearest(subject furniture.Attributes, on Date, candidates []Listing, n int) []int {
	type ranked struct {
		at       int
		distance float64
		day      Date
	}
	x0 := m.value.describe(subject, on).X
	lines := m.value.gridLines()
	all, same := make([]ranked, 0, len(candidates)), 0
	for i := range candidates {
		l := &candidates[i]
		if !l.hasPrice(on) {
			continue
		}
		if l.Category == subject.Category {
			same++
		}
		end := l.until(on)
		all = append(all, ranked{i, lines.gross(x0, m.value.describe(l.Attributes, end).X, m.value.Beta), end})
	}
	if same >= n {
		all = slices.DeleteFunc(all, func(r ranked) bool { return candidates[r.at].Category != subject.Category })
	}
	slices.SortStableFunc(all, func(a, b ranked) int {
		return cmp.Or(
			cmp.Compare(a.distance, b.distance), cmp.Compare(b.day, a.day),
			cmp.Compare(candidates[a.at].ID, candidates[b.at].ID),
		)
	})
	out := make([]int, min(max(n, 0), len(all)))
	for i := range out {
		out[i] = all[i].at
	}
	return out
}

// hasPrice reports whether a listing was sold for a known price or is offered.
func (l *Listing) hasPrice(on Date) bool {
	if l.Outcome == Sold && validPrice(l.SalePrice) {
		return true
	}
	_, priced := l.askOn(l.until(on))
	return priced
}

// columnLines tells for each column of the fit which line of the grid it is in.
type columnLines []int

func (v *valueModel) gridLines() columnLines {
	lines := make(columnLines, len(v.Names))
	for j, name := range v.Names {
		lines[j] = slices.Index(gridLines[:], gridLine(name)) // -1: the intercept
	}
	return lines
}

// gross is the gross adjustment between two rows.
func (lines columnLines) gross(x0, x, beta []float64) (sum float64) {
	var of [len(gridLines)]float64
	for j, line := range lines {
		if d := x0[j] - x[j]; d != 0 && line >= 0 {
			of[line] += d * beta[j]
		}
	}
	for _, s := range of {
		sum += math.Abs(s)
	}
	return sum
}

// compare adjusts one listing that has a price to the subject.
func (m *Model) compare(x0 []float64, l Listing, on Date) Comparable {
	end := l.until(on)
	ask, priced := l.askOn(end)
	c := Comparable{ID: l.ID, Ask: ask, ActiveDays: l.ActiveDays(on)}
	price := ask
	if l.Outcome == Sold && validPrice(l.SalePrice) {
		c.SalePrice = l.SalePrice
		price = l.SalePrice
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
	return c
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
