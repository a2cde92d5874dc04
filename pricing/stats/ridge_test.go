package stats

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"askwright/pricing/internal/reference"
)

// ridge solves min ‖ỹ − Z b‖² + λ‖b‖² as least squares on augmented rows
// [Z; √λ I], with y centred and the columns of Z centred and divided by their
// root mean square (divisor n), and returns the fit on Z's scale with the
// means and scales that undo it.
func ridge(t testing.TB, columns [][]float64, y []float64, lambda float64) (f *LinearFit, mean, scale []float64, meanY float64) {
	t.Helper()
	n, p := len(y), len(columns)
	mean, scale = make([]float64, p), make([]float64, p)
	meanY = floats.Sum(y) / float64(n)
	x, target := mat.NewDense(n+p, p, nil), make([]float64, n+p)
	for i := range y {
		target[i] = y[i] - meanY
	}
	for j, column := range columns {
		mean[j] = floats.Sum(column) / float64(n)
		for _, v := range column {
			scale[j] += (v - mean[j]) * (v - mean[j]) / float64(n)
		}
		scale[j] = math.Sqrt(scale[j])
		for i, v := range column {
			x.Set(i, j, (v-mean[j])/scale[j])
		}
		x.Set(n+j, j, math.Sqrt(lambda))
	}
	f, err := LeastSquares(x, target)
	if err != nil {
		t.Fatal(err)
	}
	return f, mean, scale, meanY
}

// ridgeReference holds R's values and the printed ones. Source: help page
// lm.ridge of the R package MASS (W. N. Venables and B. D. Ripley 2002, Modern
// Applied Statistics with S, 4th ed.); data of J. W. Longley (1967).
type ridgeReference struct {
	Tolerance struct{ Rel float64 }
	Published struct {
		HKB, LW float64
		GCV     float64 `json:"gcv_minimiser_on_grid"`
	}
	Cases struct {
		Path struct {
			Terms        []string
			Lambda       []float64
			Coefficients [][]float64
			DF           []float64 `json:"effective_df_without_intercept"`
			GCV          []float64
		}
	}
}

func readRidge(t testing.TB) (ref ridgeReference, columns [][]float64, y []float64) {
	t.Helper()
	reference.Read(t, "ridge_longley.json", &ref)
	table := reference.Columns(t, "longley_r.csv")
	for _, term := range ref.Cases.Path.Terms[1:] {
		columns = append(columns, reference.Numbers(t, table[term]))
	}
	return ref, columns, reference.Numbers(t, table["y"])
}

// ridgeGCV returns the generalised cross-validation score of lm.ridge,
// Σ e² / (n − df)², and df, which leaves out the intercept.
func ridgeGCV(f *LinearFit, n int) (gcv, df float64) {
	df = floats.Sum(f.Leverage[:n])
	left := float64(n) - df
	return squaredLength(f.Residuals[:n]) / (left * left), df
}

func TestLeastSquaresRidgePath(t *testing.T) {
	ref, columns, y := readRidge(t)
	path := ref.Cases.Path
	for k, lambda := range path.Lambda {
		f, mean, scale, meanY := ridge(t, columns, y, lambda)
		intercept := meanY
		for j, b := range f.Coefficients {
			reference.WantRel(t, fmt.Sprintf("λ = %g, %s", lambda, path.Terms[j+1]), b/scale[j], path.Coefficients[k][j+1], ref.Tolerance.Rel)
			intercept -= b / scale[j] * mean[j]
		}
		reference.WantRel(t, fmt.Sprintf("λ = %g, intercept", lambda), intercept, path.Coefficients[k][0], ref.Tolerance.Rel)
		gcv, df := ridgeGCV(f, len(y))
		reference.WantRel(t, fmt.Sprintf("λ = %g, degrees of freedom", lambda), df, path.DF[k], ref.Tolerance.Rel)
		reference.WantRel(t, fmt.Sprintf("λ = %g, GCV", lambda), gcv, path.GCV[k], ref.Tolerance.Rel)
	}
}

// The printed choices of the penalty: Hoerl, Kennard and Baldwin's (1975,
// Communications in Statistics 4, 105-123), Lawless and Wang's, and the smallest
// GCV on the grid 0, 0.0001, ..., 0.1.
func TestLeastSquaresRidgeChoices(t *testing.T) {
	ref, columns, y := readRidge(t)
	n, p := float64(len(y)), float64(len(columns))
	plain, _, _, _ := ridge(t, columns, y, 0)
	s2 := squaredLength(plain.Residuals) / (n - p - 1)
	hkb := (p - 2) * s2 / squaredLength(plain.Coefficients)
	fitted := 0.0
	for i := range y {
		v := y[i] - floats.Sum(y)/n - plain.Residuals[i]
		fitted += v * v
	}
	reference.WantPrinted(t, "HKB", hkb, ref.Published.HKB, 9)
	reference.WantPrinted(t, "L-W", (p-2)*s2*n/fitted, ref.Published.LW, 8)
	best, bestGCV := 0.0, math.Inf(1)
	for k := range 1001 {
		f, _, _, _ := ridge(t, columns, y, float64(k)*1e-4)
		if gcv, _ := ridgeGCV(f, len(y)); gcv < bestGCV {
			best, bestGCV = float64(k)*1e-4, gcv
		}
	}
	reference.WantPrinted(t, "λ of the smallest GCV", best, ref.Published.GCV, 4)
}
