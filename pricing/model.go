package pricing

import (
	"cmp"
	"math"
	"slices"
)

// Settings are what a group decides; see DefaultSettings.
type Settings struct {
	FeeRate       float64 // φ, share of the sale price
	SpacePrice    float64 // of one square metre of floor for one day; zero: HoldingRate is used
	HoldingRate   float64 // a day, share of the typical ask, where no space price is set
	SalvageRate   float64 // worth when never sold, share of the typical ask
	HorizonDays   int     // T
	HourValue     float64 // of one hour of the member's work; zero: unknown
	MinimumProfit float64 // wanted on any piece

	FlagGain  float64 // share of the ask that a remedy must gain
	ClearOdds float64 // from which a flag is "clear"
	MinSales  int     // below which flags and prices are refused

	RefinishOptions []RefinishOption
	Workshop        Workshop // what work takes where no option tells
}

// RefinishOption is a change of look with its price: as a group offers it, or
// as its work was reckoned.
type RefinishOption struct {
	Finish, Color string
	Materials     float64 // money
	Hours         float64
	DaysOut       int // out of the market
}

// Model is what a group's history says on a day. It is immutable and safe for
// concurrent use.
type Model struct {
	value *valueModel
	rates Rates
}

// Rates hold the fitted rate models and what else is learned from how
// listings went; all of it can be stored as JSON or gob.
//
// All of it is as of FittedOn, also what moves by itself as days pass: the
// exposure of open listings, which weighs little among all that ended; the
// pulse, which looks four weeks back; the opening premium d̄ and the counts,
// which are of the listings that the coefficients rest on and mean nothing
// beside others. So a fit is stored and used whole. What depends on the day of
// an answer (the age, exposure and messages of its listing, the season ahead)
// is no part of it: answers take that from the listing's own facts.
type Rates struct {
	FittedOn Date
	Sale     RateFit // sales per active day
	Message  RateFit // messages per active day

	Opening     float64 // d̄: mean log of the estimate over the likely sale price
	Spread      float64 // variance of that log
	Estimates   int     // that both rest on
	Negotiation float64 // ρ: mean ratio of sale price to last ask

	Listings    int            // used
	Unsold      int            // open or withdrawn among them
	ByLevel     map[string]int // by category, finish and color: "finish:painted"
	Pulse       float64        // messages of all in the last weeks over those usual in the year; zero: too few to tell
	ViewsPerDay float64        // median over the listings with known views; zero: none
	Suspicious  []SuspiciousSale
}

// Fit fits the value, rate and message models to what is known on day.
func Fit(h History, day Date) *Model {
	v := newValueModel(NewStatistics(h, day))
	return &Model{value: v, rates: fitRates(v, Cut(h, day), day)}
}

// FitRates fits the rate and message models, with the values of s, which may
// rest on more sales than the history holds.
func FitRates(s *Statistics, h History, day Date) Rates {
	return fitRates(newValueModel(s), Cut(h, day), day)
}

// NewModel joins the newest statistics with stored rates.
func NewModel(s *Statistics, r Rates) *Model { return &Model{value: newValueModel(s), rates: r} }

// FittedOn is the day that the rate models were fitted for.
func (m *Model) FittedOn() Date { return m.rates.FittedOn }

// newRates returns the rates without any listing.
func newRates(day Date) Rates {
	return Rates{
		FittedOn:    day,
		Sale:        priorRate(salePriors()),
		Message:     priorRate(messagePriors()),
		Opening:     openingPremium,
		Spread:      estimateSD * estimateSD,
		Negotiation: negotiationRatio,
		ByLevel:     map[string]int{},
	}
}

func fitRates(v *valueModel, h History, day Date) Rates {
	r := newRates(day)
	listings := newest(sorted(h), maxRateRows)
	r.negotiate(listings)
	r.watch(listings, day)
	markets := r.markets(v, listings, day)
	if len(markets) == 0 {
		return r
	}
	r.Sale = fitRate(markets, salePriors(), false)
	r.Message = fitRate(markets, messagePriors(), true)
	r.feelPulse(markets, day)
	return r
}

// newest keeps the n listings that ended last, open ones first, and orders
// them by piece.
func newest(listings []Listing, n int) []Listing {
	if len(listings) > n {
		slices.SortStableFunc(listings, func(a, b Listing) int { return cmp.Compare(b.lastDay(), a.lastDay()) })
		listings = listings[:n]
	}
	slices.SortStableFunc(listings, func(a, b Listing) int {
		return cmp.Or(cmp.Compare(a.Piece, b.Piece), cmp.Compare(a.ID, b.ID), cmp.Compare(a.ListedOn, b.ListedOn))
	})
	return listings
}

// lastDay orders listings by their end.
func (l Listing) lastDay() Date {
	if l.EndedOn.IsZero() {
		return math.MaxInt32
	}
	return l.EndedOn
}

// negotiate estimates ρ = exp((Σ w log(price/ask) + 5 log 0.95) / (Σ w + 5))
// and notes the sales far from their asks.
func (r *Rates) negotiate(listings []Listing) {
	sum, weight := negotiationWeight*math.Log(negotiationRatio), negotiationWeight
	for _, l := range listings {
		if l.Outcome != Sold || !validPrice(l.SalePrice) {
			continue
		}
		ask, ok := l.askOn(l.EndedOn)
		if !ok {
			continue
		}
		w := saleWeight(l)
		sum += w * math.Log(l.SalePrice/ask)
		weight += w
		if w < 1 {
			r.Suspicious = append(r.Suspicious, SuspiciousSale{ID: l.ID, SalePrice: l.SalePrice, Ask: ask, Weight: w})
		}
	}
	r.Negotiation = math.Exp(sum / weight)
	slices.SortStableFunc(r.Suspicious, func(a, b SuspiciousSale) int {
		return cmp.Or(cmp.Compare(a.Weight, b.Weight), cmp.Compare(a.ID, b.ID))
	})
}

// watch counts the listings and takes the median of views per active day.
func (r *Rates) watch(listings []Listing, day Date) {
	var views []float64
	for _, l := range listings {
		r.Listings++
		for b, name := range levelsOf(l.Attributes) {
			r.ByLevel[rateBlocks[b]+":"+name]++
		}
		if l.Outcome != Sold {
			r.Unsold++
		}
		if v, ok := l.viewsPerDay(day); ok {
			views = append(views, v)
		}
	}
	if len(views) > 0 {
		slices.Sort(views)
		r.ViewsPerDay = (views[len(views)/2] + views[(len(views)-1)/2]) / 2
	}
}

// viewsPerDay is false where views are unknown.
func (l Listing) viewsPerDay(day Date) (float64, bool) {
	if len(l.Views) == 0 || l.Observed {
		return 0, false
	}
	most := 0
	for _, v := range l.Views {
		most = max(most, v.Count)
	}
	return float64(most) / math.Max(minExposure, l.exposedDays(l.until(day))), true
}

// markets prepares the listings for the rate models: the fit of each (of a
// sale without itself), its typical ask A = exp(f + d̄) and its opening premium
// d = log e − f against the mean
//
//	d̄ = (Σ d + 5·0.05) / (m + 5),  variance (Σ (d − d̄)² + 5·0.25²) / (m + 5).
//
// Below 8 sales the fit says nothing: then the estimate is taken as the typical
// ask, and a listing without one is left out.
func (r *Rates) markets(v *valueModel, listings []Listing, day Date) []market {
	out := make([]market, 0, len(listings))
	premiums := make([]float64, 0, len(listings)) // NaN: no estimate
	sum := openingPremium * openingPremiumWeight
	for _, l := range listings {
		m := market{piece: l.Piece, levels: levelsOf(l.Attributes), rows: l.exposures(day)}
		e, known := l.estimate()
		if len(m.rows) == 0 || (v.sales < fewSales && !known) {
			continue
		}
		m.known = l.countMessages(m.rows)
		d := math.NaN()
		if v.sales < fewSales {
			m.logTyp = math.Log(e) - openingPremium
		} else {
			m.logTyp = v.fitted(l)
			if known {
				d = clamp(math.Log(e)-m.logTyp, -maxLogPremium, maxLogPremium)
				sum += d
				r.Estimates++
			}
		}
		out = append(out, m)
		premiums = append(premiums, d)
	}
	r.Opening = sum / (float64(r.Estimates) + openingPremiumWeight)
	around := estimateWeight * estimateSD * estimateSD
	for _, d := range premiums {
		if !math.IsNaN(d) {
			around += (d - r.Opening) * (d - r.Opening)
		}
	}
	r.Spread = around / (float64(r.Estimates) + estimateWeight)
	for i, d := range premiums {
		out[i].logTyp += r.Opening
		if !math.IsNaN(d) {
			out[i].premium = d - r.Opening
		}
	}
	return out
}

// fitted is the fit of a listing: of a sale at its date, by all other sales;
// of another one at its list date.
func (v *valueModel) fitted(l Listing) float64 {
	if s, ok := NewSaleRow(l); ok {
		return v.withoutSale(s)
	}
	return v.location(v.describe(l.Attributes, l.ListedOn).x)
}
