package stats

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"askwright/pricing/internal/reference"
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
	columns := reference.Columns(t, d.Data)
	y := reference.Numbers(t, columns["y"])
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
		for i, v := range reference.Numbers(t, columns[name]) {
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
	reference.Read(t, "nist_linear.json", &file)
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
				reference.WantRel(t, "coefficient of "+term, f.Coefficients[j], c.Certified.Coefficients[j], c.Tolerance.Coefficients)
				tolerance := c.Tolerance.SDRel + c.Tolerance.SDAbs
				reference.WantRel(t, "standard error of "+term, f.StdErrors[j], c.Certified.StandardDeviations[j], tolerance)
			}
			reference.WantRel(t, "residual SD", f.ResidualSD, c.Certified.ResidualSD, c.Tolerance.ResidualRel+c.Tolerance.ResidualAbs)
			reference.WantRel(t, "R squared", f.RSquared, c.Certified.RSquared, c.Tolerance.RSquared)
		})
	}
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
	if _, err := f.leaveOneOut(); err == nil || !strings.Contains(err.Error(), "row 4") {
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
		deleted, looErr := f.leaveOneOut()
		if err != nil || looErr != nil {
			t.Skip("nearly dependent columns without the row")
		}
		fit, _, se := without.predict(x.RawRowView(k))
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
	fmt.Printf("b = %.3f, R² = %.4f\n", f.Coefficients, f.RSquared)
	// Output: b = [5.010 0.460], R² = 0.9981
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
