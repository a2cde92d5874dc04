package pricing_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"askwright/pricing"
)

// newPieces is what asking for new pieces truly brings, over the value.
type newPieces struct {
	value, own, plan, planAlone, good, goodAlone float64
	markets, ahead                               int
	aided, alone                                 []float64 // |log| that the likely price is off, the market's level aside
}

// learned is a market with a model of its listings.
func learned(m *market, listings int) (*pricing.Model, pricing.Date) {
	day := pricing.NewDate(2026, 1, 1) + pricing.Date(m.rng.IntN(365))
	full, _ := m.history("p", listings, day, 730)
	return pricing.Fit(pricing.Cut(full, day), day), day
}

// play asks for the pieces with default money, while fee and space cost what
// they cost in that market.
func (n *newPieces) play(m *market, listings, pieces int) {
	model, day := learned(m, listings)
	s, before := pricing.DefaultSettings(), n.plan-n.own
	var aided, alone []float64
	for range pieces {
		p := m.newPiece("new")
		q := pricing.Query{Attributes: m.recorded(p)}
		c := m.trueCosts(p, day, backtestSettings())
		blind := model.Suggest(q, day, s, nil)
		q.Estimate = m.opinion(p, day)
		told := model.Suggest(q, day, s, nil)
		own := m.prospects(p, day, 0, pricing.PricePoint(q.Estimate), c).net
		follow := func(found pricing.Suggestion) (plan, good float64) {
			if found.Ask == 0 {
				return own, own
			}
			return m.follow(p, day, 0, found.Plan.Steps, c).net, m.prospects(p, day, 0, found.AskForGood, c).net
		}
		plan, good := follow(told)
		planAlone, goodAlone := follow(blind)
		n.value += math.Exp(m.worth(p, day))
		n.own, n.plan, n.good = n.own+own, n.plan+plan, n.good+good
		n.planAlone, n.goodAlone = n.planAlone+planAlone, n.goodAlone+goodAlone
		if told.SalePrice != nil && blind.SalePrice != nil {
			aided = append(aided, math.Log(told.SalePrice.Likely)-m.worth(p, day))
			alone = append(alone, math.Log(blind.SalePrice.Likely)-m.worth(p, day))
		}
	}
	n.markets++
	if n.plan-n.own > before {
		n.ahead++
	}
	n.aided, n.alone = append(n.aided, offLevel(aided)...), append(n.alone, offLevel(alone)...)
}

// offLevel is how far each lies from the middle one: people pay more or less
// than the middle buyer would in a whole market, which is no error of the price.
func offLevel(x []float64) []float64 {
	middle := middleOf(x)
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v - middle)
	}
	return out
}

func middleOf(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(x))
	return (sorted[len(sorted)/2] + sorted[(len(sorted)-1)/2]) / 2
}

func measureAsks(t *testing.T, e effort) []target {
	t.Helper()
	var over, plan, own, more, moreAlone, off, offAlone, rash, rashAlone []float64
	var ahead []string
	mostAhead := true
	for _, listings := range sizesOf() {
		var n, hasty newPieces
		for seed := range e.markets {
			n.play(wildMarket(uint64(90_000+1000*listings+seed)), listings, e.pieces)
			hasty.play(wildMarket(uint64(95_000+1000*listings+seed)).hasty(), listings, e.pieces)
		}
		plan, own, over = append(plan, n.plan/n.value), append(own, n.own/n.value), append(over, (n.plan-n.own)/n.value)
		more, moreAlone = append(more, (n.plan-n.good)/n.value), append(moreAlone, (n.planAlone-n.goodAlone)/n.value)
		off, offAlone = append(off, middleOf(n.aided)), append(offAlone, middleOf(n.alone))
		rash, rashAlone = append(rash, middleOf(hasty.aided)), append(rashAlone, middleOf(hasty.alone))
		ahead = append(ahead, fmt.Sprintf("%d of %d", n.ahead, n.markets))
		mostAhead = mostAhead && 10*n.ahead >= 8*n.markets
	}
	if over[0] < -0.03 || more[0] < -0.01 || moreAlone[0] < -0.02 {
		t.Errorf("plans bring %.3f over the sellers' own, %.3f and %.3f over single asks", over[0], more[0], moreAlone[0])
	}
	if off[len(off)-1] > 0.3 {
		t.Errorf("the likely price is off by %.2f", off[len(off)-1])
	}
	aims := []float64{0.17, 0.15, 0.14}
	return []target{
		{
			measure:  "true net of following the advice, share of the value (sellers' own); markets above them; default money, with the own price; 20 / 100 / 300 listings",
			measured: fmt.Sprintf("%s (%s); %s", series("%.3f", plan), series("%.3f", own), strings.Join(ahead, ", ")),
			aim:      "own + .05 at each; 8 of 10",
			met:      mostAhead && all(over, func(_ int, v float64) bool { return v >= 0.05 }),
		},
		{
			measure:  "true net of plans over the single ask of the same model, with the own price; without",
			measured: fmt.Sprintf("%s; %s", series("%+.3f", more), series("%+.3f", moreAlone)), aim: "≥ +.03; ≥ +.05",
			met: all(more, func(_ int, v float64) bool { return v >= 0.03 }) && all(moreAlone, func(_ int, v float64) bool { return v >= 0.05 }),
		},
		{
			measure:  "likely price with the own price: typical error against the true value, the market's level aside (without)",
			measured: fmt.Sprintf("%s (%s)", series("%.2f", off), series("%.2f", offAlone)), aim: "≤ .17 / .15 / .14",
			met: len(off) == len(aims) && all(off, func(i int, v float64) bool { return v <= aims[i] }),
		},
		{
			measure:  "the same with hasty sellers (by the records alone)",
			measured: fmt.Sprintf("%s (%s)", series("%.2f", rash), series("%.2f", rashAlone)), aim: "≤ records alone + .01",
			met: all(rash, func(i int, v float64) bool { return v <= rashAlone[i]+0.01 }),
		},
	}
}
