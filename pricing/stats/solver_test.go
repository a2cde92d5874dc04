package stats

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"askwright/pricing/internal/reference"
)

// coefficients is how the reference files write a fit.
type coefficients struct {
	Order    []string           `json:"order"`
	Estimate map[string]float64 `json:"estimate"`
	SE       map[string]float64 `json:"se"`
}

// addDense appends a row with all columns.
func (d *CountModel) addDense(x []float64, exposure, events float64, cluster int) {
	at := make([]int, len(x))
	for j := range at {
		at[j] = j
	}
	d.Add(CountRow{At: at, X: x, Exposure: exposure, Events: events, Cluster: cluster})
}

func indicator(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// wantFit compares a solution with published coefficients and standard errors.
func wantFit(t *testing.T, s Solution, want coefficients, tolerance float64) {
	t.Helper()
	if !s.Converged {
		t.Error("the fit did not converge")
	}
	var chol mat.Cholesky
	if !chol.Factorize(s.Hessian) {
		t.Fatal("the Hessian is not positive definite")
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		t.Fatal(err)
	}
	for j, name := range want.Order {
		reference.WantRel(t, name, s.Theta[j], want.Estimate[name], tolerance)
		if len(want.SE) > 0 {
			reference.WantRel(t, "standard error of "+name, math.Sqrt(inverse.At(j, j)), want.SE[name], 1e-6)
		}
	}
}

func startAt(p int, intercept float64) []float64 {
	s := make([]float64, p)
	s[0] = intercept
	return s
}

// Ships: McCullagh and Nelder (1989), section 6.3.2. Claims: SAS/STAT User's
// Guide, The GENMOD Procedure, Getting Started.
func TestPoissonOffsetAgainstPublishedFits(t *testing.T) {
	var ref struct {
		Cases map[string]struct {
			Coefficients  coefficients `json:"coefficients"`
			LogLikelihood float64      `json:"log_likelihood"`
		} `json:"cases"`
	}
	reference.Read(t, "poisson_offset.json", &ref)
	ships, claims := NewCountModel(9, 0), NewCountModel(4, 0)
	c := reference.Columns(t, "ships.csv")
	service, incidents := reference.Numbers(t, c["service"]), reference.Numbers(t, c["incidents"])
	for i := range service {
		if service[i] == 0 {
			continue
		}
		x := []float64{1}
		for _, k := range []string{"B", "C", "D", "E"} {
			x = append(x, indicator(c["type"][i] == k))
		}
		for _, k := range []string{"65", "70", "75"} {
			x = append(x, indicator(c["year"][i] == k))
		}
		ships.addDense(append(x, indicator(c["period"][i] == "75")), service[i], incidents[i], i)
	}
	c = reference.Columns(t, "claims.csv")
	n, y := reference.Numbers(t, c["n"]), reference.Numbers(t, c["claims"])
	for i := range n {
		x := []float64{1, indicator(c["car"][i] == "medium"), indicator(c["car"][i] == "large"), indicator(c["age"][i] == "1")}
		claims.addDense(x, n[i], y[i], i)
	}
	for name, d := range map[string]*CountModel{"ships": ships, "claims": claims} {
		t.Run(name, func(t *testing.T) {
			want := ref.Cases[name]
			s := d.Maximize(startAt(d.p, -3))
			wantFit(t, s, want.Coefficients, 1e-8)
			likelihood := s.Objective
			for _, r := range d.rows {
				factorial, _ := math.Lgamma(r.Events + 1)
				likelihood += r.Events*math.Log(r.Exposure) - factorial
			}
			reference.WantRel(t, "log likelihood", likelihood, want.LogLikelihood, 1e-8)
		})
	}
}

type lungPatient struct {
	time, event, age, sex, ecog float64
}

func readLung(t *testing.T) []lungPatient {
	c := reference.Columns(t, "lung.csv")
	time, status := reference.Numbers(t, c["time"]), reference.Numbers(t, c["status"])
	age, sex, ecog := reference.Numbers(t, c["age"]), reference.Numbers(t, c["sex"]), reference.Numbers(t, c["ph_ecog"])
	out := make([]lungPatient, len(time))
	for i := range out {
		out[i] = lungPatient{time[i], status[i], age[i], indicator(sex[i] == 2), ecog[i]}
	}
	return out
}

// A piecewise-constant hazard is a Poisson fit of the split rows: Holford (1980);
// Laird and Olivier (1981). Data: Loprinzi et al. (1994).
func TestPiecewiseExponentialAgainstReference(t *testing.T) {
	var ref struct {
		Cuts  []float64 `json:"cuts"`
		Cases struct {
			Covariates struct {
				Coefficients coefficients `json:"coefficients"`
				Survival     float64      `json:"survival_log_likelihood"`
			} `json:"covariates"`
			Prediction []struct {
				X struct {
					Age  float64 `json:"age"`
					Sex  float64 `json:"sex2"`
					Ecog float64 `json:"ph_ecog"`
				} `json:"x"`
				Hazard map[string]float64 `json:"cumulative_hazard"`
			} `json:"prediction"`
		} `json:"cases"`
	}
	reference.Read(t, "piecewise_exponential.json", &ref)
	edges := append(append([]float64{0}, ref.Cuts...), math.Inf(1))
	d := NewCountModel(9, 0)
	for i, p := range readLung(t) {
		for j := 0; j+1 < len(edges) && p.time > edges[j]; j++ {
			x := make([]float64, 9)
			x[j], x[6], x[7], x[8] = 1, p.age, p.sex, p.ecog
			ends := p.time <= edges[j+1]
			d.addDense(x, math.Min(p.time, edges[j+1])-edges[j], p.event*indicator(ends), i)
		}
	}
	start := make([]float64, 9)
	for j := range 6 {
		start[j] = -6
	}
	s := d.Maximize(start)
	wantFit(t, s, ref.Cases.Covariates.Coefficients, 1e-7)
	reference.WantRel(t, "log likelihood", s.Objective, ref.Cases.Covariates.Survival, 1e-7)
	for _, p := range ref.Cases.Prediction {
		linear := s.Theta[6]*p.X.Age + s.Theta[7]*p.X.Sex + s.Theta[8]*p.X.Ecog
		for at, want := range p.Hazard {
			until, got := reference.Numbers(t, []string{at})[0], 0.0
			for j := range 6 {
				got += math.Exp(s.Theta[j]+linear) * math.Max(0, math.Min(until, edges[j+1])-edges[j])
			}
			reference.WantRel(t, "hazard until day "+at, got, want, 1e-7)
		}
	}
}

// Without a split the coefficients are minus those of the exponential survival
// model (R's survreg, in the file).
func TestConstantHazardIsExponentialSurvival(t *testing.T) {
	var ref struct {
		Cases struct {
			Whole struct {
				Coefficients coefficients `json:"coefficients"`
				Survreg      struct {
					Coefficients []float64 `json:"coefficients"`
					Likelihood   float64   `json:"log_likelihood"`
				} `json:"survreg_exponential"`
			} `json:"exponential_without_split"`
		} `json:"cases"`
	}
	reference.Read(t, "piecewise_exponential.json", &ref)
	d := NewCountModel(4, 0)
	for i, p := range readLung(t) {
		d.addDense([]float64{1, p.age, p.sex, p.ecog}, p.time, p.event, i)
	}
	s := d.Maximize(startAt(4, -6))
	wantFit(t, s, ref.Cases.Whole.Coefficients, 1e-7)
	for j, want := range ref.Cases.Whole.Survreg.Coefficients {
		reference.WantRel(t, "survreg", s.Theta[j], -want, 1e-7)
	}
	reference.WantRel(t, "log likelihood", s.Objective, ref.Cases.Whole.Survreg.Likelihood, 1e-9)
}

// kidney reads McGilchrist and Aisbett (1991); columns picks the covariates.
func kidney(t *testing.T, theta float64, shared bool, columns ...string) *CountModel {
	c := reference.Columns(t, "kidney.csv")
	time, status, id := reference.Numbers(t, c["time"]), reference.Numbers(t, c["status"]), reference.Numbers(t, c["id"])
	d := NewCountModel(1+len(columns), 1/theta)
	for i := range time {
		x := []float64{1}
		for _, name := range columns {
			x = append(x, reference.Numbers(t, c[name])[i])
		}
		cluster := i
		if shared {
			cluster = int(id[i])
		}
		d.addDense(x, time[i], status[i], cluster)
	}
	slices.SortStableFunc(d.rows, func(a, b CountRow) int { return a.Cluster - b.Cluster })
	return d
}

// Likelihoods of the gamma frailty at given parameters, shared (clusters) and
// individual (the Lomax law): no optimiser involved.
func TestFrailtyLikelihoodAtFixedParameters(t *testing.T) {
	var ref struct {
		Cases struct {
			Fixed struct {
				Theta, Rate, Lomax, Shared []float64
			} `json:"fixed_parameters"`
		} `json:"cases"`
	}
	reference.Read(t, "gamma_frailty.json", &ref)
	f := ref.Cases.Fixed
	for i, theta := range f.Theta {
		at := []float64{math.Log(f.Rate[i])}
		for shared, want := range map[bool]float64{false: f.Lomax[i], true: f.Shared[i]} {
			d := kidney(t, theta, shared)
			if got := d.objective(at); math.Abs(got-want) > 1e-9 {
				t.Errorf("theta %g, rate %g, shared %t: log likelihood %.12f, want %.12f", theta, f.Rate[i], shared, got, want)
			}
		}
	}
}

// The maximum over the coefficients at the published frailty variance, and that
// this variance is where the profile is highest.
func TestFrailtyMaximum(t *testing.T) {
	type fit struct {
		Theta         float64            `json:"theta"`
		LogBaseline   float64            `json:"log_baseline_rate"`
		LogRate       float64            `json:"log_rate"`
		Coefficients  map[string]float64 `json:"coefficients"`
		LogLikelihood float64            `json:"log_likelihood"`
		Frailties     []float64          `json:"posterior_mean_frailty_first_5_ids"`
	}
	var ref struct {
		Cases struct {
			Shared fit `json:"shared_kidney"`
			Lomax  fit `json:"lomax_kidney"`
		} `json:"cases"`
	}
	reference.Read(t, "gamma_frailty.json", &ref)
	for _, tt := range []struct {
		name    string
		shared  bool
		want    fit
		columns []string
	}{
		{"shared", true, ref.Cases.Shared, []string{"female", "age"}},
		{"lomax", false, ref.Cases.Lomax, []string{"female"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := kidney(t, tt.want.Theta, tt.shared, tt.columns...)
			s := d.Maximize(startAt(d.p, -4))
			reference.WantRel(t, "log rate", s.Theta[0], tt.want.LogBaseline+tt.want.LogRate, 1e-4)
			for j, name := range tt.columns {
				reference.WantRel(t, name, s.Theta[1+j], tt.want.Coefficients[name], 1e-4)
			}
			if math.Abs(s.Objective-tt.want.LogLikelihood) > 1e-6 {
				t.Errorf("log likelihood %.9f, want %.9f", s.Objective, tt.want.LogLikelihood)
			}
			for _, factor := range []float64{0.98, 1.02} {
				other := kidney(t, tt.want.Theta*factor, tt.shared, tt.columns...)
				if got := other.Maximize(s.Theta).Objective; got >= s.Objective {
					t.Errorf("theta × %g is likelier: %.9f > %.9f", factor, got, s.Objective)
				}
			}
			for i, want := range tt.want.Frailties {
				got := d.frailtyMean(s.Theta, i+1)
				reference.WantRel(t, "mean frailty", got, want, 1e-4)
			}
		})
	}
}

// frailtyMean is (k+Y)/(k+H) of a cluster.
func (d *CountModel) frailtyMean(theta []float64, cluster int) float64 {
	events, hazard := 0.0, 0.0
	for _, r := range d.rows {
		if r.Cluster == cluster {
			events += r.Events
			hazard += r.Exposure * math.Exp(r.linear(theta))
		}
	}
	return (d.shape + events) / (d.shape + hazard)
}

// A Poisson count with a gamma frailty is negative binomial: Venables and
// Ripley (2002), section 7.4, days absent from school.
func TestFrailtyCountsAreNegativeBinomial(t *testing.T) {
	var ref struct {
		Cases struct {
			Main struct {
				coefficients
				Theta float64 `json:"theta"`
				Twice float64 `json:"two_log_likelihood"`
			} `json:"main_effects"`
		} `json:"cases"`
	}
	reference.Read(t, "negative_binomial.json", &ref)
	want := ref.Cases.Main
	c := reference.Columns(t, "quine.csv")
	y := reference.Numbers(t, c["days"])
	d := NewCountModel(7, want.Theta)
	factorials := 0.0
	for i := range y {
		x := []float64{1, indicator(c["eth"][i] == "N"), indicator(c["sex"][i] == "M")}
		for _, age := range []string{"F1", "F2", "F3"} {
			x = append(x, indicator(c["age"][i] == age))
		}
		d.addDense(append(x, indicator(c["lrn"][i] == "SL")), 1, y[i], i)
		f, _ := math.Lgamma(y[i] + 1)
		factorials += f
	}
	s := d.Maximize(startAt(7, 2))
	want.SE = nil // glm.nb gives those of the expected information
	wantFit(t, s, want.coefficients, 1e-6)
	if got := 2 * (s.Objective - factorials); math.Abs(got-want.Twice) > 1e-5 {
		t.Errorf("twice the log likelihood = %.7f, want %.7f", got, want.Twice)
	}
}
