package stats

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"askwright/pricing/internal/reference"
)

// quantileRow is one line of a table of quantiles.
type quantileRow struct {
	DF       float64
	P        []float64
	Quantile []float64
	Handbook []float64 `json:"handbook_3_decimals"`
}

type quantileReference struct {
	Tolerance struct{ Rel float64 }
	Cases     struct {
		Normal    struct{ P, Quantile []float64 }
		NormalCDF struct{ Z, CDF []float64 } `json:"normal_cdf"`
		StudentT  []quantileRow              `json:"student_t"`
		FractionT struct {
			DF, Quantile []float64
			P            float64
		} `json:"student_t_noninteger_df"`
		ChiSquare []quantileRow `json:"chi_square"`
		Gamma     struct {
			Shape, Quantile []float64
			P               float64
		} `json:"gamma_quantile"`
		Poisson struct {
			D            []int
			Lower, Upper []float64
		} `json:"exact_poisson_rate_interval"`
	}
}

// The package takes its quantiles from gonum. Sources: NIST/SEMATECH
// e-Handbook of Statistical Methods, tables 1.3.6.7.1 (normal), 1.3.6.7.2 (t)
// and 1.3.6.7.4 (chi-square), to their printed decimals; R's qnorm, qt, qchisq
// and qgamma at full precision.
func TestQuantilesOfTheHandbook(t *testing.T) {
	var ref quantileReference
	reference.Read(t, "quantiles.json", &ref)
	tolerance := ref.Tolerance.Rel

	for i, p := range ref.Cases.Normal.P {
		reference.WantRel(t, fmt.Sprintf("normal %g", p), distuv.UnitNormal.Quantile(p), ref.Cases.Normal.Quantile[i], tolerance)
	}
	for i, z := range ref.Cases.NormalCDF.Z {
		reference.WantRel(t, fmt.Sprintf("normal area below %g", z), distuv.UnitNormal.CDF(z), ref.Cases.NormalCDF.CDF[i], tolerance)
	}
	check := func(law string, rows []quantileRow, quantile func(df, p float64) float64) {
		if len(rows) == 0 {
			t.Errorf("no rows for %s", law)
		}
		for _, row := range rows {
			for i, p := range row.P {
				what := fmt.Sprintf("%s with %g degrees of freedom at %g", law, row.DF, p)
				got := quantile(row.DF, p)
				reference.WantRel(t, what, got, row.Quantile[i], tolerance)
				reference.WantPrinted(t, what, got, row.Handbook[i], 3)
			}
		}
	}
	check("t", ref.Cases.StudentT, studentQuantile)
	check("chi-square", ref.Cases.ChiSquare, func(df, p float64) float64 { return distuv.ChiSquared{K: df}.Quantile(p) })
}

func studentQuantile(df, p float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
}

// The value model has 2 a_n degrees of freedom, which need not be whole; the
// demand for a piece is a gamma variable.
func TestQuantilesOfFractionalLaws(t *testing.T) {
	var ref quantileReference
	reference.Read(t, "quantiles.json", &ref)
	for i, df := range ref.Cases.FractionT.DF {
		got := studentQuantile(df, ref.Cases.FractionT.P)
		reference.WantRel(t, fmt.Sprintf("t with %g degrees of freedom", df), got, ref.Cases.FractionT.Quantile[i], ref.Tolerance.Rel)
	}
	for i, shape := range ref.Cases.Gamma.Shape {
		got := distuv.Gamma{Alpha: shape, Beta: 1}.Quantile(ref.Cases.Gamma.P)
		reference.WantRel(t, fmt.Sprintf("gamma of shape %g", shape), got, ref.Cases.Gamma.Quantile[i], ref.Tolerance.Rel)
	}
}

// Source: F. Garwood (1936), Biometrika 28, 437-442: exact limits of a Poisson
// mean from a count d are gamma quantiles of shapes d and d + 1.
func TestGammaQuantilesGiveGarwoodsLimits(t *testing.T) {
	var ref quantileReference
	reference.Read(t, "quantiles.json", &ref)
	c := ref.Cases.Poisson
	for i, d := range c.D {
		if d > 0 {
			low := distuv.Gamma{Alpha: float64(d), Beta: 1}.Quantile(0.025)
			reference.WantRel(t, fmt.Sprintf("count %d, low", d), low, c.Lower[i], ref.Tolerance.Rel)
		}
		high := distuv.Gamma{Alpha: float64(d + 1), Beta: 1}.Quantile(0.975)
		reference.WantRel(t, fmt.Sprintf("count %d, high", d), high, c.Upper[i], ref.Tolerance.Rel)
	}
}
