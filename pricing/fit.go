package pricing

import (
	"cmp"
	"math"
	"slices"

	"askwright/pricing/hedonic"
)

// Fit fits the value, rate and message models to what is known on day.
func Fit(h History, day Date) *Model {
	v := newValueModel(NewStatistics(h, day), SaleRows(h, day))
	return &Model{value: v, rates: fitRates(v, Cut(h, day), day)}
}

// FitRates fits the rate and message models, with the values of s, which may
// rest on more sales than the history holds, and of its rows (see NewModel).
func FitRates(s *Statistics, rows []SaleRow, h History, day Date) Rates {
	return fitRates(newValueModel(s, rows), Cut(h, day), day)
}

// newRates returns the rates without any listing.
func newRates(day Date) Rates {
	return Rates{
		FittedOn:    day,
		Sale:        priorRate(salePriors()),
		Message:     priorRate(messagePriors()),
		Opening:     openingPremium,
		Spread:      estimateSD * estimateSD,
		OwnSpread:   estimateSD,
		PriceSpread: hedonic.PriorSpread,
		Negotiation: negotiationRatio,
		ByLevel:     map[string]int{},
	}
}

func fitRates(v *valueModel, h History, day Date) Rates {
	r := newRates(day)
	listings := newest(sorted(h), maxRateRows)
	r.negotiate(v, listings)
	r.watch(listings, day)
	markets := r.markets(v, listings, day)
	if len(markets) == 0 {
		return r
	}
	r.Sale = fitRate(markets, salePriors(), false)
	r.Message = fitRate(markets, messagePriors(), true)
	r.spreads(v, markets)
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
// and notes the sales far from their asks or from what the others say.
func (r *Rates) negotiate(v *valueModel, listings []Listing) {
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
		row, _ := NewSaleRow(l)
		if trust := v.WeightOf(row); w < 1 || trust < namedWeight {
			w := min(w, trust)
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
	r.ViewsPerDay = median(views)
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
// d = log e − f against the mean, each with its weight u (see premiumWeights):
//
//	d̄ = (Σ u d + 5·0.05) / (Σ u + 5),  variance (Σ u (d − d̄)² + 5·0.25²) / (Σ u + 5).
//
// Below 8 sales the fit says nothing: then the estimate is taken as the typical
// ask, and a listing without one is left out.
func (r *Rates) markets(v *valueModel, listings []Listing, day Date) []market {
	out := make([]market, 0, len(listings))
	premiums := make([]float64, 0, len(listings)) // NaN: no estimate
	for _, l := range listings {
		m := market{piece: l.Piece, levels: levelsOf(l.Attributes), rows: l.exposures(day), ended: l.Outcome != Open}
		e, known := l.estimate()
		if len(m.rows) == 0 || (v.sales < FewSales && !known) {
			continue
		}
		m.known = l.countMessages(m.rows)
		m.rows, _ = entered(m.rows, l.RecordedFrom)
		d := math.NaN()
		if v.sales < FewSales {
			m.logTyp = math.Log(e) - openingPremium
		} else {
			m.logTyp, m.off, m.leverage = v.fitted(l)
			if m.told = known && m.leverage > 0; known {
				d = math.Log(e) - m.logTyp
				r.Estimates++
			}
		}
		out = append(out, m)
		premiums = append(premiums, d)
	}
	weights := premiumWeights(premiums)
	sum, total := openingPremium*openingPremiumWeight, openingPremiumWeight
	for i, d := range premiums {
		if !math.IsNaN(d) {
			sum, total = sum+weights[i]*d, total+weights[i]
		}
	}
	r.Opening = sum / total
	around := estimateWeight * estimateSD * estimateSD
	for i, d := range premiums {
		out[i].weight = weights[i]
		out[i].logTyp += r.Opening
		if !math.IsNaN(d) {
			out[i].premium = d - r.Opening
			around += weights[i] * out[i].premium * out[i].premium
		}
	}
	r.Spread = around / (total - openingPremiumWeight + estimateWeight)
	return out
}

// premiumWeights are those of listings in the rates: 1 while an estimate lies
// as far from the fit as is usual, and less the farther it lies beyond,
//
//	u = min(1, (2.33/z)²),  z = |d − median d| / max(0.1, 1.48 MAD).
//
// So a slip of the pen in ask and estimate alike decides neither the elasticity
// nor what estimates are worth. Without an estimate (NaN) it is 1.
func premiumWeights(premiums []float64) []float64 {
	known := slices.DeleteFunc(slices.Clone(premiums), math.IsNaN)
	weights := make([]float64, len(premiums))
	middle := median(known)
	for i, d := range known {
		known[i] = math.Abs(d - middle)
	}
	spread := max(leastSpread, 1.48*median(known))
	for i, d := range premiums {
		weights[i] = 1
		if z := math.Abs(d-middle) / spread; z > usualPremium {
			weights[i] = (usualPremium / z) * (usualPremium / z)
		}
	}
	return weights
}

// median of some numbers, which it sorts; 0 of none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	return (x[len(x)/2] + x[(len(x)-1)/2]) / 2
}

// fitted is the fit of a listing: of a sale at its date, by all other sales,
// with what its price was off and the leverage, 0 where the price is doubtful; of
// another one at its list date.
func (v *valueModel) fitted(l Listing) (at, off, leverage float64) {
	if s, ok := NewSaleRow(l); ok {
		at, leverage = v.WithoutSale(s)
		if v.WeightOf(s) < namedWeight {
			leverage = 0
		}
		return at, s.Y - at, leverage
	}
	return v.Location(v.describe(l.Attributes, l.ListedOn).X), 0, 0
}

// feelPulse compares the messages of the last weeks with those usual in the year
// at their asks and ages, over all listings then on offer, those that ended since
// among them. What was left unsold before them drew less then, too:
//
//	pulse = (C_w + 10) / (E_w + E_o L + 10),  L = (C_b + 10) / (E_b + 10)
//
// with E_w usual in the weeks on what came up in them, E_o on what is older, and
// b before the weeks. It tells a slow season from a slow piece.
// It does not enter the rates: lulls tend to last, and allowing for them made
// forecasts worse. A slow season ends later than it begins, so that it is told
// from the weeks up to now one after another.
func (r *Rates) feelPulse(markets []market, day Date) {
	ended := 0
	for _, m := range markets {
		if m.ended {
			ended++
		}
	}
	begins := quietPulse
	if ended < quietFew {
		begins = quietPulseFew
	}
	rows := r.notes(markets)
	for week := quietWeeks; week >= 0; week-- {
		r.Pulse = pulseOn(rows, day-Date(7*week))
		switch {
		case r.Pulse == 0 || r.Pulse > quietOver:
			r.Quiet = false
		case r.Pulse < begins:
			r.Quiet = true
		}
	}
}

// pulseOn is the pulse on a day; zero: too few messages to tell.
func pulseOn(listings [][]noted, day Date) float64 {
	weeks := Interval{day - pulseDays, day}
	var counted, usualNew, usualOld, countedBefore, usualBefore float64
	for _, rows := range listings {
		if n := len(rows); rows[n-1].stretch.To <= weeks.From || rows[0].stretch.From >= day {
			continue
		}
		usual := &usualNew
		if rows[0].stretch.From < weeks.From {
			usual = &usualOld
		}
		for _, e := range rows {
			share, before := overlap(e.stretch, weeks), overlap(e.stretch, Interval{0, weeks.From})
			counted, *usual = counted+share*e.counted, *usual+share*e.usual
			countedBefore, usualBefore = countedBefore+before*e.counted, usualBefore+before*e.usual
		}
	}
	usual := usualNew + usualOld*(countedBefore+pulseMessages)/(usualBefore+pulseMessages)
	if usual < pulseNeeds {
		return 0
	}
	return (counted + pulseMessages) / (usual + pulseMessages)
}

// noted is a stretch with its messages and those usual in the year.
type noted struct {
	stretch        Interval
	counted, usual float64
}

// notes are those of the listings whose messages are known.
func (r *Rates) notes(markets []market) [][]noted {
	var out [][]noted
	for _, m := range markets {
		if !m.known {
			continue
		}
		var rows []noted
		for i, e := range m.rows {
			if e.before {
				continue // nobody recorded its messages
			}
			usual := r.Message.hazard(m.levels, m.rows[i:i+1], m.logTyp, m.premium) / r.Message.season(e.stretch)
			rows = append(rows, noted{e.stretch, e.messages, usual})
		}
		if len(rows) > 0 {
			out = append(out, rows)
		}
	}
	return out
}

// overlap is the share of a stretch that lies in a window.
func overlap(s, window Interval) float64 {
	if s.From >= s.To {
		return 0
	}
	return days(max(s.From, window.From), min(s.To, window.To)) / days(s.From, s.To)
}
