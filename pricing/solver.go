package pricing

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// rateData is a log-linear model of counts with exposure: row i has
// y_i events in exposure E_i at the rate E_i exp(x_i'θ). Rows of one cluster,
// which stand together, share a gamma frailty Z ~ Gamma(k, k); without one
// (shape 0) the counts are Poisson. θ ~ N(mean, diag(1/precision)); a
// precision of zero is a flat prior.
type rateData struct {
	p         int
	rows      []rateRow
	shape     float64 // k; 0: Poisson
	mean      []float64
	precision []float64
}

// newRateData is a model of p coefficients without rows, its prior flat.
func newRateData(p int, shape float64) *rateData {
	return &rateData{p: p, shape: shape, mean: make([]float64, p), precision: make([]float64, p)}
}

// setPrior sets the prior of one coefficient.
func (d *rateData) setPrior(j int, mean, sd float64) { d.mean[j], d.precision[j] = mean, 1/(sd*sd) }

// add adds a row; rows of one cluster come one after another.
func (d *rateData) add(row rateRow) { d.rows = append(d.rows, row) }

// rateRow is one row, sparse.
type rateRow struct {
	at       []int
	x        []float64
	exposure float64
	events   float64
	cluster  int
}

// Limits of the solver.
const (
	linearMin, linearMax = -15, 6 // of x'θ in a fit
	maxStep              = 2.0
	stepTolerance        = 1e-10
	maxSteps             = 100
)

// solution is a posterior mode.
type solution struct {
	theta     []float64
	objective float64       // log marginal likelihood (without log E and factorials) + log prior
	hessian   *mat.SymDense // negative, at the mode
	converged bool
}

func (r rateRow) linear(theta []float64) float64 {
	sum := 0.0
	for i, j := range r.at {
		sum += r.x[i] * theta[j]
	}
	return min(max(sum, linearMin), linearMax)
}

// maximize finds the mode of the marginal posterior by Newton steps. With
// μ = E exp(x'θ), H = Σ μ and Y = Σ y over a cluster, the frailty integrates out to
//
//	log L = Σ y x'θ + log Γ(k+Y) − log Γ(k) + k log k − (k+Y) log(k+H)     (Lomax)
//	log L = Σ y x'θ − H                                                    (Poisson)
//
// with the gradient Σ x (y − wμ), w = (k+Y)/(k+H), and the negative Hessian
// Σ wμ x x' − (k+Y)/(k+H)² (Σ μx)(Σ μx)'. Where that is not positive definite
// its first part alone (the matrix of an EM step) is used. A step is halved until
// the objective does not fall. It starts from the prior mean where start is nil.
//
// Source: Duchateau and Janssen (2008), The Frailty Model, Springer, section 2.2;
// Holford (1980), Biometrics 36, 299-305, for the rows of a piecewise-constant hazard.
func (d *rateData) maximize(start []float64) solution {
	if start == nil {
		start = d.mean
	}
	s := solution{theta: append([]float64(nil), start...)}
	s.objective = d.objective(s.theta)
	for range maxSteps {
		gradient, full, em := d.derivatives(s.theta)
		step, ok := solvePositive(full, gradient)
		if !ok {
			step, ok = solvePositive(em, gradient)
		}
		s.hessian = full
		if !ok {
			return s
		}
		size := largest(step)
		if size > maxStep {
			scale(step, maxStep/size)
			size = maxStep
		}
		if !d.advance(&s, step) {
			s.converged = size < 1e-6 // the objective is flat to rounding
			return s
		}
		if size < stepTolerance {
			s.converged = true
			return s
		}
	}
	return s
}

// advance takes the longest of step, step/2, ... that does not lower the objective.
func (d *rateData) advance(s *solution, step []float64) bool {
	for range 40 {
		next := make([]float64, d.p)
		for j := range next {
			next[j] = s.theta[j] + step[j]
		}
		value := d.objective(next)
		if value >= s.objective-1e-12*math.Abs(s.objective) {
			s.theta, s.objective = next, value
			return true
		}
		scale(step, 0.5)
	}
	return false
}

// objective is the log marginal likelihood plus the log prior, without the
// terms that do not depend on θ save those of the frailty.
func (d *rateData) objective(theta []float64) float64 {
	sum := 0.0
	for j, t := range theta {
		sum -= d.precision[j] * (t - d.mean[j]) * (t - d.mean[j]) / 2
	}
	for i := 0; i < len(d.rows); {
		events, hazard := 0.0, 0.0
		c := d.rows[i].cluster
		for ; i < len(d.rows) && d.rows[i].cluster == c; i++ {
			r := d.rows[i]
			eta := r.linear(theta)
			events += r.events
			hazard += r.exposure * math.Exp(eta)
			sum += r.events * eta
		}
		if d.shape == 0 {
			sum -= hazard
			continue
		}
		sum += risingLog(d.shape, events) - (d.shape+events)*math.Log1p(hazard/d.shape) - events*math.Log(d.shape)
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

// derivatives returns the gradient, the negative Hessian and its EM part.
func (d *rateData) derivatives(theta []float64) (gradient []float64, full, em *mat.SymDense) {
	gradient = make([]float64, d.p)
	a := make([]float64, d.p*d.p)
	b := make([]float64, d.p*d.p) // what the frailty takes away
	for j := range d.p {
		gradient[j] = -d.precision[j] * (theta[j] - d.mean[j])
		a[j*d.p+j] = d.precision[j]
	}
	sum := make([]float64, d.p)
	var touched []int
	var mu []float64
	for i := 0; i < len(d.rows); {
		first, c := i, d.rows[i].cluster
		events, hazard := 0.0, 0.0
		mu = mu[:0]
		for ; i < len(d.rows) && d.rows[i].cluster == c; i++ {
			m := d.rows[i].exposure * math.Exp(d.rows[i].linear(theta))
			mu = append(mu, m)
			hazard += m
			events += d.rows[i].events
		}
		w, rank := 1.0, 0.0
		if d.shape > 0 {
			w = (d.shape + events) / (d.shape + hazard)
			rank = w / (d.shape + hazard)
		}
		touched = touched[:0]
		for n, r := range d.rows[first:i] {
			for u, j := range r.at {
				gradient[j] += r.x[u] * (r.events - w*mu[n])
				if sum[j] == 0 {
					touched = append(touched, j)
				}
				sum[j] += mu[n] * r.x[u]
				for v, k := range r.at {
					a[j*d.p+k] += w * mu[n] * r.x[u] * r.x[v]
				}
			}
		}
		for _, j := range touched {
			for _, k := range touched {
				b[j*d.p+k] += rank * sum[j] * sum[k]
			}
		}
		for _, j := range touched {
			sum[j] = 0
		}
	}
	em = mat.NewSymDense(d.p, a)
	full = mat.NewSymDense(d.p, b)
	for j := range b {
		b[j] = a[j] - b[j]
	}
	return gradient, full, em
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
