package stats

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// CountModel is a log-linear model of counts with exposure: row i has
// y_i events in exposure E_i at the rate E_i exp(x_i'θ). Rows of one cluster,
// which stand together, share a gamma frailty Z ~ Gamma(k, k); without one
// (shape 0) the counts are Poisson. θ ~ N(mean, diag(1/precision)); a
// precision of zero is a flat prior.
type CountModel struct {
	p         int
	rows      []CountRow
	shape     float64 // k; 0: Poisson
	mean      []float64
	precision []float64
}

// NewCountModel is a model of p coefficients without rows, its prior flat.
func NewCountModel(p int, shape float64) *CountModel {
	return &CountModel{p: p, shape: shape, mean: make([]float64, p), precision: make([]float64, p)}
}

// SetPrior sets the prior of one coefficient.
func (d *CountModel) SetPrior(j int, mean, sd float64) { d.mean[j], d.precision[j] = mean, 1/(sd*sd) }

// Add adds a row; rows of one cluster come one after another.
func (d *CountModel) Add(row CountRow) { d.rows = append(d.rows, row) }

// CountRow is one row, sparse: the values X of the columns At.
type CountRow struct {
	At       []int
	X        []float64
	Exposure float64
	Events   float64
	Cluster  int
	Before   bool // survived before it was observed; Events is 0
}

// Limits of the solver.
const (
	LinearMin     = -15 // the least x'θ in a fit
	LinearMax     = 6   // the greatest
	maxStep       = 2.0
	stepTolerance = 1e-10
	maxSteps      = 100
)

// Solution is a posterior mode.
type Solution struct {
	Theta     []float64
	Objective float64       // log marginal likelihood (without log E and factorials) + log prior
	Hessian   *mat.SymDense // negative, at the mode
	Converged bool
}

func (r CountRow) linear(theta []float64) float64 {
	sum := 0.0
	for i, j := range r.At {
		sum += r.X[i] * theta[j]
	}
	return min(max(sum, LinearMin), LinearMax)
}

// Maximize finds the mode of the marginal posterior by Newton steps. With
// μ = E exp(x'θ), H = Σ μ and Y = Σ y over a cluster, the frailty integrates out to
//
//	log L = Σ y x'θ + log Γ(k+Y) − log Γ(k) + k log k − (k+Y) log(k+H)     (Lomax)
//	log L = Σ y x'θ − H                                                    (Poisson)
//
// with the gradient Σ x (y − wμ), w = (k+Y)/(k+H), and the negative Hessian
// Σ wμ x x' − (k+Y)/(k+H)² (Σ μx)(Σ μx)'. With H0 the part of H before entry,
// k log(k+H0) is added and its derivatives with it: so the frailty of what had
// survived is that of survivors, (k+Y)/(k+H) by all that is known of it; Poisson
// rows before entry say nothing. Where the Hessian is not positive definite
// its first part alone (the matrix of an EM step) is used. A step is halved until
// the objective does not fall. It starts from the prior mean where start is nil.
//
// Source: Duchateau and Janssen (2008), The Frailty Model, Springer, section 2.2;
// Klein and Moeschberger (2003), Survival Analysis, 2nd ed., sections 3.5 and 4.6, for delayed entry;
// Holford (1980), Biometrics 36, 299-305, for the rows of a piecewise-constant hazard.
func (d *CountModel) Maximize(start []float64) Solution {
	if start == nil {
		start = d.mean
	}
	s := Solution{Theta: append([]float64(nil), start...)}
	s.Objective = d.objective(s.Theta)
	for range maxSteps {
		gradient, full, em := d.derivatives(s.Theta)
		step, ok := solvePositive(full, gradient)
		if !ok {
			step, ok = solvePositive(em, gradient)
		}
		s.Hessian = full
		if !ok {
			return s
		}
		size := largest(step)
		if size > maxStep {
			scale(step, maxStep/size)
			size = maxStep
		}
		if !d.advance(&s, step) {
			s.Converged = size < 1e-6 // the objective is flat to rounding
			return s
		}
		if size < stepTolerance {
			s.Converged = true
			return s
		}
	}
	return s
}

// advance takes the longest of step, step/2, ... that does not lower the objective.
func (d *CountModel) advance(s *Solution, step []float64) bool {
	for range 40 {
		next := make([]float64, d.p)
		for j := range next {
			next[j] = s.Theta[j] + step[j]
		}
		value := d.objective(next)
		if value >= s.Objective-1e-12*math.Abs(s.Objective) {
			s.Theta, s.Objective = next, value
			return true
		}
		scale(step, 0.5)
	}
	return false
}

// objective is the log marginal likelihood plus the log prior, without the
// terms that do not depend on θ save those of the frailty.
func (d *CountModel) objective(theta []float64) float64 {
	sum := 0.0
	for j, t := range theta {
		sum -= d.precision[j] * (t - d.mean[j]) * (t - d.mean[j]) / 2
	}
	for i := 0; i < len(d.rows); {
		events, hazard, before := 0.0, 0.0, 0.0
		c := d.rows[i].Cluster
		for ; i < len(d.rows) && d.rows[i].Cluster == c; i++ {
			r := d.rows[i]
			eta := r.linear(theta)
			events += r.Events
			mu := r.Exposure * math.Exp(eta)
			hazard += mu
			if r.Before {
				before += mu
			}
			sum += r.Events * eta
		}
		if d.shape == 0 {
			sum -= hazard - before
			continue
		}
		sum += risingLog(d.shape, events) - (d.shape+events)*math.Log1p(hazard/d.shape) - events*math.Log(d.shape)
		sum += d.shape * math.Log1p(before/d.shape)
	}
	return sum
}

// risingLog is log Γ(k+y) − log Γ(k).
func risingLog(k, y float64) float64 {
	if y == 0 {
		return 0
	}
	a, _ := math.Lgamma(k + y)
	b, _ := math.Lgamma(k)
	return a - b
}

// ofPrior is the gradient and the negative Hessian of the log prior.
func (d *CountModel) ofPrior(theta []float64) (gradient, a []float64) {
	gradient, a = make([]float64, d.p), make([]float64, d.p*d.p)
	for j := range d.p {
		gradient[j] = -d.precision[j] * (theta[j] - d.mean[j])
		a[j*d.p+j] = d.precision[j]
	}
	return gradient, a
}

// derivatives returns the gradient, the negative Hessian and its EM part.
func (d *CountModel) derivatives(theta []float64) (gradient []float64, full, em *mat.SymDense) {
	gradient, a := d.ofPrior(theta)
	b := make([]float64, d.p*d.p) // what the frailty and a delayed entry take away
	sum, sumBefore := make([]float64, d.p), make([]float64, d.p)
	var touched []int
	var mu []float64
	for i := 0; i < len(d.rows); {
		first, c := i, d.rows[i].Cluster
		events, hazard, before := 0.0, 0.0, 0.0
		mu = mu[:0]
		for ; i < len(d.rows) && d.rows[i].Cluster == c; i++ {
			m := d.rows[i].Exposure * math.Exp(d.rows[i].linear(theta))
			mu = append(mu, m)
			hazard += m
			if d.rows[i].Before {
				before += m
			}
			events += d.rows[i].Events
		}
		w, rank := d.weight(events, hazard)
		atEntry, rankAtEntry := d.weight(0, before)
		touched = touched[:0]
		for n, r := range d.rows[first:i] {
			for u, j := range r.At {
				if sum[j] == 0 {
					touched = append(touched, j)
				}
				x := mu[n] * r.X[u]
				sum[j] += x
				gradient[j] += r.X[u]*r.Events - w*x
				if r.Before {
					gradient[j] += atEntry * x
					sumBefore[j] += x
				}
				for v, k := range r.At {
					a[j*d.p+k] += w * x * r.X[v]
					if r.Before {
						b[j*d.p+k] += atEntry * x * r.X[v]
					}
				}
			}
		}
		for _, j := range touched {
			for _, k := range touched {
				b[j*d.p+k] += rank*sum[j]*sum[k] - rankAtEntry*sumBefore[j]*sumBefore[k]
			}
		}
		for _, j := range touched {
			sum[j], sumBefore[j] = 0, 0
		}
	}
	em = mat.NewSymDense(d.p, a)
	full = mat.NewSymDense(d.p, b)
	for j := range b {
		b[j] = a[j] - b[j]
	}
	return gradient, full, em
}

// weight is the mean frailty (k+y)/(k+h) of a cluster, and that over k+h; 1 and
// 0 without a frailty.
func (d *CountModel) weight(events, hazard float64) (w, rank float64) {
	if d.shape == 0 {
		return 1, 0
	}
	w = (d.shape + events) / (d.shape + hazard)
	return w, w / (d.shape + hazard)
}

// solvePositive solves A x = g by Cholesky; false where A is not positive definite.
func solvePositive(a *mat.SymDense, g []float64) ([]float64, bool) {
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, mat.NewVecDense(len(g), g)); err != nil {
		if poor := mat.Condition(0); !errors.As(err, &poor) {
			return nil, false
		}
	}
	out := x.RawVector().Data
	for _, v := range out {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, false
		}
	}
	return out, true
}

func largest(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, math.Abs(v))
	}
	return m
}

func scale(x []float64, by float64) {
	for i := range x {
		x[i] *= by
	}
}
