package stats

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"

	"askwright/pricing/internal/reference"
)

type bayesCase struct {
	Prior struct {
		Mean     []float64 `json:"m0"`
		Variance []float64 `json:"V0_diagonal"`
		A        float64   `json:"a0"`
		B        float64   `json:"b0"`
	} `json:"prior"`
	N         int   `json:"n"`
	Rows      []int `json:"rows_1_based"` // nil: all
	Posterior struct {
		Mean  []float64   `json:"mean"`
		Scale [][]float64 `json:"scale_matrix_Vn"`
		A     float64     `json:"an"`
		B     float64     `json:"bn"`
	} `json:"posterior"`
	Evidence   float64 `json:"log_marginal_likelihood"`
	Predictive []struct {
		X         []float64          `json:"x"`
		Location  float64            `json:"location"`
		Scale     float64            `json:"scale"`
		Quantiles map[string]float64 `json:"quantiles"`
	} `json:"posterior_predictive"`
}

// houses are the rows of log(price) on log(lotsize), bedrooms, bathrooms and
// air conditioning: Anglin and Gencay (1996).
func houses(t *testing.T, rows []int) Moments {
	c := reference.Columns(t, "houseprices.csv")
	price, lot := reference.Numbers(t, c["price"]), reference.Numbers(t, c["lotsize"])
	bedrooms, bathrooms := reference.Numbers(t, c["bedrooms"]), reference.Numbers(t, c["bathrooms"])
	if rows == nil {
		for i := range price {
			rows = append(rows, i+1)
		}
	}
	d := Moments{N: float64(len(rows)), XX: mat.NewSymDense(5, nil), XY: make([]float64, 5)}
	for _, row := range rows {
		i := row - 1
		x := []float64{1, math.Log(lot[i]), bedrooms[i], bathrooms[i], indicator(c["aircon"][i] == "yes")}
		y := math.Log(price[i])
		d.XX.SymRankOne(d.XX, 1, mat.NewVecDense(5, x))
		for j := range x {
			d.XY[j] += x[j] * y
		}
		d.YY += y * y
	}
	return d
}

// Normal-inverse-gamma posterior, evidence and Student t predictive: closed form
// of Gelman et al. (2013), chapter 14; O'Hagan and Forster (2004), chapter 11.
func TestPosteriorAgainstClosedForm(t *testing.T) {
	var ref struct {
		Cases map[string]bayesCase `json:"cases"`
	}
	reference.Read(t, "bayes_linear.json", &ref)
	for name, want := range ref.Cases {
		t.Run(name, func(t *testing.T) {
			precision := make([]float64, 5)
			for j, v := range want.Prior.Variance {
				precision[j] = 1 / v
			}
			c, ok := houses(t, want.Rows).Posterior(want.Prior.Mean, precision, want.Prior.A, want.Prior.B)
			if !ok {
				t.Fatal("not positive definite")
			}
			const tolerance = 1e-8
			reference.WantRel(t, "an", c.an, want.Posterior.A, tolerance)
			reference.WantRel(t, "bn", c.bn, want.Posterior.B, tolerance)
			if math.Abs(c.Evidence-want.Evidence) > 1e-6 {
				t.Errorf("evidence %.9f, want %.9f", c.Evidence, want.Evidence)
			}
			for j := range 5 {
				reference.WantRel(t, "mean", c.Beta[j], want.Posterior.Mean[j], tolerance)
				x := make([]float64, 5)
				x[j] = 1
				reference.WantRel(t, "scale matrix", c.Leverage(x), want.Posterior.Scale[j][j], tolerance)
			}
			for _, p := range want.Predictive {
				reference.WantRel(t, "location", c.Location(p.X), p.Location, tolerance)
				scale := c.Spread() * math.Sqrt(1+c.Leverage(p.X))
				reference.WantRel(t, "scale", scale, p.Scale, tolerance)
				for at, q := range p.Quantiles {
					prob, err := strconv.ParseFloat(at, 64)
					if err != nil {
						t.Fatal(err)
					}
					reference.WantRel(t, "quantile "+at, c.Location(p.X)+scale*c.Quantile(prob), q, tolerance)
				}
			}
		})
	}
}

// With a flat intercept and a normal prior of the variance between batches,
// levels shrink to the best linear unbiased predictions of random intercepts,
// here of Davies and Goldsmith's dyestuff: closed form for balanced data.
func TestLevelsShrinkLikeRandomIntercepts(t *testing.T) {
	var ref struct {
		Cases struct {
			Want struct {
				Mean    float64            `json:"grand_mean"`
				Between float64            `json:"var_between"`
				Within  float64            `json:"var_within"`
				SEMean  float64            `json:"se_grand_mean"`
				Levels  map[string]float64 `json:"blup"`
			} `json:"closed_form_reml"`
		} `json:"cases"`
	}
	reference.Read(t, "partial_pooling.json", &ref)
	want := ref.Cases.Want
	c := reference.Columns(t, "dyestuff.csv")
	batches := []string{"A", "B", "C", "D", "E", "F"}
	d := Moments{N: float64(len(c["batch"])), XX: mat.NewSymDense(7, nil), XY: make([]float64, 7)}
	for i, y := range reference.Numbers(t, c["yield"]) {
		x := make([]float64, 7)
		x[0] = 1
		x[1+slices.Index(batches, c["batch"][i])] = 1
		d.XX.SymRankOne(d.XX, 1, mat.NewVecDense(7, x))
		for j := range x {
			d.XY[j] += x[j] * y
		}
		d.YY += y * y
	}
	precision := []float64{1e-13}
	for range batches {
		precision = append(precision, want.Within/want.Between)
	}
	post, ok := d.Posterior(make([]float64, 7), precision, 2, 1)
	if !ok {
		t.Fatal("not positive definite")
	}
	reference.WantRel(t, "grand mean", post.Beta[0], want.Mean, 1e-10)
	reference.WantRel(t, "its error", math.Sqrt(want.Within*post.Leverage([]float64{1, 0, 0, 0, 0, 0, 0})), want.SEMean, 1e-9)
	for j, name := range batches {
		reference.WantRel(t, "batch "+name, post.Beta[1+j], want.Levels[name], 1e-8)
	}
}
