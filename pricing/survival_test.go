package pricing

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/probe"
	"askwright/pricing/internal/reference"
)

func TestCumulativeFromPriors(t *testing.T) {
	f := priorRate(salePriors())
	for _, tt := range []struct{ t, want float64 }{
		{7, 10.442773}, {14, 18.178969}, {30, 34.915166}, {60, 64.915166}, {90, 89.477088},
	} {
		if got := f.cumulative(0, tt.t); !probe.Near(got, tt.want, 6) {
			t.Errorf("B(0, %g) = %.7f, want %.6f", tt.t, got, tt.want)
		}
	}
	if got, want := f.cumulative(10, 20), f.cumulative(0, 30)-f.cumulative(0, 10); !probe.Near(got, want, 9) {
		t.Errorf("B(10, 20) = %g, want %g", got, want)
	}
}

// S falls from 1, and soldBy is its complement without cancellation.
func TestSurvivalLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(0.1, 50).Draw(t, "shape")
		r := rapid.Float64Range(0.1, 50).Draw(t, "rate")
		h := math.Exp(rapid.Float64Range(-40, 10).Draw(t, "log hazard"))
		s, sold := survivalAt(h, k, r), soldBy(h, k, r)
		if !(s >= 0 && s <= 1) || math.Abs(s+sold-1) > 1e-12 {
			t.Errorf("survival %g and its complement %g", s, sold)
		}
		if small := k / r * h; small < 1e-9 && math.Abs(sold/small-1) > 1e-6 {
			t.Errorf("chance %g of a tiny hazard, want %g", sold, small)
		}
		if survivalAt(2*h, k, r) > s {
			t.Error("survival rises with the hazard")
		}
	})
}

// The Lomax law of the kidney data at its maximum: R, survival and nlminb (testdata).
func TestSurvivalAgainstReference(t *testing.T) {
	var ref struct {
		Cases struct {
			Lomax struct {
				Theta    float64            `json:"theta"`
				LogRate  float64            `json:"log_rate"`
				Survival map[string]float64 `json:"survival_male"`
			} `json:"lomax_kidney"`
		} `json:"cases"`
	}
	reference.Read(t, "gamma_frailty.json", &ref)
	l := ref.Cases.Lomax
	for at, want := range l.Survival {
		days := map[string]float64{"7": 7, "30": 30, "90": 90, "365": 365}[at]
		k := 1 / l.Theta
		reference.WantRel(t, "survival to day "+at, survivalAt(days*math.Exp(l.LogRate), k, k), want, 1e-10)
	}
}

func TestTimeGrid(t *testing.T) {
	grid := timeGrid(180)
	if len(grid) != 41 || grid[15] != 30 || grid[16] != 36 || grid[40] != 180 {
		t.Errorf("grid %v", grid)
	}
	if last := timeGrid(45); last[len(last)-1] != 45 || last[len(last)-2] != 42 {
		t.Errorf("grid to 45: %v", last)
	}
}
