package pricing

import (
	"math"

	"askwright/pricing/furniture"
	"askwright/pricing/refinish"
)

// Query asks for a suggestion.
type Query struct {
	furniture.Attributes
	Estimate   float64 // the seller's own, where it counts; zero: none
	WithinDays int     // for ChanceSold; zero: 30

	// Standing is the open listing that the subject is on, with its earlier
	// listings of the same piece; nil before it is listed. With it, age and
	// demand so far enter as they do in Review.
	Standing *Standing
}

// Standing is an open listing and what the same piece did before.
type Standing struct {
	Listing Listing
	Earlier []Listing
	Kept    *Kept           // of its next step, as told before; nil: nothing
	Done    map[string]Date // when each of its checks was done
}

// Chance is a probability of a sale within so many active days.
type Chance struct {
	WithinDays  int
	Probability float64
}

// fitFor is f: the value model's, or the estimate less the usual premium while
// there are too few sales. Of a piece with levels that were never sold it is
// between the two, weighted by their certainty:
//
//	f = x'β̂ + w (log e − d̄ − x'β̂),  w = v / (v + var d),  v = s² Σ unseen (τ g / s0)²
func (m *Model) fitFor(a furniture.Attributes, estimate float64, on Date, s Settings) float64 {
	if m.value.sales < s.MinSales && estimate > 0 {
		return math.Log(estimate) - m.rates.Opening
	}
	r := m.value.describe(a, on)
	f := m.value.Location(r.X)
	if estimate > 0 && r.Unseen > 0 {
		v := m.value.Spread() * m.value.Spread() * r.Unseen
		f += v / (v + m.rates.Spread) * (math.Log(estimate) - m.rates.Opening - f)
	}
	return f
}

func ref[T any](v T) *T { return &v }

// Basis says what an answer rests on.
type Basis struct {
	Sold, Unsold, SameCategory int
	FittedOn                   Date
}

func (m *Model) basis(category string) Basis {
	return Basis{
		Sold:         m.value.sales,
		Unsold:       m.rates.Unsold,
		SameCategory: m.value.InCategory(category),
		FittedOn:     m.rates.FittedOn,
	}
}

// Reasons of refusals.
const (
	TooFewSales      = "too_few_sales"
	IntervalTooWide  = "interval_too_wide"
	HourValueUnknown = "hour_value_unknown"
)

// Labels of answers.
const (
	LabelLowConfidence = "low_confidence"
	LabelFromEstimate  = "from_your_estimate"
)

// Settings are what a group decides; see DefaultSettings.
type Settings struct {
	FeeRate       float64 // φ, share of the sale price
	SpacePrice    float64 // of one square metre of floor for one day; zero: HoldingRate is used
	HoldingRate   float64 // a day, share of the typical ask, where no space price is set
	SalvageRate   float64 // worth when never sold, share of the typical ask
	HorizonDays   int     // T
	StepDays      int     // active days between two decisions on the ask, 14 to 28
	HourValue     float64 // of one hour of the member's work; zero: unknown
	MinimumProfit float64 // wanted on any piece

	FlagGain  float64 // share of the ask that a remedy must gain
	ClearOdds float64 // from which a flag is "clear"
	MinSales  int     // below which flags and prices are refused

	Told struct{ Fee, Holding, Salvage bool } // which of them the group set itself

	RefinishOptions []refinish.Option
	Workshop        refinish.Workshop // what work takes where no option tells
}

// Money is what an answer assumes of it, and what it would be with other space.
type Money struct {
	FeeShare, HoldingPerDay, HourValue, SalvageShare Assumed

	AskAtHalfHolding, AskAtDoubleHolding float64 // to begin with today; zero where there is no ask
}

// Assumed is an amount or a share.
type Assumed struct {
	Value float64
	IsSet bool // by the group, else it is the default
}

// money tells it, with what to ask today at another holding cost.
func (s Settings) money(o outlook, ask func(holding float64) float64) Money {
	return Money{
		FeeShare: Assumed{o.fee, s.Told.Fee}, HoldingPerDay: Assumed{o.holding, s.Told.Holding},
		HourValue: Assumed{s.HourValue, s.HourValue > 0}, SalvageShare: Assumed{s.SalvageRate, s.Told.Salvage},
		AskAtHalfHolding: ask(o.holding / 2), AskAtDoubleHolding: ask(2 * o.holding),
	}
}

// step is the number of active days between two decisions.
func (s Settings) step() float64 { return clamp(float64(s.StepDays), 14, 28) }

// DefaultSettings are those of a new group.
func DefaultSettings() Settings {
	return Settings{
		HoldingRate: 0.002,
		SalvageRate: 0.15,
		HorizonDays: 180,
		StepDays:    21,
		FlagGain:    0.05,
		ClearOdds:   0.75,
		MinSales:    FewSales,
	}
}
