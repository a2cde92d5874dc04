package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
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
