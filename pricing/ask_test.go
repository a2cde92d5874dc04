package pricing

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/pricepoint"
)

var today = NewDate(2026, time.March, 5)

// checkSettings are those of the check values: fee 5 %, 1.5 a day and 45 if
// never sold for a typical ask of 300.
func checkSettings() Settings {
	s := DefaultSettings()
	s.FeeRate = 0.05
	s.HoldingRate = 0.005
	return s
}

// The check values here were worked out by hand from the priors alone
// (docs/pricing.md): no sales, estimate 300.
func TestSuggestFromPriors(t *testing.T) {
	m := Fit(History{}, today)
	got := m.Suggest(Query{Attributes: furniture.Attributes{Category: "desk"}, Estimate: 300}, today, checkSettings(), nil)
	if got.Refusal != nil || got.SalePrice != nil || !slices.Equal(got.Labels, []string{LabelFromEstimate}) {
		t.Fatalf("refusal %v, price %v, labels %v; want an answer from the estimate alone", got.Refusal, got.SalePrice, got.Labels)
	}
	want := []struct {
		name                    string
		ask, p14, p30, p60, net float64
	}{
		{"quick", 210, 0.8192, 0.9227, 0.9706, 0},
		{"balanced", 280, 0.4268, 0.6172, 0.7828, 191.69},
		{"patient", 330, 0.2320, 0.3810, 0.5578, 0},
	}
	if got.AskForGood != 250 || got.Ask != 280 || got.Plan.Next().Ask != 250 || got.Plan.Next().On != today+21 {
		t.Errorf("ask %v, for good %v, plan %+v; want 280, 250 for good and after 21 days", got.Ask, got.AskForGood, got.Plan)
	}
	for i, w := range want {
		c := got.Choices[i]
		if c.Name != w.name || c.Ask != w.ask || !probe.Near(c.Chance14, w.p14, 4) || !probe.Near(c.Chance30, w.p30, 4) || !probe.Near(c.Chance60, w.p60, 4) {
			t.Errorf("choice %d = %+v, want %+v", i, c, w)
		}
		if w.net != 0 && !probe.Near(c.ExpectedNet, w.net, 2) {
			t.Errorf("%s nets %.4f, want %.2f", w.name, c.ExpectedNet, w.net)
		}
	}
	for _, p := range got.Curve {
		for ask, net := range map[float64]float64{300: 165.86, 270: 180.96, 250: 183.41, 240: 182.54} {
			if p.Ask == ask && !probe.Near(p.ExpectedNet, net, 2) {
				t.Errorf("net(%g) = %.4f, want %.2f", ask, p.ExpectedNet, net)
			}
		}
		if p.Ask == 300 && !probe.Near(p.Chance30, 0.5154, 4) {
			t.Errorf("chance within 30 days at 300 = %.5f, want 0.5154", p.Chance30)
		}
	}
}

func TestPricePoints(t *testing.T) {
	tests := []struct {
		low, high float64
		want      []float64
	}{
		{190, 220, []float64{190, 195, 200, 210, 220}},
		{490, 525, []float64{490, 500, 525}},
		{47, 56, []float64{47, 48, 49, 50, 55}},
		{1950, 2100, []float64{1950, 1975, 2000, 2050, 2100}},
		{4900, 5200, []float64{4900, 4950, 5000, 5100, 5200}},
		{99_900, 102_000, []float64{99_900, 100_000, 101_000, 102_000}},
		{0.2, 3, []float64{1, 2, 3}},
		{0.2, 0.9, nil},
		{201, 209, nil},
	}
	for _, tt := range tests {
		if got := pricepoint.Between(tt.low, tt.high); !slices.Equal(got, tt.want) {
			t.Errorf("pricepoint.Between(%g, %g) = %v, want %v", tt.low, tt.high, got, tt.want)
		}
	}
	for amount, want := range map[float64]float64{0: 1, 0.4: 1, 47.2: 47, 49.8: 50, 193: 195, 204: 200, 206: 210, 487: 490, 514: 525, 5049: 5000} {
		if got := PricePoint(amount); got != want {
			t.Errorf("PricePoint(%g) = %g, want %g", amount, got, want)
		}
	}
}

func TestSuggestRefusals(t *testing.T) {
	m := Fit(History{}, today)
	got := m.Suggest(Query{Attributes: furniture.Attributes{Category: "desk"}}, today, DefaultSettings(), nil)
	want := &furniture.Refusal{Reason: TooFewSales, Have: 0, Need: 8, Detail: got.Refusal.Detail}
	if diff := cmp.Diff(want, got.Refusal); diff != "" || got.Ask != 0 || got.SalePrice != nil {
		t.Errorf("without sales or estimate (-want +got):\n%s", diff)
	}
}
