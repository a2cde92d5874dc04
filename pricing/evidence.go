package pricing

import "math"

// evidence is what the listings of one piece have shown so far.
type evidence struct {
	age      float64 // active days of the present listing
	hazard   float64 // H: expected sales
	expected float64 // M: expected messages, where they are known
	counted  float64 // C
	sales    float64 // of earlier listings

	// Of the present listing.
	own         float64 // H
	ownExpected float64 // M
	ownCounted  float64 // C
	known       bool    // its messages are

	late, lateExpected float64 // H and M in the weeks of the pulse
}

// k and r are the parameters of the frailty posterior
//
//	Z ~ Gamma(k + sales + ω C, k + H + ω M).
func (e evidence) k() float64 { return frailtyShape + e.sales + messageWeight*e.counted }

func (e evidence) r() float64 { return frailtyShape + e.hazard + messageWeight*e.expected }

// lull is what r has above its prior where the last weeks went at a pace.
func (e evidence) lull(pace float64) float64 {
	return e.hazard - (1-pace)*e.late + messageWeight*(e.expected-(1-pace)*e.lateExpected)
}

// evidence sums over the listings of a piece, each with its own look, fit and
// estimate. Listings with unknown messages count by their hazard alone.
func (m *Model) evidence(st Standing, on Date, s Settings) evidence {
	var e evidence
	for i, l := range append([]Listing{st.Listing}, st.Earlier...) {
		l = l.cut(on)
		rows := l.exposures(on)
		known := l.countMessages(rows)
		typical, premium := m.typicalAsk(l, s)
		levels := levelsOf(l.Attributes)
		hazard := m.rates.Sale.hazard(levels, rows, typical, premium)
		usual := m.rates.Message.hazard(levels, rows, typical, premium)
		e.hazard += hazard
		if m.rates.Quiet {
			late := partsIn(rows, Interval{on - pulseDays, on})
			e.late += m.rates.Sale.hazard(levels, late, typical, premium)
			if known {
				e.lateExpected += m.rates.Message.hazard(levels, late, typical, premium)
			}
		}
		if known {
			e.expected += usual
			for _, r := range rows {
				e.counted += r.messages
			}
		}
		if i == 0 {
			e.age = l.exposedDays(l.until(on))
			e.own, e.ownExpected, e.ownCounted, e.known = hazard, usual, e.counted, known
		} else if l.Outcome == Sold {
			e.sales++
		}
	}
	return e
}

// typicalAsk is the log of the typical ask of a listing at its list date, and
// its premium u (d − d̄).
func (m *Model) typicalAsk(l Listing, s Settings) (typical, premium float64) {
	estimate, known := l.estimate()
	if known {
		typical = m.fitFor(l.Attributes, estimate, l.ListedOn, s) + m.rates.Opening
		return typical, m.plausible(l.Attributes, estimate, l.ListedOn, s) * (math.Log(estimate) - typical)
	}
	if m.value.sales < s.MinSales {
		estimate = m.stand(l)
	}
	return m.fitFor(l.Attributes, estimate, l.ListedOn, s) + m.rates.Opening, 0
}

// stand is the estimate, or the first ask whatever it followed: the last
// resort while there are too few sales.
func (m *Model) stand(l Listing) float64 {
	if e, ok := l.estimate(); ok {
		return e
	}
	if asks := l.asks(); len(asks) > 0 {
		return asks[0].Amount
	}
	return 0
}
