package stats

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"askwright/pricing/internal/reference"
)

// survivalCase is one group of a published data set, as computed by R's
// survfit, survdiff and summary(rmean).
type survivalCase struct {
	Data      string
	Published struct{ Time, Survival, SE []float64 }

	N, Events int
	Time      []float64
	AtRisk    []int `json:"n_risk"`
	Sales     []int `json:"n_event"`
	Survival  []float64
	SE        []*float64 `json:"greenwood_se"`

	LowPlain   []*float64 `json:"lower_95_plain"`
	HighPlain  []*float64 `json:"upper_95_plain"`
	LowLog     []*float64 `json:"lower_95_log"`
	HighLog    []*float64 `json:"upper_95_log"`
	LowLogLog  []*float64 `json:"lower_95_loglog"`
	HighLogLog []*float64 `json:"upper_95_loglog"`
	Hazard     []float64  `json:"nelson_aalen"`

	Median       *float64
	MedianLog    []*float64 `json:"median_ci_log"`
	MedianLogLog []*float64 `json:"median_ci_loglog"`
	Quarter      *float64   `json:"quantile_25pct_events"`
	ThreeQuarter *float64   `json:"quantile_75pct_events"`

	RestrictedMean struct{ Tau, Mean, SE float64 } `json:"restricted_mean"`
}

// survivalGroups maps each case to the value of its data's group column.
// Sources: R. G. Miller (1981), Survival Analysis (aml); E. J. Freireich et
// al. (1963), Blood 21, 699-716.
var survivalGroups = map[string]string{
	"aml_maintained": "maintained", "aml_nonmaintained": "nonmaintained",
	"freireich_6mp": "6mp", "freireich_placebo": "placebo",
}

func readLifetimes(t testing.TB, file, group string) []Lifetime {
	t.Helper()
	columns := reference.Columns(t, file)
	var lives []Lifetime
	for i, days := range reference.Numbers(t, columns["time"]) {
		if strings.EqualFold(columns["group"][i], group) {
			lives = append(lives, Lifetime{Days: days, Sold: columns["status"][i] == "1"})
		}
	}
	return lives
}

func readSurvivalCases(t testing.TB) map[string]survivalCase {
	t.Helper()
	var all struct{ Cases map[string]survivalCase }
	reference.Read(t, "kaplan_meier.json", &all)
	return all.Cases
}

const survivalTolerance = 1e-10

// wantOrNone checks a value where there may be none.
func wantOrNone(t *testing.T, what string, got, want *float64) {
	t.Helper()
	switch {
	case want == nil && got == nil:
	case want == nil:
		t.Errorf("%s: got %g, want none", what, *got)
	case got == nil:
		t.Errorf("%s: got none, want %g", what, *want)
	default:
		reference.WantRel(t, what, *got, *want, survivalTolerance)
	}
}

// some returns v where there is one.
func some(v float64, ok bool) *float64 {
	if !ok {
		return nil
	}
	return &v
}

func TestKaplanMeierAgainstPublishedCurves(t *testing.T) {
	cases := readSurvivalCases(t)
	for name, group := range survivalGroups {
		t.Run(name, func(t *testing.T) {
			c := cases[name]
			curve, err := KaplanMeier(readLifetimes(t, c.Data, group))
			if err != nil {
				t.Fatal(err)
			}
			if curve.N != c.N || curve.Sales != c.Events || len(curve.Steps) != len(c.Time) {
				t.Fatalf("got %d lives, %d events, %d steps, want %d, %d, %d", curve.N, curve.Sales, len(curve.Steps), c.N, c.Events, len(c.Time))
			}
			for i, s := range curve.Steps {
				day := fmt.Sprintf("day %g ", s.Day)
				if s.Day != c.Time[i] || s.AtRisk != c.AtRisk[i] || s.Sales != c.Sales[i] {
					t.Errorf("step %d: got day %g, %d at risk, %d events, want %g, %d, %d", i, s.Day, s.AtRisk, s.Sales, c.Time[i], c.AtRisk[i], c.Sales[i])
				}
				reference.WantRel(t, day+"S", s.Survival, c.Survival[i], survivalTolerance)
				reference.WantRel(t, day+"hazard", s.Hazard, c.Hazard[i], survivalTolerance)
				wantOrNone(t, day+"Greenwood error", some(s.StdErr, s.Survival > 0), c.SE[i])
				wantSurvivalLimits(t, day+"plain", s, PlainLimits, c.LowPlain[i], c.HighPlain[i])
				wantSurvivalLimits(t, day+"log", s, LogLimits, c.LowLog[i], c.HighLog[i])
				wantSurvivalLimits(t, day+"log-log", s, LogLogLimits, c.LowLogLog[i], c.HighLogLog[i])
			}
		})
	}
}

func wantSurvivalLimits(t *testing.T, what string, s SurvivalStep, kind LimitKind, wantLow, wantHigh *float64) {
	t.Helper()
	low, high, ok := s.Limits(kind, 0.95)
	wantOrNone(t, what+" low", some(low, ok), wantLow)
	wantOrNone(t, what+" high", some(high, ok), wantHigh)
}

func TestKaplanMeierSummaries(t *testing.T) {
	cases := readSurvivalCases(t)
	for name, group := range survivalGroups {
		t.Run(name, func(t *testing.T) {
			c := cases[name]
			curve, err := KaplanMeier(readLifetimes(t, c.Data, group))
			if err != nil {
				t.Fatal(err)
			}
			for p, want := range map[float64]*float64{0.25: c.Quarter, 0.5: c.Median, 0.75: c.ThreeQuarter} {
				wantOrNone(t, fmt.Sprintf("%g quantile", p), some(curve.Quantile(p)), want)
			}
			for kind, want := range map[LimitKind][]*float64{LogLimits: c.MedianLog, LogLogLimits: c.MedianLogLog} {
				low, high := curve.QuantileLimits(0.5, kind, 0.95)
				wantOrNone(t, fmt.Sprintf("kind %d: low limit of the median", kind), low, want[0])
				wantOrNone(t, fmt.Sprintf("kind %d: high limit of the median", kind), high, want[1])
			}
			mean, se, err := curve.RestrictedMean(c.RestrictedMean.Tau)
			if err != nil {
				t.Fatal(err)
			}
			reference.WantRel(t, "restricted mean", mean, c.RestrictedMean.Mean, survivalTolerance)
			reference.WantRel(t, "its error", se, c.RestrictedMean.SE, survivalTolerance)
		})
	}
}

// Printed figures of the 6-MP group: the curve in D. G. Kleinbaum and M. Klein
// (2012), Survival Analysis, 3rd ed., chapter 2; the standard errors in
// J. P. Klein and M. L. Moeschberger (2003), Survival Analysis, 2nd ed.,
// Table 4.1B.
func TestKaplanMeierPrintedTable(t *testing.T) {
	c := readSurvivalCases(t)["freireich_6mp"]
	curve, err := KaplanMeier(readLifetimes(t, c.Data, "6mp"))
	if err != nil {
		t.Fatal(err)
	}
	for i, week := range c.Published.Time {
		reference.WantPrinted(t, fmt.Sprintf("S(%g)", week), curve.At(week), c.Published.Survival[i], 4)
		reference.WantPrinted(t, fmt.Sprintf("error at %g", week), curve.Steps[i].StdErr, c.Published.SE[i], 3)
	}
}

func TestLogRank(t *testing.T) {
	var ref struct {
		Cases map[string]struct {
			Observed, Expected []float64
			Chi2               float64
			Published          float64 `json:"published_chi2"`
			P                  float64 `json:"p_value"`
		}
	}
	// The file's other cases have other members, which are ignored.
	reference.Read(t, "kaplan_meier.json", &ref)
	for name, c := range map[string]struct{ file, first, second string }{
		"logrank_aml":       {"aml.csv", "maintained", "nonmaintained"},
		"logrank_freireich": {"freireich.csv", "6mp", "placebo"},
	} {
		t.Run(name, func(t *testing.T) {
			want := ref.Cases[name]
			got, err := newLogRank(readLifetimes(t, c.file, c.first), readLifetimes(t, c.file, c.second))
			if err != nil {
				t.Fatal(err)
			}
			for g := range 2 {
				reference.WantRel(t, "observed", got.Observed[g], want.Observed[g], survivalTolerance)
				reference.WantRel(t, "expected", got.Expected[g], want.Expected[g], survivalTolerance)
			}
			reference.WantRel(t, "chi-square", got.ChiSquare, want.Chi2, survivalTolerance)
			reference.WantRel(t, "p", got.P, want.P, survivalTolerance)
			if want.Published != 0 { // Kleinbaum and Klein (2012), chapter 2
				reference.WantPrinted(t, "chi-square", got.ChiSquare, want.Published, 3)
			}
		})
	}
}

func TestKaplanMeierRefuses(t *testing.T) {
	for _, lives := range [][]Lifetime{nil, {{Days: -1}}, {{Days: math.NaN()}}, {{Days: math.Inf(1)}}} {
		if _, err := KaplanMeier(lives); err == nil {
			t.Errorf("%v: got no error", lives)
		}
	}
	curve, err := KaplanMeier([]Lifetime{{Days: 3, Sold: true}, {Days: 9}})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := curve.RestrictedMean(10); err == nil || !strings.Contains(err.Error(), "longest listing of 9") {
		t.Errorf("got error %v, want the longest listing named", err)
	}
	if _, _, err := curve.RestrictedMean(math.NaN()); err == nil {
		t.Error("a horizon of NaN: got no error")
	}
	if _, err := newLogRank(nil, []Lifetime{{Days: 1, Sold: true}}); err == nil {
		t.Error("an empty group: got no error")
	}
	if _, err := newLogRank([]Lifetime{{Days: 1}}, []Lifetime{{Days: 1}}); err == nil {
		t.Error("no sales: got no error")
	}
}

func drawLifetimes(t *rapid.T) []Lifetime {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Lifetime {
		return Lifetime{Days: float64(rapid.IntRange(0, 40).Draw(t, "days")), Sold: rapid.Bool().Draw(t, "sold")}
	}), 1, 60).Draw(t, "lifetimes")
}

// Laws: the curve falls from 1 and stays in [0, 1], does not depend on order,
// limits enclose it, and when all have sold it is the empirical distribution,
// whose restricted mean is the plain mean.
func TestKaplanMeierLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lives := drawLifetimes(t)
		curve, err := KaplanMeier(lives)
		if err != nil {
			t.Fatal(err)
		}
		before := 1.0
		for _, s := range curve.Steps {
			if s.Survival < 0 || s.Survival >= before {
				t.Errorf("S goes from %g to %g", before, s.Survival)
			}
			before = s.Survival
			for _, kind := range []LimitKind{PlainLimits, LogLimits, LogLogLimits} {
				low, high, ok := s.Limits(kind, 0.8)
				if ok && !(0 <= low && low <= s.Survival && s.Survival <= high && high <= 1) {
					t.Errorf("kind %d: %g, %g do not enclose %g", kind, low, high, s.Survival)
				}
			}
		}
		// Days are whole, so the integral of S is a sum.
		horizon := rapid.IntRange(0, int(curve.LastDay)).Draw(t, "horizon")
		area := 0.0
		for day := range horizon {
			area += curve.At(float64(day))
		}
		if mean, _, err := curve.RestrictedMean(float64(horizon)); err != nil || math.Abs(mean-area) > 1e-9 {
			t.Errorf("restricted mean up to %d: got %g, %v, want %g", horizon, mean, err, area)
		}
		slices.Reverse(lives)
		if again, err := KaplanMeier(lives); err != nil || again.At(20) != curve.At(20) {
			t.Errorf("reversed: got %v, %v, want the same curve", again, err)
		}

		sum, longest := 0.0, 0.0
		for i := range lives {
			lives[i].Sold = true
			sum += lives[i].Days
			longest = max(longest, lives[i].Days)
		}
		all, err := KaplanMeier(lives)
		if err != nil {
			t.Fatal(err)
		}
		mean, _, err := all.RestrictedMean(longest + 5)
		if want := sum / float64(len(lives)); err != nil || math.Abs(mean-want) > 1e-9 {
			t.Errorf("all sold: got mean %g, %v, want %g", mean, err, want)
		}
	})
}

func ExampleKaplanMeier() {
	curve, err := KaplanMeier([]Lifetime{
		{Days: 6, Sold: true}, {Days: 14, Sold: true}, {Days: 20}, {Days: 31, Sold: true}, {Days: 60},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	median, _ := curve.Median()
	fmt.Printf("unsold after 14 days: %.2f; half have sold by day %g\n", curve.At(14), median)
	// Output: unsold after 14 days: 0.60; half have sold by day 31
}
