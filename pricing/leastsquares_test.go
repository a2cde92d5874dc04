package pricing

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// nistDataset is one certified data set of the NIST Statistical Reference
// Datasets, linear least squares.
type nistDataset struct {
	Model     string
	Terms     []string
	Data      string
	DF        int `json:"residual_df"`
	Certified struct {
		Coefficients       []float64
		StandardDeviations []float64 `json:"standard_deviations"`
		ResidualSD         float64   `json:"residual_standard_deviation"`
		RSquared           float64   `json:"r_squared"`
	}
	Tolerance struct {
		Coefficients float64 `json:"coefficients_rel"`
		SDRel        float64 `json:"standard_deviations_rel"`
		SDAbs        float64 `json:"standard_deviations_abs"` // where the certified value is zero
		ResidualRel  float64 `json:"residual_sd_rel"`
		ResidualAbs  float64 `json:"residual_sd_abs"`
		RSquared     float64 `json:"r_squared_rel"`
	}
}

// design builds the columns "intercept", "x", "x^3", "x4" of a data set.
func (d nistDataset) design(t testing.TB) (*mat.Dense, []float64) {
	t.Helper()
	columns := readColumns(t, d.Data)
	y := numbers(t, columns["y"])
	x := mat.NewDense(len(y), len(d.Terms), nil)
	for j, term := range d.Terms {
		for i := range y {
			x.Set(i, j, 1)
		}
		if term == "intercept" {
			continue
		}
		name, power := term, 1
		if base, exponent, ok := strings.Cut(term, "^"); ok {
			name = base
			if _, err := fmt.Sscan(exponent, &power); err != nil {
				t.Fatal(err)
			}
		}
		for i, v := range numbers(t, columns[name]) {
			product := 1.0
			for range power {
				product *= v
			}
			x.Set(i, j, product)
		}
	}
	return x, y
}

// Source: National Institute of Standards and Technology, Statistical
// Reference Datasets, https://www.itl.nist.gov/div898/strd/lls/lls.shtml.
// The tolerances ask for the digits that an orthogonal method gives in double
// precision; normal equations fail most of the harder sets.
func TestLeastSquaresMeetsNISTCertificates(t *testing.T) {
	var file struct{ Cases map[string]nistDataset }
	readReference(t, "nist_linear.json", &file)
	if len(file.Cases) != 10 {
		t.Fatalf("got %d data sets, want 10", len(file.Cases))
	}
	for name, c := range file.Cases {
		t.Run(name, func(t *testing.T) {
			x, y := c.design(t)
			f, err := LeastSquares(x, y)
			if err != nil {
				t.Fatal(err)
			}
			if f.DF != c.DF {
				t.Errorf("degrees of freedom: got %d, want %d", f.DF, c.DF)
			}
			for j, term := range c.Terms {
				wantRel(t, "coefficient of "+term, f.Coefficients[j], c.Certified.Coefficients[j], c.Tolerance.Coefficients)
				tolerance := c.Tolerance.SDRel + c.Tolerance.SDAbs
				wantRel(t, "standard error of "+term, f.StdErrors[j], c.Certified.StandardDeviations[j], tolerance)
			}
			wantRel(t, "residual SD", f.ResidualSD, c.Certified.ResidualSD, c.Tolerance.ResidualRel+c.Tolerance.ResidualAbs)
			wantRel(t, "R squared", f.RSquared, c.Certified.RSquared, c.Tolerance.RSquared)
		})
	}
}

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
		Percent        map[string]any         `json:"percent_effect_3_2"`
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
		return math.Log(numbers(t, []string{cell(strings.TrimPrefix(term, "log_"))})[0])
	}
	return numbers(t, []string{cell(name)})[0]
}

func fitHousePrices(t testing.TB, m housePriceModel) *LinearFit {
	t.Helper()
	columns := readColumns(t, "houseprices.csv")
	y := numbers(t, columns["price"])
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
	readReference(t, "houseprices.json", &ref)
	for name, m := range map[string]housePriceModel{"Verbeek 3.1": ref.Cases.Table31, "Verbeek 3.2": ref.Cases.Table32} {
		t.Run(name, func(t *testing.T) {
			f := fitHousePrices(t, m)
			for j, term := range m.Coefficients.Order {
				wantRel(t, term, f.Coefficients[j], m.Coefficients.Estimate[term], housePriceTolerance)
				wantRel(t, term+" error", f.StdErrors[j], m.Coefficients.SE[term], housePriceTolerance)
				wantPrinted(t, term, f.Coefficients[j], m.Published.Estimate[term], 3)
				if se, ok := m.Published.SE[term]; ok {
					wantPrinted(t, term+" error", f.StdErrors[j], se, 3)
				}
			}
			if f.DF != m.DF {
				t.Errorf("degrees of freedom: got %d, want %d", f.DF, m.DF)
			}
			wantRel(t, "sigma", f.ResidualSD, m.Sigma, housePriceTolerance)
			wantRel(t, "R squared", f.RSquared, m.RSquared, housePriceTolerance)
			wantPrinted(t, "sigma", f.ResidualSD, m.Published.Sigma, 4)
			wantPrinted(t, "R squared", f.RSquared, m.Published.RSquared, 4)
		})
	}
}

func TestLeastSquaresIntervals(t *testing.T) {
	var ref housePrices
	readReference(t, "houseprices.json", &ref)
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
			fit, meanSE, newSE := f.Predict(x)
			wantRel(t, row+"fit", fit, p.Fit, housePriceTolerance)
			wantRel(t, row+"error of the mean", meanSE, p.MeanSE, housePriceTolerance)
			wantRel(t, row+"error of a new value", newSE, p.NewSE, housePriceTolerance)
			wantLimits(t, row+"prediction 80", f.PredictionInterval, x, 0.80, p.Prediction80)
			wantLimits(t, row+"prediction 95", f.PredictionInterval, x, 0.95, p.Prediction95)
			wantLimits(t, row+"confidence 80", f.ConfidenceInterval, x, 0.80, p.Confidence80)
			wantLimits(t, row+"confidence 95", f.ConfidenceInterval, x, 0.95, p.Confidence95)
		}
	}
	t.Run("Verbeek 3.1", func(t *testing.T) { check(t, ref.Cases.Table31, ref.Cases.Predictions31) })
	t.Run("Verbeek 3.2", func(t *testing.T) { check(t, ref.Cases.Table32, ref.Cases.Predictions32) })
}

func wantLimits(t *testing.T, what string, interval func([]float64, float64) (float64, float64), x []float64, level float64, want limits) {
	t.Helper()
	low, high := interval(x, level)
	wantRel(t, what+" low", low, want.Lower, housePriceTolerance)
	wantRel(t, what+" high", high, want.Upper, housePriceTolerance)
}

func TestLeaveOneOutHousePrices(t *testing.T) {
	var ref housePrices
	readReference(t, "houseprices.json", &ref)
	check := func(t *testing.T, m housePriceModel, want housePriceLOO) {
		f := fitHousePrices(t, m)
		deleted, err := f.LeaveOneOut()
		if err != nil {
			t.Fatal(err)
		}
		press, inside80, inside95 := 0.0, 0, 0
		percent := make([]float64, len(deleted))
		for i, d := range deleted {
			press += d.Error * d.Error
			percent[i] = 100 * math.Abs(math.Expm1(-d.Error))
			if d.Covers(0.80) {
				inside80++
			}
			if d.Covers(0.95) {
				inside95++
			}
		}
		sort.Float64s(percent)
		n := len(percent) // even: 546
		wantRel(t, "largest leverage", floats.Max(f.Leverage), want.MaxHat, housePriceTolerance)
		wantRel(t, "PRESS", press, want.Press, housePriceTolerance)
		wantRel(t, "median absolute % error", (percent[n/2-1]+percent[n/2])/2, want.Median, housePriceTolerance)
		if inside80 != want.Inside80 || inside95 != want.Inside95 {
			t.Errorf("inside: got %d and %d, want %d and %d", inside80, inside95, want.Inside80, want.Inside95)
		}
	}
	t.Run("Verbeek 3.1", func(t *testing.T) { check(t, ref.Cases.Table31, ref.Cases.LOO31) })
	t.Run("Verbeek 3.2", func(t *testing.T) { check(t, ref.Cases.Table32, ref.Cases.LOO32) })
}

func TestPercentEffectAndRetransformation(t *testing.T) {
	var ref housePrices
	readReference(t, "houseprices.json", &ref)
	f := fitHousePrices(t, ref.Cases.Table32)
	checked := 0
	for j, term := range ref.Cases.Table32.Coefficients.Order {
		want, ok := ref.Cases.Percent[term].(map[string]any)
		if !ok {
			continue
		}
		checked++
		b, se := f.Coefficients[j], f.StdErrors[j]
		wantRel(t, term+" (Halvorsen and Palmquist 1980)", PercentEffect(b, 0), want["halvorsen_palmquist_pct"].(float64), housePriceTolerance)
		wantRel(t, term+" (Kennedy 1981)", PercentEffect(b, se*se), want["kennedy_pct"].(float64), housePriceTolerance)
	}
	if checked != 3 {
		t.Errorf("checked %d effects, want 3", checked)
	}
	for name, m := range map[string]housePriceModel{"verbeek_3_1": ref.Cases.Table31, "verbeek_3_2": ref.Cases.Table32} {
		want := ref.Cases.Retransforming[name].(map[string]any)
		got := fitHousePrices(t, m).SmearingFactor()
		wantRel(t, name+" (Duan 1983)", got, want["duan_smearing_factor"].(float64), housePriceTolerance)
	}
}

// ridge solves min ‖ỹ − Z b‖² + λ‖b‖² as least squares on augmented rows
// [Z; √λ I], with y centred and the columns of Z centred and divided by their
// root mean square (divisor n), and returns the fit on Z's scale with the
// means and scales that undo it.
func ridge(t testing.TB, columns [][]float64, y []float64, lambda float64) (f *LinearFit, mean, scale []float64, meanY float64) {
	t.Helper()
	n, p := len(y), len(columns)
	mean, scale = make([]float64, p), make([]float64, p)
	meanY = floats.Sum(y) / float64(n)
	x, target := mat.NewDense(n+p, p, nil), make([]float64, n+p)
	for i := range y {
		target[i] = y[i] - meanY
	}
	for j, column := range columns {
		mean[j] = floats.Sum(column) / float64(n)
		for _, v := range column {
			scale[j] += (v - mean[j]) * (v - mean[j]) / float64(n)
		}
		scale[j] = math.Sqrt(scale[j])
		for i, v := range column {
			x.Set(i, j, (v-mean[j])/scale[j])
		}
		x.Set(n+j, j, math.Sqrt(lambda))
	}
	f, err := LeastSquares(x, target)
	if err != nil {
		t.Fatal(err)
	}
	return f, mean, scale, meanY
}

// Source: help page lm.ridge of the R package MASS (W. N. Venables and
// B. D. Ripley 2002, Modern Applied Statistics with S, 4th ed.); data of
// J. W. Longley (1967). HKB is 0.006836982 there, L-W 0.05267247, and GCV is
// smallest at 0.0057 on the grid 0, 0.0001, ..., 0.1.
func TestLeastSquaresRidgeByAugmentation(t *testing.T) {
	var ref struct {
		Tolerance struct{ Rel float64 }
		Published struct {
			HKB, LW float64
			GCV     float64 `json:"gcv_minimiser_on_grid"`
		}
		Cases struct {
			Path struct {
				Terms        []string
				Lambda       []float64
				Coefficients [][]float64
				DF           []float64 `json:"effective_df_without_intercept"`
				GCV          []float64
			}
		}
	}
	readReference(t, "ridge_longley.json", &ref)
	path := ref.Cases.Path
	table := readColumns(t, "longley_r.csv")
	y := numbers(t, table["y"])
	var columns [][]float64
	for _, term := range path.Terms[1:] {
		columns = append(columns, numbers(t, table[term]))
	}
	n, p := float64(len(y)), float64(len(columns))

	gcvOf := func(f *LinearFit) (gcv, df float64) {
		df = floats.Sum(f.Leverage[:len(y)])
		return squaredLength(f.Residuals[:len(y)]) / ((n - df) * (n - df)), df
	}
	for k, lambda := range path.Lambda {
		f, mean, scale, meanY := ridge(t, columns, y, lambda)
		intercept := meanY
		for j, b := range f.Coefficients {
			wantRel(t, fmt.Sprintf("λ = %g, %s", lambda, path.Terms[j+1]), b/scale[j], path.Coefficients[k][j+1], ref.Tolerance.Rel)
			intercept -= b / scale[j] * mean[j]
		}
		wantRel(t, fmt.Sprintf("λ = %g, intercept", lambda), intercept, path.Coefficients[k][0], ref.Tolerance.Rel)
		gcv, df := gcvOf(f)
		wantRel(t, fmt.Sprintf("λ = %g, degrees of freedom", lambda), df, path.DF[k], ref.Tolerance.Rel)
		// lm.ridge counts the intercept in neither factor and divides by (n − df)².
		wantRel(t, fmt.Sprintf("λ = %g, GCV", lambda), gcv, path.GCV[k], ref.Tolerance.Rel)
	}

	plain, _, _, _ := ridge(t, columns, y, 0)
	s2 := squaredLength(plain.Residuals) / (n - p - 1)
	hkb := (p - 2) * s2 / squaredLength(plain.Coefficients)
	fitted := 0.0
	for i := range y {
		v := y[i] - floats.Sum(y)/n - plain.Residuals[i]
		fitted += v * v
	}
	wantPrinted(t, "HKB", hkb, ref.Published.HKB, 9)
	wantPrinted(t, "L-W", (p-2)*s2*n/fitted, ref.Published.LW, 8)
	best, bestGCV := 0.0, math.Inf(1)
	for k := range 1001 {
		f, _, _, _ := ridge(t, columns, y, float64(k)*1e-4)
		if gcv, _ := gcvOf(f); gcv < bestGCV {
			best, bestGCV = float64(k)*1e-4, gcv
		}
	}
	wantPrinted(t, "λ of the smallest GCV", best, ref.Published.GCV, 4)
}

func TestLeastSquaresRefuses(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name   string
		x      *mat.Dense
		y      []float64
		column int // of the RankError; -1: another error
		says   string
	}{
		{"a sum of columns", mat.NewDense(4, 3, []float64{1, 1, 2, 1, 2, 3, 1, 3, 4, 1, 5, 6}), []float64{1, 2, 3, 4}, 2, "column 2"},
		{"a tenth, scaled", mat.NewDense(4, 2, []float64{0.1, 0.3, 0.2, 0.6, 0.3, 0.9, 0.7, 2.1}), []float64{1, 2, 3, 4}, 1, "column 1"},
		{"a zero column", mat.NewDense(3, 2, []float64{1, 0, 1, 0, 1, 0}), []float64{1, 2, 3}, 1, "column 1"},
		{"as many columns as rows", mat.NewDense(2, 2, []float64{1, 0, 1, 1}), []float64{1, 2}, -1, "2 rows are too few for 2 columns"},
		{"lengths that differ", mat.NewDense(3, 1, []float64{1, 1, 1}), []float64{1, 2}, -1, "3 rows but 2 values"},
		{"not a number", mat.NewDense(3, 1, []float64{1, nan, 1}), []float64{1, 2, 3}, -1, "row 1, column 0"},
		{"an infinite value", mat.NewDense(3, 1, []float64{1, 1, 1}), []float64{1, 2, math.Inf(1)}, -1, "value 2"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := LeastSquares(tt.x, tt.y)
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Fatalf("got error %v, want one that says %q", err, tt.says)
			}
			var rank *RankError
			if errors.As(err, &rank) != (tt.column >= 0) || rank != nil && rank.Column != tt.column {
				t.Errorf("got %v, want column %d", err, tt.column)
			}
		})
	}
}

func TestLeaveOneOutRefusesADecisiveRow(t *testing.T) {
	x := mat.NewDense(5, 2, []float64{1, 0, 1, 0, 1, 0, 1, 0, 1, 1}) // the last row alone has column 1
	f, err := LeastSquares(x, []float64{1, 2, 3, 4, 9})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.LeaveOneOut(); err == nil || !strings.Contains(err.Error(), "row 4") {
		t.Errorf("got error %v, want row 4 named", err)
	}
}

// drawDesign draws an intercept and two to four further columns.
func drawDesign(t *rapid.T) (*mat.Dense, []float64) {
	p := rapid.IntRange(2, 4).Draw(t, "columns")
	n := rapid.IntRange(p+3, 30).Draw(t, "rows")
	value := rapid.Float64Range(-1000, 1000)
	x, y := mat.NewDense(n, p, nil), make([]float64, n)
	for i := range n {
		x.Set(i, 0, 1)
		for j := 1; j < p; j++ {
			x.Set(i, j, value.Draw(t, "x"))
		}
		y[i] = value.Draw(t, "y")
	}
	return x, y
}

// Laws that hold for any data: residuals are orthogonal to every column, the
// leverages add up to p, rescaling a column rescales its coefficient only,
// and leaving a row out is the same as fitting without it.
func TestLeastSquaresLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := drawDesign(t)
		n, p := x.Dims()
		f, err := LeastSquares(x, y)
		if err != nil || floats.Max(f.Leverage) > 0.99 {
			t.Skip("nearly dependent columns or a decisive row")
		}
		for j := range p {
			column := mat.Col(nil, j, x)
			dot := floats.Dot(column, f.Residuals)
			if bound := 1e-9 * (1 + floats.Norm(column, 2)*floats.Norm(y, 2)); math.Abs(dot) > bound {
				t.Errorf("column %d times residuals: got %g, want 0", j, dot)
			}
		}
		if sum := floats.Sum(f.Leverage); math.Abs(sum-float64(p)) > 1e-8 {
			t.Errorf("leverages add up to %g, want %d", sum, p)
		}

		k := rapid.IntRange(0, n-1).Draw(t, "row left out")
		rest, restY := mat.NewDense(n-1, p, nil), make([]float64, 0, n-1)
		for i := range n {
			if i != k {
				rest.SetRow(len(restY), x.RawRowView(i))
				restY = append(restY, y[i])
			}
		}
		without, err := LeastSquares(rest, restY)
		deleted, looErr := f.LeaveOneOut()
		if err != nil || looErr != nil {
			t.Skip("nearly dependent columns without the row")
		}
		fit, _, se := without.Predict(x.RawRowView(k))
		if got, want := deleted[k].Error, y[k]-fit; math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
			t.Errorf("error of row %d left out: got %g, want %g", k, got, want)
		}
		if got := deleted[k].SE; math.Abs(got-se) > 1e-6*(1+se) {
			t.Errorf("standard error of row %d left out: got %g, want %g", k, got, se)
		}
	})
}

func ExampleLeastSquares() {
	// Log price of four pieces on a constant and log volume.
	x := mat.NewDense(4, 2, []float64{1, 0, 1, 1, 1, 2, 1, 3})
	f, err := LeastSquares(x, []float64{5.0, 5.5, 5.9, 6.4})
	if err != nil {
		fmt.Println(err)
		return
	}
	low, high := f.PredictionInterval([]float64{1, 4}, 0.8)
	fmt.Printf("b = %.3f, R² = %.4f, next: %.2f to %.2f\n", f.Coefficients, f.RSquared, low, high)
	// Output: b = [5.010 0.460], R² = 0.9981, next: 6.76 to 6.94
}

func BenchmarkLeastSquares(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	x, y := mat.NewDense(500, 20, nil), make([]float64, 500)
	for i := range y {
		y[i] = r.NormFloat64()
		for j := range 20 {
			x.Set(i, j, r.NormFloat64())
		}
	}
	for b.Loop() {
		if _, err := LeastSquares(x, y); err != nil {
			b.Fatal(err)
		}
	}
}
