package pricing

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// rankTolerance is the least share of a column, in Euclidean length, that the
// columns before it must leave unexplained. Rounding leaves about 1e-16 per
// row of a column that is a combination of others; the hardest certified data
// set of NIST (Filip) leaves 5e-8.
const rankTolerance = 1e-13

// RankError reports a column that is zero or a linear combination of the
// columns before it, so that its coefficient cannot be told.
type RankError struct {
	Column int // from 0
}

func (e *RankError) Error() string {
	return fmt.Sprintf("column %d is zero or a combination of the columns before it", e.Column)
}

// LinearFit is an ordinary least squares fit of n values by p columns.
type LinearFit struct {
	Coefficients []float64 // b, length p
	StdErrors    []float64 // of b, length p
	Residuals    []float64 // e = y − X b, length n
	Leverage     []float64 // h, the diagonal of X (X'X)⁻¹ X', length n, in [0, 1]
	DF           int       // n − p
	ResidualSD   float64   // s = √(e'e / (n − p)), in the unit of y
	RSquared     float64   // share of the variation of y explained, in [0, 1]

	scale []float64     // of the columns, length p
	r     *mat.TriDense // of X diag(scale) = Q R, p×p
}

// LeastSquares returns the coefficients b that minimise ‖y − X b‖², with
//
//	standard errors  s √diag((X'X)⁻¹),  s² = ‖y − X b‖² / (n − p)
//	R²               1 − ‖y − X b‖² / Σ (y_i − ȳ)²
//
// X is n×p with n > p and is used as it is: an intercept is a column of ones.
// When no column of X is constant, R² is taken about zero instead of about ȳ.
// y has length n. X and y are not changed.
//
// The columns are brought to length 1 by powers of two, which loses no digit,
// and X is factored by Householder reflections: the error then grows with the
// condition number of X, not with its square as in the normal equations.
// Source: Å. Björck (1996), Numerical Methods for Least Squares Problems.
//
// The error is a *RankError when a column can be left out without loss, and
// tells of too few rows, lengths that differ, or values that are not finite.
func LeastSquares(x mat.Matrix, y []float64) (*LinearFit, error) {
	n, p := x.Dims()
	switch {
	case len(y) != n:
		return nil, fmt.Errorf("least squares: %d rows but %d values", n, len(y))
	case n <= p:
		return nil, fmt.Errorf("least squares: %d rows are too few for %d columns", n, p)
	}
	if err := refuseNonFinite(x, y); err != nil {
		return nil, err
	}
	scaled, scale, err := equilibrate(x)
	if err != nil {
		return nil, err
	}
	var qr mat.QR
	qr.Factorize(scaled)
	r, err := triangle(&qr, scaled)
	if err != nil {
		return nil, err
	}
	f := &LinearFit{DF: n - p, scale: scale, r: r}
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, mat.NewVecDense(n, y)); err != nil && !errors.As(err, new(mat.Condition)) {
		return nil, fmt.Errorf("least squares: %w", err)
	}
	f.summarize(scaled, &b, y)
	return f, nil
}

// refuseNonFinite reports the first value that is NaN or infinite.
func refuseNonFinite(x mat.Matrix, y []float64) error {
	n, p := x.Dims()
	for i := range n {
		if math.IsNaN(y[i]) || math.IsInf(y[i], 0) {
			return fmt.Errorf("least squares: value %d is %v", i, y[i])
		}
		for j := range p {
			if v := x.At(i, j); math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("least squares: row %d, column %d is %v", i, j, v)
			}
		}
	}
	return nil
}

// equilibrate returns X diag(scale) with columns of length in [0.5, 1).
func equilibrate(x mat.Matrix) (scaled *mat.Dense, scale []float64, err error) {
	n, p := x.Dims()
	scaled, scale = mat.DenseCopyOf(x), make([]float64, p)
	for j := range scale {
		length := mat.Norm(scaled.ColView(j), 2)
		if length == 0 {
			return nil, nil, &RankError{Column: j}
		}
		_, exponent := math.Frexp(length)
		scale[j] = math.Ldexp(1, -exponent)
		for i := range n {
			scaled.Set(i, j, scaled.At(i, j)*scale[j])
		}
	}
	return scaled, scale, nil
}

// triangle returns R, or a RankError for its first negligible diagonal entry.
func triangle(qr *mat.QR, x *mat.Dense) (*mat.TriDense, error) {
	_, p := x.Dims()
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(p, mat.Upper, nil)
	for j := range p {
		for i := range j + 1 {
			r.SetTri(i, j, full.At(i, j))
		}
		if math.Abs(r.At(j, j)) < rankTolerance*mat.Norm(x.ColView(j), 2) {
			return nil, &RankError{Column: j}
		}
	}
	return r, nil
}

// summarize fills f from the scaled columns and their coefficients.
func (f *LinearFit) summarize(x *mat.Dense, b *mat.VecDense, y []float64) {
	n, p := x.Dims()
	var fitted mat.VecDense
	fitted.MulVec(x, b)
	f.Residuals, f.Leverage = make([]float64, n), make([]float64, n)
	for i := range y {
		f.Residuals[i] = y[i] - fitted.AtVec(i)
		f.Leverage[i] = min(1, squaredLength(f.whiten(x.RawRowView(i))))
	}
	rss := floats.Dot(f.Residuals, f.Residuals)
	f.ResidualSD = math.Sqrt(rss / float64(f.DF))
	f.RSquared = 1 - rss/totalSquares(x, y)

	f.Coefficients, f.StdErrors = make([]float64, p), make([]float64, p)
	var inverse mat.TriDense // R⁻¹: (X'X)⁻¹ = R⁻¹ R⁻ᵀ, whose diagonal is the length of its rows
	if err := inverse.InverseTri(f.r); err != nil && !errors.As(err, new(mat.Condition)) {
		panic(err) // R has no zero on its diagonal
	}
	for j := range p {
		f.Coefficients[j] = b.AtVec(j) * f.scale[j]
		row := mat.Row(nil, j, &inverse)
		f.StdErrors[j] = f.ResidualSD * math.Sqrt(squaredLength(row)) * f.scale[j]
	}
}

// whiten solves R'z = x for z: ‖z‖² = x'(X'X)⁻¹x.
func (f *LinearFit) whiten(x []float64) []float64 {
	z := make([]float64, len(x))
	for j := range z {
		sum := x[j]
		for i := range j {
			sum -= f.r.At(i, j) * z[i]
		}
		z[j] = sum / f.r.At(j, j)
	}
	return z
}

// totalSquares returns Σ (y − ȳ)², or Σ y² when x has no constant column.
func totalSquares(x *mat.Dense, y []float64) float64 {
	_, p := x.Dims()
	center := 0.0
	for j := range p {
		if column := mat.Col(nil, j, x); floats.Max(column) == floats.Min(column) {
			center = floats.Sum(y) / float64(len(y))
			break
		}
	}
	total := 0.0
	for _, v := range y {
		total += (v - center) * (v - center)
	}
	return total
}

func squaredLength(v []float64) float64 { return floats.Dot(v, v) }

// Predict returns the fitted value at x, of length p, with the standard error
// of that mean and of a new observation:
//
//	x'b,   s √(x'(X'X)⁻¹x),   s √(1 + x'(X'X)⁻¹x)
func (f *LinearFit) Predict(x []float64) (fit, meanSE, newSE float64) {
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

// ConfidenceInterval returns the limits that hold the mean at x with the
// given chance, x'b ± t s √(x'(X'X)⁻¹x), t with n − p degrees of freedom.
func (f *LinearFit) ConfidenceInterval(x []float64, level float64) (low, high float64) {
	fit, se, _ := f.Predict(x)
	half := studentHalfWidth(level, f.DF) * se
	return fit - half, fit + half
}

// PredictionInterval returns the limits that hold a new observation at x with
// the given chance, x'b ± t s √(1 + x'(X'X)⁻¹x).
func (f *LinearFit) PredictionInterval(x []float64, level float64) (low, high float64) {
	fit, _, se := f.Predict(x)
	half := studentHalfWidth(level, f.DF) * se
	return fit - half, fit + half
}

// studentHalfWidth returns the quantile (1 + level)/2 of Student's t.
func studentHalfWidth(level float64, df int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}.Quantile((1 + level) / 2)
}

// Deleted is what a fit without one row says of that row.
type Deleted struct {
	Error float64 // y_i less its prediction: e_i / (1 − h_i)
	SE    float64 // of that prediction, for a new observation
	DF    int     // n − p − 1
}

// Covers reports whether the prediction interval of the given level, made
// without the row, holds the row.
func (d Deleted) Covers(level float64) bool {
	return math.Abs(d.Error) <= studentHalfWidth(level, d.DF)*d.SE
}

// LeaveOneOut returns, for each row, the prediction from all other rows. No
// fit is repeated: with RSS = e'e,
//
//	error  e_i / (1 − h_i)
//	s_i²   (RSS − e_i²/(1 − h_i)) / (n − p − 1)
//	SE     s_i / √(1 − h_i)
//
// Source: R. D. Cook and S. Weisberg (1982), Residuals and Influence in
// Regression, chapter 2. The error names a row that alone determines a
// coefficient (leverage 1); n − p must be at least 2.
func (f *LinearFit) LeaveOneOut() ([]Deleted, error) {
	if f.DF < 2 {
		return nil, errors.New("leave-one-out: two rows more than columns are needed")
	}
	rss := squaredLength(f.Residuals)
	out := make([]Deleted, len(f.Residuals))
	for i, e := range f.Residuals {
		rest := 1 - f.Leverage[i]
		if rest < rankTolerance {
			return nil, fmt.Errorf("leave-one-out: row %d alone determines a coefficient", i)
		}
		variance := max(0, rss-e*e/rest) / float64(f.DF-1)
		out[i] = Deleted{Error: e / rest, SE: math.Sqrt(variance / rest), DF: f.DF - 1}
	}
	return out, nil
}

// PercentEffect returns what a coefficient b of a regression of a log price
// does to the price, in percentage points:
//
//	100 (exp(b − v/2) − 1)
//
// With v = 0 it is the effect of the estimate itself (R. Halvorsen and
// R. Palmquist 1980, American Economic Review 70, 474-475); with v the
// squared standard error of b it is nearly unbiased (P. E. Kennedy 1981,
// American Economic Review 71, 801).
func PercentEffect(b, v float64) float64 { return 100 * math.Expm1(b-v/2) }

// SmearingFactor returns mean(exp(e_i)), which turns the median exp(x'b) of a
// regression of a logarithm into a mean. Source: N. Duan (1983), Journal of
// the American Statistical Association 78, 605-610.
func (f *LinearFit) SmearingFactor() float64 {
	sum := 0.0
	for _, e := range f.Residuals {
		sum += math.Exp(e)
	}
	return sum / float64(len(f.Residuals))
}
