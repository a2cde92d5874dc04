package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"
)

// What the published checks of a fit need beyond what the service uses of it.

// predict returns the fitted value at x, of length p, with the standard error
// of that mean and of a new observation:
//
//	x'b,   s √(x'(X'X)⁻¹x),   s √(1 + x'(X'X)⁻¹x)
func (f *LinearFit) predict(x []float64) (fit, meanSE, newSE float64) {
	if len(x) != len(f.Coefficients) {
		panic(fmt.Sprintf("pricing: %d values for %d coefficients", len(x), len(f.Coefficients)))
	}
	scaled := make([]float64, len(x))
	for j := range x {
		scaled[j] = x[j] * f.scale[j]
	}
	h := squaredLength(f.whiten(scaled))
	return floats.Dot(x, f.Coefficients), f.ResidualSD * math.Sqrt(h), f.ResidualSD * math.Sqrt(1+h)
}

// confidenceInterval returns the limits that hold the mean at x with the
// given chance, x'b ± t s √(x'(X'X)⁻¹x), t with n − p degrees of freedom.
func (f *LinearFit) confidenceInterval(x []float64, level float64) (low, high float64) {
	fit, se, _ := f.predict(x)
	half := studentHalfWidth(level, f.DF) * se
	return fit - half, fit + half
}

// predictionInterval returns the limits that hold a new observation at x with
// the given chance, x'b ± t s √(1 + x'(X'X)⁻¹x).
func (f *LinearFit) predictionInterval(x []float64, level float64) (low, high float64) {
	fit, _, se := f.predict(x)
	half := studentHalfWidth(level, f.DF) * se
	return fit - half, fit + half
}

// studentHalfWidth returns the quantile (1 + level)/2 of Student's t.
func studentHalfWidth(level float64, df int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}.Quantile((1 + level) / 2)
}

// deletedRow is what a fit without one row says of that row.
type deletedRow struct {
	Error float64 // y_i less its prediction: e_i / (1 − h_i)
	SE    float64 // of that prediction, for a new observation
	DF    int     // n − p − 1
}

// covers reports whether the prediction interval of the given level, made
// without the row, holds the row.
func (d deletedRow) covers(level float64) bool {
	return math.Abs(d.Error) <= studentHalfWidth(level, d.DF)*d.SE
}

// leaveOneOut returns, for each row, the prediction from all other rows. No
// fit is repeated: with RSS = e'e,
//
//	error  e_i / (1 − h_i)
//	s_i²   (RSS − e_i²/(1 − h_i)) / (n − p − 1)
//	SE     s_i / √(1 − h_i)
//
// Source: R. D. Cook and S. Weisberg (1982), Residuals and Influence in
// Regression, chapter 2. The error names a row that alone determines a
// coefficient (leverage 1); n − p must be at least 2.
func (f *LinearFit) leaveOneOut() ([]deletedRow, error) {
	if f.DF < 2 {
		return nil, errors.New("leave-one-out: two rows more than columns are needed")
	}
	rss := squaredLength(f.Residuals)
	out := make([]deletedRow, len(f.Residuals))
	for i, e := range f.Residuals {
		rest := 1 - f.Leverage[i]
		if rest < rankTolerance {
			return nil, fmt.Errorf("leave-one-out: row %d alone determines a coefficient", i)
		}
		variance := max(0, rss-e*e/rest) / float64(f.DF-1)
		out[i] = deletedRow{Error: e / rest, SE: math.Sqrt(variance / rest), DF: f.DF - 1}
	}
	return out, nil
}

// smearingFactor returns mean(exp(e_i)), which turns the median exp(x'b) of a
// regression of a logarithm into a mean. Source: N. Duan (1983), Journal of
// the American Statistical Association 78, 605-610.
func (f *LinearFit) smearingFactor() float64 {
	sum := 0.0
	for _, e := range f.Residuals {
		sum += math.Exp(e)
	}
	return sum / float64(len(f.Residuals))
}
