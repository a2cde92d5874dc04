package stats

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"askwright/pricing/internal/reference"
)

// housePriceModel is a regression of log(price) in the published tables.
type housePriceModel struct {
	Published struct {
		Estimate, SE map[string]float64
		Sigma        float64
		RSquared     float64 `json:"r_squared"`
	}
	Coefficients struct {
		Order        []string
		Estimate, SE map[string]float64
	}
	Sigma, RSS float64
	DF         int     `json:"df_residual"`
	RSquared   float64 `json:"r_squared"`
}

type limits struct{ Lower, Upper float64 }

type housePricePrediction struct {
	Row          map[string]any
	Fit          float64 `json:"fit_log"`
	MeanSE       float64 `json:"se_fit"`
	NewSE        float64 `json:"se_prediction"`
	Prediction80 limits  `json:"prediction_80"`
	Prediction95 limits  `json:"prediction_95"`
	Confidence80 limits  `json:"confidence_80"`
	Confidence95 limits  `json:"confidence_95"`
}

type housePriceLOO struct {
	MaxHat   float64 `json:"max_hat"`
	Press    float64
	Median   float64 `json:"median_abs_pct_error"`
	Inside80 int     `json:"inside_80"`
	Inside95 int     `json:"inside_95"`
}

// housePrices holds the references for 546 houses of Windsor, Canada: data of
// P. M. Anglin and R. Gencay (1996), Journal of Applied Econometrics 11,
// 633-648; fits of M. Verbeek (2004), A Guide to Modern Econometrics, 2nd ed.,
// Tables 3.1 and 3.2; full precision from R's lm and predict.lm.
type housePrices struct {
	Cases struct {
		Table31        housePriceModel        `json:"verbeek_3_1"`
		Table32        housePriceModel        `json:"verbeek_3_2"`
		Predictions31  []housePricePrediction `json:"predictions_3_1"`
		Predictions32  []housePricePrediction `json:"predictions_3_2"`
		LOO31          housePriceLOO          `json:"leave_one_out_3_1"`
		LOO32          housePriceLOO          `json:"leave_one_out_3_2"`
		Retransforming map[string]any         `json:"retransformation"`
	}
}

// value returns what a term such as "log_lotsize" or "aircon=yes" is at a row.
func housePriceValue(t testing.TB, term string, cell func(string) string) float64 {
	name, level, dummy := strings.Cut(term, "=")
	switch {
	case term == "intercept":
		return 1
	case dummy && cell(name) == level:
		return 1
	case dummy:
		return 0
	case strings.HasPrefix(term, "log_"):
		return math.Log(reference.Numbers(t, []string{cell(strings.TrimPrefix(term, "log_"))})[0])
	}
	return reference.Numbers(t, []string{cell(name)})[0]
}

func fitHousePrices(t testing.TB, m housePriceModel) *LinearFit {
	t.Helper()
	columns := reference.Columns(t, "houseprices.csv")
	y := reference.Numbers(t, columns["price"])
	x := mat.NewDense(len(y), len(m.Coefficients.Order), nil)
	for i := range y {
		y[i] = math.Log(y[i])
		for j, term := range m.Coefficients.Order {
			x.Set(i, j, housePriceValue(t, term, func(name string) string { return columns[name][i] }))
		}
	}
	f, err := LeastSquares(x, y)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

const housePriceTolerance = 1e-9

func TestLeastSquaresHousePrices(t *testing.T) {
	var ref housePrices
	reference.Read(t, "houseprices.json", &ref)
	for name, m := range map[string]housePriceModel{"Verbeek 3.1": ref.Cases.Table31, "Verbeek 3.2": ref.Cases.Table32} {
		t.Run(name, func(t *testing.T) {
			f := fitHousePrices(t, m)
			for j, term := range m.Coefficients.Order {
				reference.WantRel(t, term, f.Coefficients[j], m.Coefficients.Estimate[term], housePriceTolerance)
				reference.WantRel(t, term+" error", f.StdErrors[j], m.Coefficients.SE[term], housePriceTolerance)
				reference.WantPrinted(t, term, f.Coefficients[j], m.Published.Estimate[term], 3)
				if se, ok := m.Published.SE[term]; ok {
					reference.WantPrinted(t, term+" error", f.StdErrors[j], se, 3)
				}
			}
			if f.DF != m.DF {
				t.Errorf("degrees of freedom: got %d, want %d", f.DF, m.DF)
			}
			reference.WantRel(t, "sigma", f.ResidualSD, m.Sigma, housePriceTolerance)
			reference.WantRel(t, "R squared", f.RSquared, m.RSquared, housePriceTolerance)
			reference.WantPrinted(t, "sigma", f.ResidualSD, m.Published.Sigma, 4)
			reference.WantPrinted(t, "R squared", f.RSquared, m.Published.RSquared, 4)
		})
	}
}

func TestLeastSquaresIntervals(t *testing.T) {
	var ref housePrices
	reference.Read(t, "houseprices.json", &ref)
	check := func(t *testing.T, m housePriceModel, predictions []housePricePrediction) {
		f := fitHousePrices(t, m)
		if len(predictions) != 5 {
			t.Fatalf("got %d new rows, want 5", len(predictions))
		}
		for i, p := range predictions {
			x := make([]float64, len(m.Coefficients.Order))
			for j, term := range m.Coefficients.Order {
				x[j] = housePriceValue(t, term, func(name string) string { return fmt.Sprint(p.Row[name]) })
			}
			row := fmt.Sprintf("row %d ", i)
			fit, meanSE, newSE := f.predict(x)
			reference.WantRel(t, row+"fit", fit, p.Fit, housePriceTolerance)
			reference.WantRel(t, row+"error of the mean", meanSE, p.MeanSE, housePriceTolerance)
			reference.WantRel(t, row+"error of a new value", newSE, p.NewSE, housePriceTolerance)
			wantLimits(t, row+"prediction 80", f.predictionInterval, x, 0.80, p.Prediction80)
			wantLimits(t, row+"prediction 95", f.predictionInterval, x, 0.95, p.Prediction95)
			wantLimits(t, row+"confidence 80", f.confidenceInterval, x, 0.80, p.Confidence80)
			wantLimits(t, row+"confidence 95", f.confidenceInterval, x, 0.95, p.Confidence95)
		}
	}
	t.Run("Verbeek 3.1", func(t *testing.T) { check(t, ref.Cases.Table31, ref.Cases.Predictions31) })
	t.Run("Verbeek 3.2", func(t *testing.T) { check(t, ref.Cases.Table32, ref.Cases.Predictions32) })
}

func wantLimits(t *testing.T, what string, interval func([]float64, float64) (float64, float64), x []float64, level float64, want limits) {
	t.Helper()
	low, high := interval(x, level)
	reference.WantRel(t, what+" low", low, want.Lower, housePriceTolerance)
	reference.WantRel(t, what+" high", high, want.Upper, housePriceTolerance)
}

func TestLeaveOneOutHousePrices(t *testing.T) {
	var ref housePrices
	reference.Read(t, "houseprices.json", &ref)
	check := func(t *testing.T, m housePriceModel, want housePriceLOO) {
		f := fitHousePrices(t, m)
		deleted, err := f.leaveOneOut()
		if err != nil {
			t.Fatal(err)
		}
		press, inside80, inside95 := 0.0, 0, 0
		percent := make([]float64, len(deleted))
		for i, d := range deleted {
			press += d.Error * d.Error
			percent[i] = 100 * math.Abs(math.Expm1(-d.Error))
			if d.covers(0.80) {
				inside80++
			}
			if d.covers(0.95) {
				inside95++
			}
		}
		sort.Float64s(percent)
		n := len(percent) // even: 546
		reference.WantRel(t, "largest leverage", floats.Max(f.Leverage), want.MaxHat, housePriceTolerance)
		reference.WantRel(t, "PRESS", press, want.Press, housePriceTolerance)
		reference.WantRel(t, "median absolute % error", (percent[n/2-1]+percent[n/2])/2, want.Median, housePriceTolerance)
		if inside80 != want.Inside80 || inside95 != want.Inside95 {
			t.Errorf("inside: got %d and %d, want %d and %d", inside80, inside95, want.Inside80, want.Inside95)
		}
	}
	t.Run("Verbeek 3.1", func(t *testing.T) { check(t, ref.Cases.Table31, ref.Cases.LOO31) })
	t.Run("Verbeek 3.2", func(t *testing.T) { check(t, ref.Cases.Table32, ref.Cases.LOO32) })
}

func TestRetransformationHousePrices(t *testing.T) {
	var ref housePrices
	reference.Read(t, "houseprices.json", &ref)
	for name, m := range map[string]housePriceModel{"verbeek_3_1": ref.Cases.Table31, "verbeek_3_2": ref.Cases.Table32} {
		want := ref.Cases.Retransforming[name].(map[string]any)
		got := fitHousePrices(t, m).smearingFactor()
		reference.WantRel(t, name+" (Duan 1983)", got, want["duan_smearing_factor"].(float64), housePriceTolerance)
	}
}
