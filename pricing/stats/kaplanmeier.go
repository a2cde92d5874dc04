package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Lifetime is how long one listing was seen on the market, and whether a sale
// ended it. Without a sale the listing is censored: it would have sold later.
type Lifetime struct {
	Days float64 // not negative
	Sold bool
}

// SurvivalCurve is the Kaplan–Meier estimate of S(t), the share of listings
// still unsold after t days.
type SurvivalCurve struct {
	N, Sales int
	Steps    []SurvivalStep // at the days with sales, rising
	LastDay  float64        // longest lifetime; nothing is known beyond it
}

// SurvivalStep is the curve from one day with sales on, to the next.
type SurvivalStep struct {
	Day           float64
	AtRisk, Sales int
	Survival      float64 // S, from this day on
	StdErr        float64 // Greenwood's, of S; 0 where S is 0 and it has no value
	Hazard        float64 // cumulative, Nelson–Aalen

	greenwood float64 // Σ d/(n (n − d)), the variance of log S
}

// KaplanMeier returns the product-limit estimate from lifetimes in any order.
// With d_i sales among n_i listings at risk on day t_i,
//
//	S(t)      = Π_{t_i <= t} (1 − d_i/n_i)
//	var S(t)  = S(t)² Σ_{t_i <= t} d_i / (n_i (n_i − d_i))      (Greenwood)
//	H(t)      = Σ_{t_i <= t} d_i / n_i                          (Nelson–Aalen)
//
// A listing censored on a day is still at risk on that day. Sources:
// E. L. Kaplan and P. Meier (1958), Journal of the American Statistical
// Association 53, 457-481; M. Greenwood (1926), The Natural Duration of
// Cancer, appendix.
func KaplanMeier(lives []Lifetime) (*SurvivalCurve, error) {
	if len(lives) == 0 {
		return nil, errors.New("survival curve: no listings")
	}
	for i, l := range lives {
		if !(l.Days >= 0) || math.IsInf(l.Days, 1) {
			return nil, fmt.Errorf("survival curve: listing %d has %v days", i, l.Days)
		}
	}
	days := saleDays(lives)
	c := &SurvivalCurve{N: len(lives), LastDay: days.last}
	survival, greenwood, hazard := 1.0, 0.0, 0.0
	for i, day := range days.at {
		n, d := float64(days.atRisk[i]), float64(days.sales[i])
		survival *= 1 - d/n
		if d < n { // else S is 0
			greenwood += d / (n * (n - d))
		}
		hazard += d / n
		c.Sales += days.sales[i]
		c.Steps = append(c.Steps, SurvivalStep{
			Day: day, AtRisk: days.atRisk[i], Sales: days.sales[i],
			Survival: survival, StdErr: survival * math.Sqrt(greenwood), Hazard: hazard, greenwood: greenwood,
		})
	}
	return c, nil
}

// riskTable counts sales and listings at risk on each day with sales.
type riskTable struct {
	at            []float64
	atRisk, sales []int
	last          float64 // longest lifetime
}

func saleDays(lives []Lifetime) riskTable {
	sorted := slices.Clone(lives)
	slices.SortFunc(sorted, func(a, b Lifetime) int {
		switch {
		case a.Days < b.Days:
			return -1
		case a.Days > b.Days:
			return 1
		}
		return 0
	})
	table := riskTable{last: sorted[len(sorted)-1].Days}
	for i := 0; i < len(sorted); {
		atRisk, sales, day := len(sorted)-i, 0, sorted[i].Days
		for ; i < len(sorted) && sorted[i].Days == day; i++ {
			if sorted[i].Sold {
				sales++
			}
		}
		if sales > 0 {
			table.at = append(table.at, day)
			table.atRisk = append(table.atRisk, atRisk)
			table.sales = append(table.sales, sales)
		}
	}
	return table
}

// At returns S(days), the share still unsold after so many days.
func (c *SurvivalCurve) At(days float64) float64 {
	s := 1.0
	for _, step := range c.Steps {
		if step.Day > days {
			break
		}
		s = step.Survival
	}
	return s
}

// LimitKind says on which scale confidence limits of S are symmetric.
type LimitKind int

const (
	// LogLogLimits are S^exp(± z σ / log S), σ² = Σ d/(n (n − d)): always
	// inside (0, 1), and the best of the three for small groups.
	LogLogLimits LimitKind = iota
	// LogLimits are S exp(± z σ), cut at 1.
	LogLimits
	// PlainLimits are S ± z S σ, cut at 0 and 1.
	PlainLimits
)

// Limits returns the pointwise confidence limits of S from this step on. They
// are not ok where S is 0, for none are defined there. Source: J. P. Klein and M. L. Moeschberger
// (2003), Survival Analysis, 2nd ed., section 4.3.
func (s SurvivalStep) Limits(kind LimitKind, level float64) (low, high float64, ok bool) {
	if s.Survival == 0 {
		return 0, 0, false
	}
	half := distuv.UnitNormal.Quantile((1+level)/2) * math.Sqrt(s.greenwood)
	switch kind {
	case PlainLimits:
		low, high = s.Survival*(1-half), s.Survival*(1+half)
	case LogLimits:
		low, high = s.Survival*math.Exp(-half), s.Survival*math.Exp(half)
	default:
		log := math.Log(s.Survival)
		low, high = math.Pow(s.Survival, math.Exp(-half/log)), math.Pow(s.Survival, math.Exp(half/log))
	}
	return max(0, low), min(1, high), true
}

// survivalSlack lets S count as having reached a share in spite of rounding.
const survivalSlack = 1e-12

// Quantile returns the day by which the share p of the listings has sold: the
// first with S <= 1 − p. It is not ok when the curve does not get there.
func (c *SurvivalCurve) Quantile(p float64) (days float64, ok bool) {
	for _, step := range c.Steps {
		if step.Survival <= 1-p+survivalSlack {
			return step.Day, true
		}
	}
	return 0, false
}

// Median returns the day by which half of the listings have sold.
func (c *SurvivalCurve) Median() (days float64, ok bool) { return c.Quantile(0.5) }

// QuantileLimits returns the confidence limits of a quantile: the days on
// which the limits of S reach 1 − p, nil where they do not.
// Source: R. Brookmeyer and J. Crowley (1982), Biometrics 38, 29-41.
func (c *SurvivalCurve) QuantileLimits(p float64, kind LimitKind, level float64) (low, high *float64) {
	for _, step := range c.Steps {
		stepLow, stepHigh, ok := step.Limits(kind, level)
		if ok && low == nil && stepLow <= 1-p+survivalSlack {
			low = &step.Day
		}
		if ok && high == nil && stepHigh <= 1-p+survivalSlack {
			high = &step.Day
		}
	}
	return low, high
}

// RestrictedMean returns the mean number of days on the market when counting
// stops at the horizon, and its standard error:
//
//	mean      = ∫_0^τ S(t) dt
//	variance  = Σ_{t_i <= τ} (∫_{t_i}^τ S(t) dt)² d_i / (n_i (n_i − d_i))
//
// The horizon τ must not lie beyond LastDay unless all have sold: the mean is
// not known there. Source: Klein and Moeschberger (2003), section 4.5.
func (c *SurvivalCurve) RestrictedMean(horizon float64) (mean, stdErr float64, err error) {
	switch {
	case !(horizon >= 0):
		return 0, 0, fmt.Errorf("restricted mean: horizon of %v days", horizon)
	case horizon > c.LastDay && c.At(c.LastDay) > 0:
		return 0, 0, fmt.Errorf("restricted mean: %v days lie beyond the longest listing of %v", horizon, c.LastDay)
	}
	// From the last step back, so that area is the integral from t_i to τ.
	area, variance, end := 0.0, 0.0, horizon
	for _, step := range slices.Backward(c.Steps) {
		if step.Day > horizon {
			continue
		}
		area += step.Survival * (end - step.Day)
		end = step.Day
		if n, d := float64(step.AtRisk), float64(step.Sales); area > 0 {
			variance += area * area * d / (n * (n - d))
		}
	}
	return area + end, math.Sqrt(variance), nil
}
