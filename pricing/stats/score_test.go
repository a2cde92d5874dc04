package stats

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/reference"
)

// scoringReference holds published examples and R's values for them; the
// sources are beside each test.
type scoringReference struct {
	Cases struct {
		Study11 ratioCase `json:"ratio_study_1_1"`
		StudyD1 ratioCase `json:"ratio_study_d_1"`
		Wilson  []struct {
			X, N                int
			Level, Lower, Upper float64
			Published           [2]float64
		}
		Interval []struct{ Lower, Upper, Y, Level, Score float64 } `json:"interval_score"`
		Quantile []struct{ Quantile, Y, P, Score float64 }         `json:"quantile_score"`
		Brier    struct {
			Forecast                                    []float64
			Outcome                                     []int
			Brier, Reliability, Resolution, Uncertainty float64
			LogLoss                                     float64 `json:"log_loss"`
		}
	}
}

type ratioCase struct {
	Data         string
	Published    struct{ COD, PRD, PRB float64 }
	N            int
	Median       float64 `json:"median_ratio"`
	Mean         float64 `json:"mean_ratio"`
	WeightedMean float64 `json:"weighted_mean_ratio"`
	COD, PRD     float64
	PRB          float64
	PRBStdErr    float64 `json:"prb_se"`
	MedianError  float64 `json:"median_abs_pct_error"`
}

const scoreTolerance = 1e-10

func readScoring(t testing.TB) scoringReference {
	t.Helper()
	var ref scoringReference
	reference.Read(t, "scoring.json", &ref)
	return ref
}

// Source: International Association of Assessing Officers (2013), Standard on
// Ratio Studies, Tables 1-1 and D-1, with the printed COD, PRD and PRB.
func TestRatioStudyAgainstTheStandard(t *testing.T) {
	ref := readScoring(t)
	for name, want := range map[string]ratioCase{"Table 1-1": ref.Cases.Study11, "Table D-1": ref.Cases.StudyD1} {
		t.Run(name, func(t *testing.T) {
			columns := reference.Columns(t, want.Data)
			estimates, prices := reference.Numbers(t, columns["estimate"]), reference.Numbers(t, columns["sale_price"])
			got, err := NewRatioStudy(estimates, prices)
			if err != nil {
				t.Fatal(err)
			}
			if got.N != want.N {
				t.Errorf("sales: got %d, want %d", got.N, want.N)
			}
			reference.WantRel(t, "median", got.Median, want.Median, scoreTolerance)
			reference.WantRel(t, "mean", got.Mean, want.Mean, scoreTolerance)
			reference.WantRel(t, "weighted mean", got.WeightedMean, want.WeightedMean, scoreTolerance)
			reference.WantRel(t, "COD", got.COD, want.COD, scoreTolerance)
			reference.WantRel(t, "PRD", got.PRD, want.PRD, scoreTolerance)
			reference.WantRel(t, "PRB", *got.PRB, want.PRB, scoreTolerance)
			reference.WantRel(t, "error of PRB", *got.PRBStdErr, want.PRBStdErr, scoreTolerance)
			reference.WantPrinted(t, "COD", got.COD, want.Published.COD, 1)
			reference.WantPrinted(t, "PRB", *got.PRB, want.Published.PRB, 3)
			reference.WantPrinted(t, "PRD", got.PRD, want.Published.PRD, map[string]int{"Table 1-1": 2, "Table D-1": 3}[name])
			off, err := MedianAbsolutePercentError(estimates, prices)
			if err != nil {
				t.Fatal(err)
			}
			reference.WantRel(t, "median absolute % error", off, want.MedianError, scoreTolerance)
		})
	}
}

func TestRatioStudyOfTooLittle(t *testing.T) {
	s, err := NewRatioStudy([]float64{90, 110}, []float64{100, 100})
	if err != nil {
		t.Fatal(err)
	}
	if s.Median != 1 || s.PRB != nil {
		t.Errorf("two sales: got median %g, PRB %v, want 1 and no PRB", s.Median, s.PRB)
	}
	for _, c := range []struct {
		estimates, prices []float64
		says              string
	}{
		{nil, nil, "no sales"},
		{[]float64{1}, []float64{1, 2}, "1 estimates but 2"},
		{[]float64{1, 2}, []float64{1, 0}, "sale 1"},
		{[]float64{math.NaN()}, []float64{1}, "sale 0"},
		{[]float64{1}, []float64{math.Inf(1)}, "sale 0"},
	} {
		if _, err := NewRatioStudy(c.estimates, c.prices); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, %v: got error %v, want %q", c.estimates, c.prices, err, c.says)
		}
		if _, err := MedianAbsolutePercentError(c.estimates, c.prices); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, %v: got error %v, want %q", c.estimates, c.prices, err, c.says)
		}
	}
}

// Source: R. G. Newcombe (1998), Statistics in Medicine 17, 857-872, Table I,
// method 3.
func TestWilsonAgainstNewcombe(t *testing.T) {
	examples := readScoring(t).Cases.Wilson
	if len(examples) != 4 {
		t.Fatalf("got %d examples, want 4", len(examples))
	}
	for _, c := range examples {
		low, high := Wilson(c.X, c.N, c.Level)
		what := fmt.Sprintf("%d of %d", c.X, c.N)
		if math.Abs(low-c.Lower) > 1e-15 {
			reference.WantRel(t, what+" low", low, c.Lower, scoreTolerance)
		}
		reference.WantRel(t, what+" high", high, c.Upper, scoreTolerance)
		reference.WantPrinted(t, what+" low", low, c.Published[0], 4)
		reference.WantPrinted(t, what+" high", high, c.Published[1], 4)
	}
	if low, high := Wilson(0, 0, 0.95); low != 0 || high != 1 {
		t.Errorf("no trials: got %g to %g, want 0 to 1", low, high)
	}
}

// intervalScore returns what a range costs that was stated to hold y with
// chance level, lower being better:
//
//	(high − low) + 2/α (low − y)⁺ + 2/α (y − high)⁺,  α = 1 − level
//
// It is smallest on average for the true quantiles, so neither wide nor narrow
// ranges pay. In the unit of y. Source: T. Gneiting and A. E. Raftery (2007),
// Journal of the American Statistical Association 102, 359-378, equation 43.
func intervalScore(r Range, y float64) float64 {
	alpha := 1 - r.Level
	return r.High - r.Low + 2/alpha*(max(0, r.Low-y)+max(0, y-r.High))
}

// quantileScore returns what a stated quantile q of probability p costs when y
// comes out, lower being better:
//
//	p (y − q)⁺ + (1 − p) (q − y)⁺
//
// In the unit of y. Source: Gneiting and Raftery (2007), equation 40, with
// the sign turned.
func quantileScore(q, y, p float64) float64 {
	return p*max(0, y-q) + (1-p)*max(0, q-y)
}

// Source: T. Gneiting and A. E. Raftery (2007), Journal of the American
// Statistical Association 102, 359-378, equations 43 and 40.
func TestIntervalAndQuantileScore(t *testing.T) {
	ref := readScoring(t)
	for _, c := range ref.Cases.Interval {
		got := intervalScore(Range{Low: c.Lower, High: c.Upper, Level: c.Level}, c.Y)
		reference.WantRel(t, fmt.Sprintf("interval %+v", c), got, c.Score, scoreTolerance)
	}
	for _, c := range ref.Cases.Quantile {
		reference.WantRel(t, fmt.Sprintf("quantile %+v", c), quantileScore(c.Quantile, c.Y, c.P), c.Score, scoreTolerance)
	}
	if len(ref.Cases.Interval) != 5 || len(ref.Cases.Quantile) != 4 {
		t.Errorf("got %d and %d examples, want 5 and 4", len(ref.Cases.Interval), len(ref.Cases.Quantile))
	}
}

// The interval score of a central interval is the two quantile scores at its
// ends, times 2/α: the same paper, section 6.2.
func TestIntervalScoreIsTwoQuantileScores(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(1, 100).Draw(t, "low")
		r := Range{Low: low, High: low + rapid.Float64Range(0, 100).Draw(t, "width"), Level: rapid.Float64Range(0.1, 0.99).Draw(t, "level")}
		y := rapid.Float64Range(0, 300).Draw(t, "y")
		alpha := 1 - r.Level
		want := 2 / alpha * (quantileScore(r.Low, y, alpha/2) + quantileScore(r.High, y, 1-alpha/2))
		if got := intervalScore(r, y); math.Abs(got-want) > 1e-9*(1+want) {
			t.Errorf("got %g, want %g", got, want)
		}
	})
}

// Source: A. H. Murphy (1973), Journal of Applied Meteorology 12, 595-600.
func TestCalibrateMurphy(t *testing.T) {
	want := readScoring(t).Cases.Brier
	promises := make([]Promise, len(want.Forecast))
	for i, f := range want.Forecast {
		promises[i] = Promise{Chance: f, Kept: want.Outcome[i] == 1}
	}
	got, err := Calibrate(promises)
	if err != nil {
		t.Fatal(err)
	}
	reference.WantRel(t, "Brier score", got.Brier, want.Brier, scoreTolerance)
	reference.WantRel(t, "reliability", got.Reliability, want.Reliability, scoreTolerance)
	reference.WantRel(t, "resolution", got.Resolution, want.Resolution, scoreTolerance)
	reference.WantRel(t, "uncertainty", got.Uncertainty, want.Uncertainty, scoreTolerance)
	reference.WantRel(t, "log loss", *got.LogLoss, want.LogLoss, scoreTolerance)
	if math.Abs(got.WithinBand) > 1e-15 {
		t.Errorf("within bands of one chance: got %g, want 0", got.WithinBand)
	}
	if len(got.Bands) != 6 {
		t.Errorf("got %d bands, want 6 distinct chances", len(got.Bands))
	}
}

func TestCalibrateBands(t *testing.T) {
	promises := []Promise{{0, false}, {0.1, false}, {0.2, true}, {0.5, true}, {0.79, false}, {0.8, true}, {1, true}}
	got, err := Calibrate(promises, 0.2, 0.4, 0.6, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	want := []CalibrationBand{ // 0.4 to 0.6 holds 0.5; an edge begins the next band; 1 closes the last
		{From: 0, To: 0.2, MeanChance: 0.05, Kept: NewShare(0, 2)},
		{From: 0.2, To: 0.4, MeanChance: 0.2, Kept: NewShare(1, 1)},
		{From: 0.4, To: 0.6, MeanChance: 0.5, Kept: NewShare(1, 1)},
		{From: 0.6, To: 0.8, MeanChance: 0.79, Kept: NewShare(0, 1)},
		{From: 0.8, To: 1, MeanChance: 0.9, Kept: NewShare(2, 2)},
	}
	if len(got.Bands) != len(want) {
		t.Fatalf("got %+v, want %+v", got.Bands, want)
	}
	for i := range want {
		if got.Bands[i] != want[i] {
			t.Errorf("band %d: got %+v, want %+v", i, got.Bands[i], want[i])
		}
	}
	if wrong, err := Calibrate([]Promise{{Chance: 1, Kept: false}}); err != nil || wrong.LogLoss != nil {
		t.Errorf("a wrong certainty: got %+v, %v, want no log loss", wrong, err)
	}
	for _, bad := range [][]Promise{nil, {{Chance: -0.1}}, {{Chance: 1.1}}, {{Chance: math.NaN()}}} {
		if _, err := Calibrate(bad); err == nil {
			t.Errorf("%v: got no error", bad)
		}
	}
}

// The parts add up to the score however the bands are cut: D. B. Stephenson,
// C. A. S. Coelho and I. T. Jolliffe (2008), Weather and Forecasting 23,
// 752-757.
func TestCalibrationPartsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		promises := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Promise {
			return Promise{Chance: rapid.Float64Range(0, 1).Draw(t, "chance"), Kept: rapid.Bool().Draw(t, "kept")}
		}), 1, 50).Draw(t, "promises")
		for _, edges := range [][]float64{nil, {0.5}, {0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9}} {
			c, err := Calibrate(promises, edges...)
			if err != nil {
				t.Fatal(err)
			}
			sum := c.Reliability - c.Resolution + c.Uncertainty + c.WithinBand
			if math.Abs(sum-c.Brier) > 1e-12 {
				t.Errorf("edges %v: parts add up to %g, want %g", edges, sum, c.Brier)
			}
			count := 0
			for _, band := range c.Bands {
				count += band.Kept.N
				if band.MeanChance < band.From-1e-12 || band.MeanChance > band.To+1e-12 {
					t.Errorf("edges %v: mean %g outside %g to %g", edges, band.MeanChance, band.From, band.To)
				}
			}
			if count != len(promises) {
				t.Errorf("edges %v: bands hold %d promises, want %d", edges, count, len(promises))
			}
		}
	})
}

func ExampleCoverage() {
	ranges := []Range{{Low: 180, High: 260, Level: 0.8}, {Low: 90, High: 140, Level: 0.8}, {Low: 300, High: 420, Level: 0.8}}
	share := Coverage(ranges, []float64{240, 150, 310})
	fmt.Printf("%d of %d inside, between %.0f %% and %.0f %%\n", share.Hits, share.N, 100*share.Low, 100*share.High)
	// Output: 2 of 3 inside, between 21 % and 94 %
}

func ExampleNewRatioStudy() {
	study, err := NewRatioStudy([]float64{210, 95, 340, 120}, []float64{200, 100, 330, 130})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("median ratio %.3f, COD %.1f, PRD %.3f\n", study.Median, study.COD, study.PRD)
	// Output: median ratio 0.990, COD 5.2, PRD 0.982
}
