package stats

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Conjugate is a normal-inverse-gamma posterior of a linear regression
// y = Xβ + ε, ε ~ N(0, σ²), with the prior β | σ² ~ N(m0, σ² P⁻¹),
// σ² ~ InvGamma(a0, b0), where P is diagonal.
//
// Source: Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., chapter 14;
// O'Hagan and Forster (2004), Kendall's Advanced Theory of Statistics 2B, chapter 11.
type Conjugate struct {
	Beta     []float64     // posterior mean
	upper    *mat.TriDense // U, A = X'X + P = U'U
	an, bn   float64
	Evidence float64 // log marginal likelihood
}

// Moments are what a conjugate posterior needs of its data.
type Moments struct {
	N  float64 // Σ w
	XX *mat.SymDense
	XY []float64
	YY float64
}

// Posterior computes
//
//	X'r = X'y − X'X m0,  r'r = y'y − 2 m0'X'y + m0'X'X m0,  A = X'X + P = L L',  L z = X'r,
//	β̂ = m0 + L'⁻¹ z,  a_n = a0 + n/2,  b_n = b0 + ½ max(r'r − z'z, 1e-12)
//
// and the log evidence
//
//	½ Σ log P_j − Σ log L_jj + a0 log b0 − a_n log b_n + log Γ(a_n) − log Γ(a0) − n/2 log 2π.
//
// It is false where A is not positive definite.
func (d Moments) Posterior(m0, precision []float64, a0, b0 float64) (Conjugate, bool) {
	p := len(m0)
	mean := mat.NewVecDense(p, m0)
	var xxm mat.VecDense
	xxm.MulVec(d.XX, mean)
	z := mat.NewVecDense(p, nil)
	rr := d.YY
	logPrecision := 0.0
	a := mat.NewSymDense(p, nil)
	a.CopySym(d.XX)
	for j := range p {
		z.SetVec(j, d.XY[j]-xxm.AtVec(j))
		rr += m0[j] * (xxm.AtVec(j) - 2*d.XY[j])
		a.SetSym(j, j, a.At(j, j)+precision[j])
		logPrecision += math.Log(precision[j])
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return Conjugate{}, false
	}
	c := Conjugate{upper: mat.NewTriDense(p, mat.Upper, nil)}
	chol.UTo(c.upper)
	solveTransposed(c.upper, z.RawVector().Data)
	zz := mat.Dot(z, z)
	var step mat.VecDense
	if err := step.SolveVec(c.upper, z); err != nil {
		if poor := mat.Condition(0); !errors.As(err, &poor) {
			return Conjugate{}, false
		}
	}
	c.Beta = make([]float64, p)
	logDet := 0.0
	for j := range p {
		c.Beta[j] = m0[j] + step.AtVec(j)
		logDet += math.Log(c.upper.At(j, j))
	}
	c.an = a0 + d.N/2
	c.bn = b0 + math.Max(rr-zz, 1e-12)/2
	lgn, _ := math.Lgamma(c.an)
	lg0, _ := math.Lgamma(a0)
	c.Evidence = logPrecision/2 - logDet + a0*math.Log(b0) - c.an*math.Log(c.bn) + lgn - lg0 - d.N/2*math.Log(2*math.Pi)
	return c, true
}

// solveTransposed solves U'z = x in place. It skips leading zeros, which a
// sparse row has many of.
func solveTransposed(u *mat.TriDense, x []float64) {
	raw := u.RawTriangular()
	for j, v := range x {
		if v == 0 {
			continue
		}
		row := raw.Data[j*raw.Stride : j*raw.Stride+len(x)]
		v /= row[j]
		x[j] = v
		for i := j + 1; i < len(x); i++ {
			x[i] -= row[i] * v
		}
	}
}

// Leverage is ‖L⁻¹x‖², the variance of x'β over σ².
func (c Conjugate) Leverage(x []float64) float64 {
	z := slices.Clone(x)
	solveTransposed(c.upper, z)
	sum := 0.0
	for _, v := range z {
		sum += v * v
	}
	return sum
}

// Location is x'β̂.
func (c Conjugate) Location(x []float64) float64 {
	sum := 0.0
	for j, v := range x {
		if v != 0 {
			sum += v * c.Beta[j]
		}
	}
	return sum
}

// Spread is s, the square root of b_n / a_n.
func (c Conjugate) Spread() float64 { return math.Sqrt(c.bn / c.an) }

// Quantile is that of Student's t with 2 a_n degrees of freedom.
func (c Conjugate) Quantile(p float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 2 * c.an}.Quantile(p)
}
