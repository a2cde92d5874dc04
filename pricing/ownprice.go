package pricing

import (
	"math"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// OwnPrice is what the seller thinks of the price, and how far it counts.
type OwnPrice struct {
	Amount     float64
	Share      float64 // of where it differs from the sales
	IsFirstAsk bool    // which stands in for it
	Doubtful   bool    // it is farther from the sales than one in a thousand: it counts less, and is to be checked
	Usual      float64 // of such a piece, by the sales
}

// ownPrice is the seller's own judgement that counts for a query; zero: none.
func (q Query) ownPrice() float64 {
	if validPrice(q.Estimate) {
		return q.Estimate
	}
	if q.Standing == nil {
		return 0
	}
	own, _ := q.Standing.Listing.estimate()
	return own
}

func (m *Model) ownPrice(q Query, on Date, s Settings) *OwnPrice {
	if q.Estimate <= 0 {
		return nil
	}
	u := m.plausible(q.Attributes, q.Estimate, on, s)
	own := &OwnPrice{
		Amount: q.Estimate, Share: u * m.rates.ownShare(), Doubtful: u < 1,
		Usual: bounded(m.value.Location(m.value.describe(q.Attributes, on).X) + m.rates.Opening),
	}
	if q.Standing != nil {
		l := q.Standing.Listing
		own.IsFirstAsk = l.Estimate == 0 && len(l.Asks) > 0 && q.Estimate == l.Asks[0].Amount
	}
	return own
}

// ownShare is w = δ/γ, within 0 to 1: how far buyers have agreed with the seller
// where seller and sales differed. It is learned from the rates; sale prices
// follow the ask and would always say that the seller is right.
func (r *Rates) ownShare() float64 { return clamp(r.Sale.Delta/r.Sale.gamma(), 0, 1) }

// plausible is u, how far an own price can be believed: 1 while it lies within
// what one in a thousand exceeds, and falling with the square of the distance
// beyond,
//
//	u = min(1, (q/z)²),  z = |d − d̄| / (s_d √(1 + h)),  q = t_.999(2 a_n).
func (m *Model) plausible(a furniture.Attributes, own float64, on Date, s Settings) float64 {
	if m.value.sales < s.MinSales || own <= 0 {
		return 1
	}
	p := m.value.predict(m.value.describe(a, on))
	z := math.Abs(math.Log(own)-p.f-m.rates.Opening) / (m.rates.OwnSpread * math.Sqrt(1+p.h))
	if q := m.value.Conjugate.Quantile(0.999); z > q {
		return (q / z) * (q / z)
	}
	return 1
}

// likely is the sale price to expect if listed near the suggested ask, with the
// seller's own price where there is one,
//
//	f* = f + w u (d − d̄) ± t_.90(2 a_n) √(s_r² + (1 − w u)² s² h),
//
// and by the records alone; nil where there are too few sales. What the own price
// does not tell (u < 1) is as uncertain as without one.
func (m *Model) likely(a furniture.Attributes, own float64, on Date, s Settings) (likely, records *stats.Range) {
	if m.value.sales < s.MinSales {
		return nil, nil
	}
	p := m.value.predict(m.value.describe(a, on))
	records = ref(m.value.interval(p))
	if own <= 0 {
		return records, records
	}
	f := m.fitFor(a, own, on, s)
	u := m.plausible(a, own, on, s)
	share := u * m.rates.ownShare()
	at := f + share*(math.Log(own)-f-m.rates.Opening)
	alone := p.scale * m.value.Quantile(0.5+intervalLevel/2) / m.value.t80 // of the records, in the same units
	known := m.rates.PriceSpread*m.rates.PriceSpread + math.Pow((1-share)*m.value.Spread(), 2)*p.h
	half := m.value.t80 * math.Sqrt(u*known+(1-u)*alone*alone)
	likely = &stats.Range{Likely: bounded(at), Low: bounded(at - half), High: bounded(at + half), Level: intervalLevel}
	return likely, records
}

// spreads learns how far own prices lie from the fit, and how far sale prices
// from what both together say, of the sales with an own price, each judged by
// all other sales and weighed as in the rates:
//
//	s_d² = (10·0.8 s² + Σ u (d − d̄)² / (1 + h)) / (10 + Σ u)
//	s_r² = (10·0.4 s² + Σ u (y − f − w (d − d̄))² / (1 + h)) / (10 + Σ u)
//
// s is that of normal errors with the same 80 % range.
func (r *Rates) spreads(v *valueModel, markets []market) {
	variance := math.Pow(v.Spread()*v.Quantile(0.5+intervalLevel/2)/v.t80, 2) // as of normal errors with such ranges
	own, price, n := 0.8*ownSales*variance, 0.4*ownSales*variance, ownSales
	w := r.ownShare()
	for _, m := range markets {
		if !m.told {
			continue
		}
		own += m.weight * m.premium * m.premium / (1 + m.leverage)
		off := m.off - w*m.premium
		price += m.weight * off * off / (1 + m.leverage)
		n += m.weight
	}
	r.OwnSpread, r.PriceSpread = math.Sqrt(own/n), math.Sqrt(price/n)
}

// unseen names the attributes of a piece whose level no sale has: they change
// nothing but the width of the range.
func (m *Model) unseen(a furniture.Attributes) []string {
	var out []string
	for _, block := range [...]struct{ name, level string }{
		{"material", a.Material}, {"wood", a.Wood}, {"finish", a.Finish}, {"color", a.Color}, {"hardware", a.Hardware},
	} {
		if block.level != "" && m.sold(block.name+":"+block.level) == 0 {
			out = append(out, block.name)
		}
	}
	return out
}
