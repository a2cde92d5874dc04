package stats

import (
	"errors"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// logRank compares the sale speed of two groups of listings.
type logRank struct {
	Observed, Expected []float64 // sales by group
	ChiSquare          float64
	DF                 int
	P                  float64 // chance of so large a difference when there is none
}

// newLogRank returns the log-rank test of two groups. With d of n listings
// sold on a day, n_1 of them in the first group, the expected sales there
// and their variance are
//
//	E_1 = Σ d n_1/n,   V = Σ d (n_1/n) (1 − n_1/n) (n − d)/(n − 1)
//	χ² = (O_1 − E_1)² / V, one degree of freedom
//
// Source: N. Mantel (1966), Cancer Chemotherapy Reports 50, 163-170.
func newLogRank(first, second []Lifetime) (*logRank, error) {
	if len(first) == 0 || len(second) == 0 {
		return nil, errors.New("log-rank test: a group has no listings")
	}
	table := saleDays(slices.Concat(first, second))
	observed, expected, variance, total := 0.0, 0.0, 0.0, 0.0
	for i, day := range table.at {
		n, d := float64(table.atRisk[i]), float64(table.sales[i])
		n1, d1 := riskOn(first, day)
		observed, total = observed+d1, total+d
		expected += d * n1 / n
		if n > 1 {
			variance += d * (n1 / n) * (1 - n1/n) * (n - d) / (n - 1)
		}
	}
	if variance == 0 {
		return nil, errors.New("log-rank test: no day on which a sale tells the groups apart")
	}
	chi2 := (observed - expected) * (observed - expected) / variance
	return &logRank{
		Observed: []float64{observed, total - observed}, Expected: []float64{expected, total - expected},
		ChiSquare: chi2, DF: 1, P: distuv.ChiSquared{K: 1}.Survival(chi2),
	}, nil
}

// riskOn counts the listings still at risk on a day and those that sell on it.
func riskOn(lives []Lifetime, day float64) (atRisk, sales float64) {
	for _, l := range lives {
		if l.Days >= day {
			atRisk++
			if l.Days == day && l.Sold {
				sales++
			}
		}
	}
	return atRisk, sales
}
