package pricing

import (
	"math"
	"strings"
	"testing"

	"askwright/pricing/hedonic"
	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
)

// The market was made with these effects (synthetic_test.go); 3 000 listings
// must show them.
func TestDescribeFindsTheTruth(t *testing.T) {
	d := Fit(syntheticMarket(3000, 51), today).Describe()
	effects := map[string]Effect{}
	for _, e := range d.Effects {
		effects[e.Block+":"+e.Level] = e
		if e.Low > e.Percent || e.Percent > e.High {
			t.Errorf("%s: %g outside %g to %g", e.Term, e.Percent, e.Low, e.High)
		}
	}
	for name, levels := range map[string][]levelEffect{"category": syntheticCategories, "color": syntheticColors[:4]} {
		for _, u := range levels {
			for _, v := range levels {
				got := math.Log1p(effects[name+":"+u.name].Percent/100) - math.Log1p(effects[name+":"+v.name].Percent/100)
				if want := u.effect - v.effect; math.Abs(got-want) > 0.06 {
					t.Errorf("%s %s against %s: %.3f, made with %.3f", name, u.name, v.name, got, want)
				}
			}
		}
	}
	for term, want := range map[string]float64{"size:": math.Pow(1.1, 0.45), "condition:": math.Exp(0.12)} {
		if got := 1 + effects[term].Percent/100; math.Abs(got/want-1) > 0.02 {
			t.Errorf("%s factor %.4f, made with %.4f", term, got, want)
		}
	}
	// All its sets are pairs of what is an orphan alone: only both effects together can be told.
	pair := (1 + effects["set:"].Percent/100) / (1 + effects["orphan:"].Percent/100)
	if want := math.Pow(2, 0.85) * math.Exp(-syntheticOrphan); math.Abs(pair/want-1) > 0.03 {
		t.Errorf("pair over one alone: factor %.4f, made with %.4f", pair, want)
	}
	if e := effects["category:sideboard"]; !e.Distinguishable || e.Sales < 200 {
		t.Errorf("%+v", e)
	}
	if math.Abs(d.NegotiationRatio-math.Exp(-0.07)) > 0.005 || math.Abs(d.Elasticity-5) > 0.8 {
		t.Errorf("negotiation %.3f, elasticity %.2f; made with 0.932 and 5", d.NegotiationRatio, d.Elasticity)
	}
	// Kinds, looks and months do not change the pace in this market.
	holds, levels := 0, 0
	for _, p := range d.Paces {
		levels++
		if p.Low <= 1 && 1 <= p.High {
			holds++
		}
		if p.Low >= p.Pace || p.Pace >= p.High || p.Distinguishable != (p.Low > 1 || p.High < 1) || p.Listings < 50 {
			t.Errorf("%+v", p)
		}
	}
	if levels != 8+4+4+12 || float64(holds) < 0.6*float64(levels) {
		t.Errorf("%d of %d intervals of paces hold 1; 80 in 100 are promised", holds, levels)
	}
	if !probe.Near(d.PaceTenDearer, math.Pow(1.1, -d.Elasticity), 12) || d.MedianDays == nil || len(d.Season) != 12 {
		t.Errorf("%+v", d)
	}
}

// The drivers lead from the typical piece of the category to the subject.
func TestDriversExplainThePrice(t *testing.T) {
	m := Fit(syntheticMarket(400, 52), today)
	a := probes[1]
	r := m.value.describe(a, today)
	mean, _ := m.value.Typical(a.Category)
	want := m.value.Location(r.X) - m.value.Location(mean)
	got := 0.0
	for _, d := range m.drivers(a, r, 100) {
		got += math.Log1p(d.Percent / 100)
		if strings.Contains(d.Term, "_") || strings.Contains(d.Term, ":") {
			t.Errorf("%q is not for people", d.Term)
		}
		reference.WantRel(t, d.Term, d.Money, 100-100/(1+d.Percent/100), 1e-9)
	}
	// What is left is what the subject leaves out: hardware is unknown to all, so nothing.
	for _, name := range m.value.Names {
		j := m.value.Index[name]
		if b := hedonic.BlockOf(name); b == "material" || b == "hardware" {
			want -= (r.X[j] - mean[j]) * m.value.Beta[j]
		}
	}
	if math.Abs(got-want) > 1e-9 {
		t.Errorf("drivers sum to %g, the fits differ by %g", got, want)
	}
}

func TestFirstAskIsNotCalledAnOwnPrice(t *testing.T) {
	m := Fit(syntheticMarket(60, 53), today)
	l := Listing{ListedOn: NewDate(2026, 3, 1), Asks: []Ask{{NewDate(2026, 3, 1), 300}}}
	own := l
	own.Estimate = 300
	for _, test := range []struct {
		q    Query
		want bool
	}{
		{Query{Estimate: 300}, false},
		{Query{Estimate: 300, Standing: &Standing{Listing: l}}, true},
		{Query{Estimate: 340, Standing: &Standing{Listing: l}}, false},
		{Query{Estimate: 300, Standing: &Standing{Listing: own}}, false},
	} {
		if got := m.ownPrice(test.q, today, DefaultSettings()).IsFirstAsk; got != test.want {
			t.Errorf("an own price of %v is the first ask: %v, want %v", test.q.Estimate, got, test.want)
		}
	}
}
