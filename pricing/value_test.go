package pricing

import (
	"testing"

	"askwright/pricing/internal/reference"
)

// What a coefficient b of a regression of a log price does to the price:
// 100 (exp(b) − 1) (R. Halvorsen and R. Palmquist 1980, American Economic
// Review 70, 474-475); with half its variance taken off it is nearly unbiased
// (P. E. Kennedy 1981, American Economic Review 71, 801).
func TestPercentOfHousePrices(t *testing.T) {
	var ref struct {
		Cases struct {
			Fit struct {
				Coefficients struct{ Estimate, SE map[string]float64 }
			} `json:"verbeek_3_2"`
			Percent map[string]any `json:"percent_effect_3_2"`
		}
	}
	reference.Read(t, "houseprices.json", &ref)
	checked := 0
	for term, b := range ref.Cases.Fit.Coefficients.Estimate {
		want, ok := ref.Cases.Percent[term].(map[string]any)
		if !ok {
			continue
		}
		checked++
		se := ref.Cases.Fit.Coefficients.SE[term]
		reference.WantRel(t, term+" (Halvorsen and Palmquist 1980)", percent(b), want["halvorsen_palmquist_pct"].(float64), 1e-9)
		reference.WantRel(t, term+" (Kennedy 1981)", percent(b-se*se/2), want["kennedy_pct"].(float64), 1e-9)
	}
	if checked != 3 {
		t.Errorf("checked %d effects, want 3", checked)
	}
}
