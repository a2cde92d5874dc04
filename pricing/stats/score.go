package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// median returns the middle value of v, or the mean of the two middle ones.
// v must not be empty; it is not changed.
func median(v []float64) float64 {
	sorted := slices.Clone(v)
	slices.Sort(sorted)
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}

// MeanAndError returns the mean of x with its standard error s/√n; zeros of no
// values, and no error of one.
func MeanAndError(x []float64) (mean, se float64) {
	switch len(x) {
	case 0:
		return 0, 0
	case 1:
		return x[0], 0
	}
	mean, sd := stat.MeanStdDev(x, nil)
	return mean, stat.StdErr(sd, float64(len(x)))
}

// checkPairs reports values that are not positive, or lengths that differ.
func checkPairs(estimates, prices []float64) error {
	switch {
	case len(estimates) != len(prices):
		return fmt.Errorf("%d estimates but %d sale prices", len(estimates), len(prices))
	case len(prices) == 0:
		return errors.New("no sales")
	}
	for i := range prices {
		if !(estimates[i] > 0 && prices[i] > 0) || math.IsInf(estimates[i], 1) || math.IsInf(prices[i], 1) {
			return fmt.Errorf("sale %d: estimate %v, price %v: both must be positive", i, estimates[i], prices[i])
		}
	}
	return nil
}

// MedianAbsolutePercentError returns the median of 100 |estimate/price − 1|,
// in points. The slices have equal length; all values are positive money.
func MedianAbsolutePercentError(estimates, prices []float64) (float64, error) {
	if err := checkPairs(estimates, prices); err != nil {
		return 0, fmt.Errorf("percent error: %w", err)
	}
	off := make([]float64, len(prices))
	for i := range off {
		off[i] = 100 * math.Abs(estimates[i]/prices[i]-1)
	}
	return median(off), nil
}

// RatioStudy describes the ratios estimate / sale price as appraisers do.
type RatioStudy struct {
	N            int
	Median, Mean float64 // of the ratios
	WeightedMean float64 // Σ estimate / Σ price

	// COD, the coefficient of dispersion, is the mean distance of the ratios
	// from their median, as a percentage of the median.
	COD float64
	// PRD, the price-related differential, is Mean / WeightedMean: above 1
	// when dear pieces are estimated low and cheap ones high.
	PRD float64
	// PRB, the coefficient of price-related bias, is the relative change of
	// the ratio when the value doubles; PRBStdErr is its standard error. Both
	// are nil when they cannot be told: fewer than three sales, or one value.
	PRB, PRBStdErr *float64
}

// NewRatioStudy compares estimates with sale prices, all positive and in the
// same money. PRB is the slope of
//
//	(ratio − median)/median   on   log2((estimate/median + price)/2)
//
// Source: International Association of Assessing Officers (2013), Standard on
// Ratio Studies. For houses it accepts a COD of 5 to 15, a PRD of 0.98 to 1.03
// and a PRB within ±0.05 (these bounds from memory).
func NewRatioStudy(estimates, prices []float64) (*RatioStudy, error) {
	if err := checkPairs(estimates, prices); err != nil {
		return nil, fmt.Errorf("ratio study: %w", err)
	}
	ratios := make([]float64, len(prices))
	for i := range ratios {
		ratios[i] = estimates[i] / prices[i]
	}
	s := &RatioStudy{
		N: len(ratios), Median: median(ratios), Mean: stat.Mean(ratios, nil),
		WeightedMean: floats.Sum(estimates) / floats.Sum(prices),
	}
	for _, r := range ratios {
		s.COD += 100 * math.Abs(r-s.Median) / s.Median / float64(s.N)
	}
	s.PRD = s.Mean / s.WeightedMean

	x, y := mat.NewDense(s.N, 2, nil), make([]float64, s.N)
	for i, r := range ratios {
		x.SetRow(i, []float64{1, math.Log2((estimates[i]/s.Median + prices[i]) / 2)})
		y[i] = (r - s.Median) / s.Median
	}
	if fit, err := LeastSquares(x, y); err == nil { // an error: cannot be told
		s.PRB, s.PRBStdErr = &fit.Coefficients[1], &fit.StdErrors[1]
	}
	return s, nil
}

// Wilson returns the score limits of a proportion of hits among n trials:
//
//	(p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n),  p = hits/n
//
// With n = 0 it returns 0 and 1. Source: E. B. Wilson (1927), Journal of the
// American Statistical Association 22, 209-212.
func Wilson(hits, n int, level float64) (low, high float64) {
	if hits < 0 || hits > n {
		panic(fmt.Sprintf("stats: %d hits among %d", hits, n))
	}
	if n == 0 {
		return 0, 1
	}
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	size := float64(n)
	p := float64(hits) / size
	center := p + z*z/(2*size)
	half := z * math.Sqrt(p*(1-p)/size+z*z/(4*size*size))
	low, high = (center-half)/(1+z*z/size), (center+half)/(1+z*z/size)
	// At the ends the limits are exact, but for rounding.
	if hits == 0 {
		low = 0
	}
	if hits == n {
		high = 1
	}
	return low, high
}

// Share is a proportion with its 95 % Wilson limits.
type Share struct {
	Hits, N          int
	Value, Low, High float64 // Value is 0 when N is
}

// NewShare returns the share of hits among n.
func NewShare(hits, n int) Share {
	s := Share{Hits: hits, N: n}
	s.Low, s.High = Wilson(hits, n, 0.95)
	if n > 0 {
		s.Value = float64(hits) / float64(n)
	}
	return s
}

// Coverage returns the share of sale prices inside their stated ranges, limits
// included. The slices have equal length.
func Coverage(ranges []Range, prices []float64) Share {
	if len(ranges) != len(prices) {
		panic(fmt.Sprintf("stats: %d ranges but %d prices", len(ranges), len(prices)))
	}
	hits := 0
	for i, r := range ranges {
		if r.Low <= prices[i] && prices[i] <= r.High {
			hits++
		}
	}
	return NewShare(hits, len(ranges))
}

// Promise is a stated chance and what came of it.
type Promise struct {
	Chance float64 // in [0, 1]
	Kept   bool
}

// Calibration judges stated chances. The Brier score is the mean of
// (chance − outcome)², 0 to 1, lower being better; over bands k with n_k
// promises of mean chance f_k, kept in a share o_k, and the overall share o,
//
//	Reliability = Σ n_k (f_k − o_k)² / n      smaller is better
//	Resolution  = Σ n_k (o_k − o)² / n        larger is better
//	Uncertainty = o (1 − o)
//	Brier       = Reliability − Resolution + Uncertainty + WithinBand
//
// WithinBand is 0 when all chances of a band are equal. Sources: G. W. Brier
// (1950), Monthly Weather Review 78, 1-3; A. H. Murphy (1973), Journal of
// Applied Meteorology 12, 595-600; the last term: D. B. Stephenson,
// C. A. S. Coelho and I. T. Jolliffe (2008), Weather and Forecasting 23, 752-757.
type Calibration struct {
	N                                                       int
	Brier, Reliability, Resolution, Uncertainty, WithinBand float64

	LogLoss *float64 // mean of −log(chance given to what came); nil after a wrong certainty
	Bands   []CalibrationBand
}

// CalibrationBand sets stated chances from From to To against what came of
// them. To is left out, but for 1.
type CalibrationBand struct {
	From, To   float64
	MeanChance float64
	Kept       Share
}

// Calibrate groups promises into bands with the given inner edges, rising and
// between 0 and 1; empty bands are left out. With no edges each distinct
// chance is a band of its own.
func Calibrate(promises []Promise, edges ...float64) (*Calibration, error) {
	if len(promises) == 0 {
		return nil, errors.New("calibration: no promises")
	}
	for i, p := range promises {
		if !(p.Chance >= 0 && p.Chance <= 1) {
			return nil, fmt.Errorf("calibration: promise %d has a chance of %v", i, p.Chance)
		}
	}
	sorted := slices.Clone(promises)
	slices.SortStableFunc(sorted, func(a, b Promise) int {
		switch {
		case a.Chance < b.Chance:
			return -1
		case a.Chance > b.Chance:
			return 1
		}
		return 0
	})
	c := &Calibration{N: len(promises), LogLoss: logLoss(promises)}
	for len(sorted) > 0 {
		band := CalibrationBand{From: sorted[0].Chance, To: sorted[0].Chance}
		if len(edges) > 0 {
			band.From, band.To = bandOf(sorted[0].Chance, edges)
		}
		size := bandSize(sorted, band.To, len(edges) > 0)
		c.addBand(band, sorted[:size])
		sorted = sorted[size:]
	}
	c.finish()
	return c, nil
}

// logLoss returns the mean of −log(chance given to what came), or nil when that
// is infinite.
func logLoss(promises []Promise) *float64 {
	sum := 0.0
	for _, p := range promises {
		given := 1 - p.Chance
		if p.Kept {
			given = p.Chance
		}
		sum -= math.Log(given) / float64(len(promises))
	}
	if math.IsInf(sum, 1) {
		return nil
	}
	return &sum
}

// bandOf returns the edges around a chance.
func bandOf(chance float64, edges []float64) (from, to float64) {
	to = 1
	for _, edge := range edges {
		if chance < edge {
			return from, edge
		}
		from = edge
	}
	return from, to
}

// bandSize counts the leading promises that lie in a band ending at to.
func bandSize(sorted []Promise, to float64, open bool) int {
	for i, p := range sorted {
		if p.Chance > to || open && to < 1 && p.Chance == to {
			return i
		}
	}
	return len(sorted)
}

// addBand adds a band and its part of the sums; finish divides them.
func (c *Calibration) addBand(band CalibrationBand, promises []Promise) {
	kept, sum := 0, 0.0
	for _, p := range promises {
		sum += p.Chance
		if p.Kept {
			kept++
		}
	}
	band.Kept = NewShare(kept, len(promises))
	band.MeanChance = sum / float64(len(promises))
	for _, p := range promises {
		outcome := 0.0
		if p.Kept {
			outcome = 1
		}
		c.Brier += (p.Chance - outcome) * (p.Chance - outcome)
		off := p.Chance - band.MeanChance
		c.WithinBand += off*off - 2*off*(outcome-band.Kept.Value)
	}
	gap := band.MeanChance - band.Kept.Value
	c.Reliability += float64(len(promises)) * gap * gap
	c.Bands = append(c.Bands, band)
}

// finish turns the sums of addBand into means.
func (c *Calibration) finish() {
	n, kept := float64(c.N), 0
	for _, band := range c.Bands {
		kept += band.Kept.Hits
	}
	overall := float64(kept) / n
	for _, band := range c.Bands {
		gap := band.Kept.Value - overall
		c.Resolution += float64(band.Kept.N) * gap * gap / n
	}
	c.Uncertainty = overall * (1 - overall)
	c.Brier /= n
	c.WithinBand /= n
	c.Reliability /= n
}
