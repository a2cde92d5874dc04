package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"askwright/pricing/internal/reference"
)

// Stack loss (K. A. Brownlee 1965) with Student t errors: K. L. Lange,
// R. J. A. Little and J. M. G. Taylor (1989).
func TestStudentErrorsAgainstReference(t *testing.T) {
	type fit struct {
		Nu       float64
		Order    []string
		Estimate map[string]float64
		Scale    float64
		Weights  []float64
	}
	var ref struct {
		Cases struct {
			T4  fit `json:"t4"`
			T8  fit `json:"t8"`
			T11 fit `json:"t1.1"`
		}
	}
	reference.Read(t, "robust_t.json", &ref)
	columns := reference.Columns(t, "stackloss.csv")
	air, water := reference.Numbers(t, columns["air_flow"]), reference.Numbers(t, columns["water_temp"])
	acid, loss := reference.Numbers(t, columns["acid_conc"]), reference.Numbers(t, columns["loss"])
	for _, want := range []fit{ref.Cases.T4, ref.Cases.T8, ref.Cases.T11} {
		rows := make([]SparseRow, len(loss))
		for i, y := range loss {
			rows[i] = SparseRow{At: []int{0, 1, 2, 3}, X: []float64{1, air[i] - 60, water[i] - 21, acid[i] - 86}, Y: y, Weight: 1}
		}
		flat := func(d Moments) (Conjugate, bool) {
			const nothing = 1e-12
			return d.Posterior(make([]float64, 4), []float64{nothing, nothing, nothing, nothing}, nothing, nothing)
		}
		weights := Robust{DF: want.Nu, Rounds: 2000, InFit: true}.Weigh(rows, 4, flat)
		got, _ := flat(Gather(rows, weights, 4))
		for i, w := range want.Weights {
			reference.WantRel(t, "weight", weights[i], w, 1e-8)
		}
		reference.WantRel(t, "scale", got.Spread(), want.Scale, 1e-8)
		slopes := got.Beta
		reference.WantRel(t, "air flow", slopes[1], want.Estimate["air_flow"], 1e-8)
		reference.WantRel(t, "water temperature", slopes[2], want.Estimate["water_temp"], 1e-8)
		reference.WantRel(t, "acid concentration", slopes[3], want.Estimate["acid_conc"], 1e-8)
		reference.WantRel(t, "intercept", slopes[0]-60*slopes[1]-21*slopes[2]-86*slopes[3], want.Estimate["intercept"], 1e-8)
	}
}

// A row far off is judged by the others, however much of its own fit it is.
func TestWeighLooksThroughLeverage(t *testing.T) {
	t.Parallel()
	var rows []SparseRow
	for i := range 40 {
		noise := 0.1 * math.Sin(float64(7*i))
		rows = append(rows, SparseRow{At: []int{0}, X: []float64{1}, Y: 5 + noise, Weight: 1})
	}
	alone := SparseRow{At: []int{0, 1}, X: []float64{1, 1}, Y: 8, Weight: 1} // the only one of its kind
	rows = append(rows, alone)
	fit := func(d Moments) (Conjugate, bool) { return d.Posterior([]float64{0, 0}, []float64{1e-4, 0.5}, 2, 0.02) }
	weights := Robust{DF: 4, Rounds: 8, Least: 0.1}.Weigh(rows, 2, fit)
	if w := weights[40]; w != 0 {
		t.Errorf("a sale at twenty times the price of the others weighs %.2f, want 0", w)
	}
	for i, w := range weights[:40] {
		if w < 0.4 || w > 1.25 {
			t.Errorf("row %d weighs %.2f", i, w)
		}
	}
	d := Gather(rows, weights, 2)
	if d.N != 40 || d.XX.At(0, 0) < 30 || mat.Sum(d.XX) != d.XX.At(0, 0) {
		t.Errorf("%v rows, sums %v", d.N, mat.Formatted(d.XX))
	}
}
