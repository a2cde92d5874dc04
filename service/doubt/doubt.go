// Package doubt finds rows that look like slips: an amount or a size that is far
// from those of its kind, an unknown word near a known one, the same piece
// twice, days that leap. It changes nothing: it says what to look at, and what
// was probably meant.
package doubt

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"askwright/pricing"
	"askwright/service"
)

// Doubt is why a row is to be checked.
type Doubt struct {
	Code, Column, Found, Proposed, Text string
}

// How far from its kind a value is doubted. Common practice, no source.
const (
	fewest     = 8        // of a kind, before any of it is judged
	farPrice   = 3.0      // times the median of the kind
	farSize    = 1.8      //
	spreads    = 4.0      // and so many spreads of the kind away
	madToSigma = 1.4826   // of a normal distribution
	longDays   = 365      // at the first ask, before a sale
	oldDays    = 10 * 365 // before today
	wideGap    = 1.6      // of a sale above its ask
	nearEnough = 1.7      // of a mended price to the median
	nearSize   = 1.35     //
	perInch    = service.MillimetresPerInch / 10
)

// kinds are the middle and the spread of logarithms, by kind and column.
type kinds map[string]struct {
	middle, spread float64
	n              int
}

// Judge finds the doubts of rows beside what is on file, row by row.
func Judge(rows, onFile []*service.Listing, c service.Currency, today pricing.Date) [][]Doubt {
	all := slices.Concat(onFile, rows)
	k := kindsOf(all, c)
	first := firstOfEach(all)
	out := make([][]Doubt, len(rows))
	for i, l := range rows {
		out[i] = slices.Concat(amounts(l, k, c), sizes(l, k), words(l), days(l, today), twice(l, first))
	}
	return out
}

func kindsOf(all []*service.Listing, c service.Currency) kinds {
	logs := map[string][]float64{}
	note := func(key string, x float64) {
		if x > 0 {
			logs[key] = append(logs[key], math.Log(x))
		}
	}
	for _, l := range all {
		note(l.Category+" price", priceEach(l, l.CurrentAsk(), c))
		for name, cm := range lengths(l) {
			note(l.Category+" "+name, cm)
		}
	}
	k := kinds{}
	for key, xs := range logs {
		middle := median(xs)
		off := make([]float64, len(xs))
		for i, x := range xs {
			off[i] = math.Abs(x - middle)
		}
		known := k[key]
		known.middle, known.spread, known.n = middle, madToSigma*median(off), len(xs)
		k[key] = known
	}
	return k
}

func median(xs []float64) float64 {
	sorted := slices.Sorted(slices.Values(xs))
	return (sorted[(len(sorted)-1)/2] + sorted[len(sorted)/2]) / 2
}

// priceEach is an amount for one of a set.
func priceEach(l *service.Listing, m service.Money, c service.Currency) float64 {
	return m.Major(c) / float64(max(1, l.SetSize))
}

func lengths(l *service.Listing) map[string]float64 {
	return map[string]float64{
		"width": service.Centimetres(l.Width, l.Unit), "depth": service.Centimetres(l.Depth, l.Unit), "height": service.Centimetres(l.Height, l.Unit),
	}
}

// amounts doubts an ask or a sale price that is far from those of its kind, and
// a sale far from its own ask.
func amounts(l *service.Listing, k kinds, c service.Currency) (found []Doubt) {
	kind := k[l.Category+" price"]
	for _, a := range []struct {
		column string
		amount service.Money
	}{{"ask", l.CurrentAsk()}, {"sale_price", l.SalePrice}} {
		x := priceEach(l, a.amount, c)
		if x <= 0 {
			continue
		}
		off := math.Log(x) - kind.middle
		ask := priceEach(l, l.CurrentAsk(), c)
		ofKind := kind.n >= fewest && math.Abs(off) > max(math.Log(farPrice), spreads*kind.spread)
		ofAsk := a.column == "sale_price" && ask > 0 && (x > wideGap*ask || farPrice*x < ask)
		switch {
		case ofKind:
			found = append(found, farAmount(a.column, a.amount, off, l, c, math.Exp(kind.middle)))
		case ofAsk:
			found = append(found, farAmount(a.column, a.amount, math.Log(x/ask), l, c, ask))
		}
	}
	return found
}

func farAmount(column string, m service.Money, off float64, l *service.Listing, c service.Currency, usual float64) Doubt {
	d := Doubt{Code: column + "_far", Column: column, Found: m.Format(c)}
	d.Text = fmt.Sprintf("%s is far from what a %s is priced at here, about %.0f.", m.Short(c), service.InWords(l.Category), usual)
	for _, by := range []int64{10, 100, 1000} {
		name := map[int64]string{10: "ten_times", 100: "hundred_times", 1000: "thousand_times"}[by]
		factor := float64(by)
		switch {
		case math.Abs(off-math.Log(factor)) < math.Log(nearEnough):
			d.Code, d.Proposed = name, service.Money(int64(m)/by).Format(c)
		case math.Abs(off+math.Log(factor)) < math.Log(nearEnough):
			d.Code, d.Proposed = name, service.Money(int64(m)*by).Format(c)
		}
	}
	return d
}

// sizes doubts a length that is far from those of its kind.
func sizes(l *service.Listing, k kinds) (found []Doubt) {
	entered := map[string]float64{"width": l.Width, "depth": l.Depth, "height": l.Height}
	measured := lengths(l)
	for _, name := range []string{"width", "depth", "height"} {
		kind, cm := k[l.Category+" "+name], measured[name]
		if cm <= 0 || kind.n < fewest {
			continue
		}
		off := math.Log(cm) - kind.middle
		if math.Abs(off) <= max(math.Log(farSize), spreads*kind.spread) {
			continue
		}
		d := Doubt{Code: "size_far", Column: name, Found: number(entered[name])}
		d.Text = fmt.Sprintf("%s %s %s is far from other pieces of its kind, about %.0f.", d.Found, l.Unit, name, math.Exp(kind.middle)*entered[name]/cm)
		switch {
		case math.Abs(off-math.Log(perInch)) < math.Log(nearSize):
			d.Code, d.Proposed = "other_unit", number(entered[name]/perInch)
		case math.Abs(off+math.Log(perInch)) < math.Log(nearSize):
			d.Code, d.Proposed = "other_unit", number(entered[name]*perInch)
		}
		found = append(found, d)
	}
	return found
}

func number(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// words doubts an unknown word that is near a known one.
func words(l *service.Listing) (found []Doubt) {
	for _, w := range []struct{ column, word string }{{"category", l.Category}, {"wood", l.Wood}, {"material", l.Material}, {"finish", l.Finish}, {"color", l.Color}} {
		c, _ := service.ColumnByName(w.column)
		if len(w.word) < 4 || slices.Contains(c.Words, w.word) {
			continue
		}
		near := service.Nearest(w.word, c.Words)
		if near != "" && service.Edits(w.word, near) <= max(1, len(w.word)/4) {
			found = append(found, Doubt{"near_word", w.column, w.word, near, fmt.Sprintf("%q is new here. Is it %s?", w.word, service.InWords(near))})
		}
	}
	return found
}

// days doubts days that leap.
func days(l *service.Listing, today pricing.Date) (found []Doubt) {
	if l.ListedOn.IsZero() {
		return nil
	}
	if today-l.ListedOn > oldDays {
		found = append(found, Doubt{Code: "date_leap", Column: "listed_on", Found: l.ListedOn.String(), Text: "That is more than ten years ago."})
	}
	if l.Outcome == service.OutcomeSold && len(l.Asks) == 1 && l.EndedOn-l.ListedOn > longDays {
		found = append(found, Doubt{Code: "sold_late", Column: "ended_on", Found: l.EndedOn.String(),
			Text: fmt.Sprintf("It sold %d days after it was listed, at its first ask.", l.EndedOn-l.ListedOn)})
	}
	return found
}

// sameness is what two rows of one piece have in common.
type sameness struct {
	member, category     string
	width, depth, height float64
	listed               pricing.Date
	ask                  service.Money
}

func samenessOf(l *service.Listing) (s sameness, ok bool) {
	s = sameness{l.Member, l.Category, l.Width, l.Depth, l.Height, l.ListedOn, l.CurrentAsk()}
	return s, l.Width > 0 && l.Height > 0 && !l.ListedOn.IsZero() && !l.IsObserved()
}

func firstOfEach(all []*service.Listing) map[sameness]*service.Listing {
	first := map[sameness]*service.Listing{}
	for _, l := range all {
		if s, ok := samenessOf(l); ok && first[s] == nil {
			first[s] = l
		}
	}
	return first
}

func twice(l *service.Listing, first map[sameness]*service.Listing) []Doubt {
	s, ok := samenessOf(l)
	if other := first[s]; ok && other.Ref != l.Ref {
		return []Doubt{{"same_piece", "ref", l.Ref, other.Ref, fmt.Sprintf("%s has the same kind, size, day and ask as %s.", l.Ref, other.Ref)}}
	}
	return nil
}
