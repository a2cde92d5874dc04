package stats

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// SparseRow is one row of a regression: the values X of the columns At.
type SparseRow struct {
	At     []int
	X      []float64
	Y      float64
	Weight float64 // beforehand, 0 to 1
}

// Robust is how rows are weighed for errors with Student's t distribution.
type Robust struct {
	DF     float64 // ν
	Rounds int
	Least  float64 // rows that come out with less are left out
	InFit  bool    // judge rows by the fit that holds them, as maximum likelihood does
}

// Weigh returns the weights of the rows after so many rounds from the prior
// ones. A round fits with the present weights and then takes
//
//	w = (ν + 1) / (ν + r² / (s² (1 + h/(1 − h)))),  h = w ‖L⁻¹x‖²,
//
// r the residual from the fit by all other rows: what pulls its own fit towards
// itself shall not hide by it. Rounds and start are fixed, so that weights depend
// on the rows and not on their history. InFit takes r²/s² as it is: then the
// rounds are the EM algorithm of K. L. Lange, R. J. A. Little and J. M. G. Taylor
// (1989), Journal of the American Statistical Association 84, 881-896.
func (o Robust) Weigh(rows []SparseRow, columns int, fit func(Moments) (Conjugate, bool)) []float64 {
	weights := make([]float64, len(rows))
	for i, r := range rows {
		weights[i] = r.Weight
	}
	for range o.Rounds {
		c, ok := fit(Gather(rows, weights, columns))
		if !ok {
			return weights
		}
		inverse := c.covariance()
		variance := c.bn / c.an
		for i, r := range rows {
			e := r.Y
			for u, j := range r.At {
				e -= r.X[u] * c.Beta[j]
			}
			kept := 1.0 // 1 − h
			if !o.InFit {
				kept = 1 - math.Min(weights[i]*r.quadratic(inverse), 0.95)
			}
			weights[i] = r.Weight * (o.DF + 1) / (o.DF + e*e/(variance*kept))
		}
	}
	for i, w := range weights {
		if w < o.Least {
			weights[i] = 0
		}
	}
	return weights
}

// Gather sums up rows with their weights. N counts those that have one, each by
// its weight beforehand.
func Gather(rows []SparseRow, weights []float64, columns int) Moments {
	d := Moments{XX: mat.NewSymDense(columns, nil), XY: make([]float64, columns)}
	raw := d.XX.RawSymmetric() // the upper triangle counts
	for i, r := range rows {
		w := weights[i]
		if w == 0 {
			continue
		}
		d.N += r.Weight
		d.YY += w * r.Y * r.Y
		for u, j := range r.At {
			x := w * r.X[u]
			d.XY[j] += x * r.Y
			for v, k := range r.At {
				if j <= k {
					raw.Data[j*raw.Stride+k] += x * r.X[v]
				}
			}
		}
	}
	return d
}

// covariance is A⁻¹, that of the coefficients over σ².
func (c Conjugate) covariance() *mat.SymDense {
	var chol mat.Cholesky
	chol.SetFromU(c.upper)
	inverse := mat.NewSymDense(len(c.Beta), nil)
	_ = chol.InverseTo(inverse) // poorly conditioned at worst: L has no zero on its diagonal
	return inverse
}

// quadratic is x'Mx.
func (r SparseRow) quadratic(m *mat.SymDense) float64 {
	raw, sum := m.RawSymmetric(), 0.0
	for u, j := range r.At {
		for v, k := range r.At[:u+1] {
			x := r.X[u] * r.X[v] * raw.Data[min(j, k)*raw.Stride+max(j, k)]
			if v < u {
				x *= 2
			}
			sum += x
		}
	}
	return sum
}
