package pricing

import (
	"cmp"
	"math"
	"slices"
)

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
		if len(m.rows) == 0 || (v.sales < FewSales && !known) {
			continue
		}
		m.known = l.countMessages(m.rows)
		d := math.NaN()
		if v.sales < FewSales {
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
	return v.Location(v.describe(l.Attributes, l.ListedOn).x)
}

// feelPulse compares the messages of the last weeks on all listings with those
// usual in the year at their asks and ages:
//
//	pulse = (Σ C + 10) / (Σ M + 10)
//
// It tells a slow season from a slow piece. It does not enter the rates: lulls
// tend to last, and allowing for them made forecasts worse.
func (r *Rates) feelPulse(markets []market, day Date) {
	window := Interval{day - pulseDays, day}
	counted, usual, listings := 0.0, 0.0, 0
	for _, m := range markets {
		if !m.known {
			continue
		}
		before := usual
		for _, e := range m.rows {
			share := overlap(e.stretch, window)
			if share == 0 {
				continue
			}
			e.days *= share
			expected := r.Message.hazard(m.levels, []exposure{e}, m.logTyp, m.premium)
			usual += expected / r.Message.season(e.stretch)
			counted += share * e.messages
		}
		if usual > before {
			listings++
		}
	}
	if listings >= pulseListings && usual >= pulseMessages {
		r.Pulse = (counted + pulseMessages) / (usual + pulseMessages)
	}
}

// quiet reports whether the whole group is slow.
func (r *Rates) quiet() bool { return IsQuiet(r.Pulse) }

// IsQuiet reports whether a group with such a pulse is slow as a whole.
func IsQuiet(pulse float64) bool { return pulse > 0 && pulse < quietPulse }

// overlap is the share of a stretch that lies in a window.
func overlap(s, window Interval) float64 {
	if s.From >= s.To {
		return 0
	}
	return days(max(s.From, window.From), min(s.To, window.To)) / days(s.From, s.To)
}
