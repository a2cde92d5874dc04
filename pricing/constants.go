package pricing

import (
	"math"

	"askwright/pricing/hedonic"
)

// Defaults and priors. They come from trials on synthetic markets of 0 to
// 5 000 listings; docs/pricing.md tells what each was tried against.
const (
	// Design is the version of the model: of the columns of the value model and
	// of what Rates hold. What was stored under another one is built anew.
	Design = hedonic.Design

	namedWeight = 0.2 // below, a sale is shown to its owner as a likely slip of the pen

	frailtyShape  = 2.0  // k
	messageWeight = 0.25 // ω: how much a message counts as evidence of demand
	gammaMin      = 2.0  // bounds of the elasticity in use
	gammaMax      = 10.0

	openingPremium       = 0.05 // d̄ beforehand
	openingPremiumWeight = 5.0  // listings that it is worth
	negotiationRatio     = 0.95 // ρ beforehand
	negotiationWeight    = 5.0  // sales that it is worth

	// ElasticityListings are as many as it takes to learn the elasticity: with
	// fewer it stays near its prior, whatever the truth (3.7, 4.7 and 5.4 at 300
	// listings of flat, usual and steep markets).
	ElasticityListings = 300

	askCap         = 1.10 // of the larger of typical ask and estimate: nothing above has been tried
	lowestAsk      = 0.5  // candidates start at exp(-lowestAsk) of the smaller one
	quickFactor    = 3.0  // holding cost in the quick choice; its inverse in the patient one
	evenOdds       = 0.5
	maxCandidates  = 400 // asks considered
	planAsks       = 40  // of them for plans
	intervalLevel  = 0.8
	wideRatio      = 3.0 // of the interval's ends: above, no ask without an estimate
	warnRatio      = 2.0
	FewSales       = 8    // below, the fitted value is not used at all
	minDaysAtAsk   = 7    // since a pause, before a step
	checkDays      = 14   // that cheap checks have before the drop behind them
	planInertia    = 0.02 // of the ask: what another plan than the one told must gain
	flagOdds       = 0.70 // that a step pays, from which a listing is stale
	flagOddsQuiet  = 0.80 // the same while the whole group is slow
	repriceLow     = 0.60
	repriceHigh    = 0.97
	lowestShare    = 0.35 // of the present ask: no plan ends below
	reviewAsks     = 19   // below the present one, of the plan of a listing
	renewAsks      = 11
	refinishAsks   = 14
	renewHours     = 0.5 // new photos and a post; common practice, no source
	maxRateRows    = 20000
	minExposure    = 0.5   // days, of a whole listing
	minRowExposure = 0.001 // days, of a row
	midQuantiles   = 40
	weakGross      = 0.5

	pulseDays     = 35
	pulseMessages = 10.0 // a usual pace is taken to have been seen for as many
	pulseNeeds    = 20.0 // usual in them, at least
	quietPulse    = 0.70 // below, the whole group is slow
	quietPulseFew = 0.65 // the same while few listings have ended
	quietFew      = 50
	quietOver     = 0.80 // above, it is no more
	quietWeeks    = 8    // looked back for when that was

	// The seller's estimate against the fit, beforehand: log, and worth so many listings.
	estimateSD     = 0.25
	estimateWeight = 5.0
	ownSales       = 10.0 // that the spreads of own prices expected beforehand are worth

	// A sale price beyond a factor of two from its last ask counts for less,
	// the more so the farther it is: see saleWeight.
	trustedRatio = math.Ln2

	minPrice = 1e-6 // prices outside are refused as input errors
	maxPrice = 1e12

	// Bounds of logarithmic covariates in the rate models: one absurd ask or
	// estimate must not decide the elasticity of all.
	maxLogAsk     = 1.0
	maxLogPremium = 0.75

	// An estimate farther from the fit than is usual counts for less, with its
	// listing's days and sale: by the square of how many times farther.
	usualPremium = 2.33 // robust standard deviations
	leastSpread  = 0.1  // of them, log
)

// ageEdges are the beginnings of the age bins, in active days.
var ageEdges = [...]float64{0, 7, 21, 60}

const ageBins = len(ageEdges)

// normal is the prior of a coefficient.
type normal struct{ mean, sd float64 }

// ratePriors are the priors of one rate model.
type ratePriors struct {
	alpha, gamma, delta, category normal
	season                        normal // of each of cos and sin
	look                          normal // of finish and color
	eta                           [ageBins]normal
}

func salePriors() ratePriors {
	return ratePriors{
		alpha:    normal{math.Log(1.0 / 40), 0.7},
		gamma:    normal{5, 1},
		delta:    normal{3, 1.5},
		category: normal{0, 0.3},
		season:   normal{0, 0.2},
		look:     normal{0, 0.25},
		eta:      agePriors(),
	}
}

func messagePriors() ratePriors {
	return ratePriors{
		alpha:    normal{math.Log(0.2), 1},
		gamma:    normal{2.5, 1},
		delta:    normal{1.5, 1},
		category: normal{0, 0.3},
		season:   normal{0, 0.2},
		look:     normal{0, 0.25},
		eta:      agePriors(),
	}
}

func agePriors() [ageBins]normal {
	return [ageBins]normal{{0.4, 0.3}, {0.1, 0.3}, {0, 0.3}, {-0.2, 0.3}}
}

// ComparableRows is how many comparables a suggestion is shown with.
const ComparableRows = 5
