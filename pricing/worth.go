package pricing

import (
	"math"
	"slices"
	"sort"

	"askwright/pricing/furniture"
	"askwright/pricing/stats"
)

// Worth is what a described piece is worth once it is ready to be listed, by
// the records and by its owner's own price: a t distribution of the log of its
// value, and what asks lead to at any value.
type Worth struct {
	Price    *stats.Range // by the records alone; nil: too few sales
	Value    float64      // log of the likely value
	Variance float64      // of that log
	Sales    int          // that the records hold
	Refusal  *furniture.Refusal
	Labels   []string
	Basis    Basis

	Plan        Plan    // what would be asked at the likely value
	Typical     float64 // ask
	Holding     float64 // a day
	Negotiation float64 // sale price over ask
	Fee         float64 // share of the sale price

	value *valueModel
	at    outlook
	path  path
}

const (
	ownPriceResidual = 0.4 // share of s² that an own price leaves unknown
	leastOwnPrice    = 0.7 // of s: less is never said to be unknown
)

// Worth appraises a piece that will be listed on a day, with the owner's own
// price of it (zero: none).
func (m *Model) Worth(a furniture.Attributes, ownPrice float64, on, ready Date, s Settings) Worth {
	if !validPrice(ownPrice) {
		ownPrice = 0
	}
	p := m.value.predict(m.value.describe(a, on))
	w := Worth{Basis: m.basis(a.Category), Sales: m.value.sales, value: m.value}
	w.Price, _ = m.likely(a, ownPrice, on, s)
	w.Refusal, w.Labels = m.doubts(w.Price, ownPrice > 0, s)
	if w.Refusal != nil {
		return w
	}
	w.at = m.outlook(a, ready, m.fitFor(a, ownPrice, on, s), ownPrice, s)
	share := m.rates.ownShare()
	w.Value, w.Variance = w.at.fit, p.scale*p.scale
	if ownPrice > 0 {
		s2 := m.value.Spread() * m.value.Spread()
		left := (1 - share) * (1 - share) * (w.Variance - s2)
		w.Value += share * w.at.premium
		w.Variance = math.Max(leastOwnPrice*leastOwnPrice*s2, ownPriceResidual*s2+left)
	}
	w.Typical, w.Holding, w.Negotiation, w.Fee = w.at.typical, w.at.holding, w.at.negotiation, w.at.fee
	asks := thinned(candidates(w.at.typical, w.at.estimate), planAsks)
	w.Plan = w.at.dated(w.at.planner(asks, s).Plan(w.at.holding, 0, math.Inf(1)))
	w.path = w.at.along(w.Plan.Steps)
	return w
}

// Quantile is that of the t distribution which the log of the value follows
// after centring and scaling.
func (w Worth) Quantile(share float64) float64 { return w.value.Quantile(share) }

// Ask is the first one of the plan.
func (w Worth) Ask() float64 { return w.Plan.Steps[0].Ask }

// AtValue is what following the plan leads to if the log of the value is so. The
// buyers then see a piece of that value: whatever the owner thinks of it is
// part of the value, no longer a premium.
func (w Worth) AtValue(value float64) Course { return w.at.sells(w.path, value) }

// Scaled is the worth with value and asks moved alike, by a log.
func (w Worth) Scaled(by float64) Worth {
	w.Value += by
	factor := math.Exp(by)
	w.path.asks = slices.Clone(w.path.asks)
	for i := range w.path.asks {
		w.path.asks[i] *= factor
	}
	w.at.salvage *= factor
	return w
}

// path is some asks on a time grid.
type path struct {
	times, bases []float64
	asks         []float64 // in the stretch that ends at a time
}

// along lays the steps of a plan on the time grid, which has their days in it.
func (o outlook) along(steps []Step) path {
	var p path
	days := slices.Clone(o.times)
	for _, s := range steps {
		days = append(days, float64(s.FromDay))
	}
	sort.Float64s(days)
	p.times = slices.Compact(days)
	next, ask := 0, 0.0
	for i, t := range p.times {
		p.bases, p.asks = append(p.bases, o.ahead(t)), append(p.asks, ask)
		for next < len(steps) && float64(steps[next].FromDay) <= t {
			ask, next = steps[next].Ask, next+1
		}
		if i == 0 {
			p.asks[0] = ask
		}
	}
	return p
}

// Course is what following a plan leads to, on average.
type Course struct {
	Net  float64 // left after fees and holding
	Cash float64 // left after fees
	Fees float64
	Days float64 // until the sale or the horizon

	holding, salvage float64
	path             path
	sales            []float64 // left after fees by a sale in each stretch
	here             []float64 // chance to be still there, by time
}

// sells follows a path at a log value.
func (o outlook) sells(p path, value float64) Course {
	typical := bounded(value + math.Log(o.typical) - o.fit)
	n := len(p.times)
	c := Course{path: p, holding: o.holding, salvage: o.salvage, sales: make([]float64, n), here: make([]float64, n)}
	hazard, ask, pace, logTypical := 0.0, math.NaN(), 0.0, math.Log(typical)
	c.here[0] = 1
	for i := 1; i < n; i++ {
		if p.asks[i] != ask {
			ask = p.asks[i]
			pace = math.Exp(clamp(o.rate.base(o.levels, math.Log(ask), logTypical, 0), -14, 5))
		}
		hazard += pace * (p.bases[i] - p.bases[i-1])
		c.here[i] = survivalAt(hazard, o.k, o.r)
		gone := c.here[i-1] - c.here[i]
		c.sales[i] = (1 - o.fee) * o.negotiation * ask
		c.Cash += c.sales[i] * gone
		c.Fees += o.fee * o.negotiation * ask * gone
		c.Days += (p.times[i] - p.times[i-1]) * (c.here[i] + c.here[i-1]) / 2
	}
	c.Cash += c.salvage * c.here[len(c.here)-1]
	c.Net = c.Cash - c.holding*c.Days
	return c
}

// Loss is the chance that less cash comes in than so much.
func (c Course) Loss(outlay float64) float64 {
	chance, last := 0.0, len(c.here)-1
	for i := 1; i <= last; i++ {
		if c.sales[i] < outlay {
			chance += c.here[i-1] - c.here[i]
		}
	}
	if c.salvage < outlay {
		chance += c.here[last]
	}
	return chance
}

// Reached is the condition that sold pieces of a finish had on average, and how
// many they are; zero: none.
func (m *Model) Reached(finish string) (grade, pieces int) {
	i, ok := m.value.Index["finish:"+finish]
	if !ok || m.value.Counts[i] == 0 {
		return 0, 0
	}
	n := m.value.Data.XX.At(i, i)
	if n <= 0 {
		return 0, 0
	}
	mean := 3 + m.value.Data.XX.At(i, m.value.Index["condition"])/n
	return int(math.Round(clamp(mean, 1, 5))), m.value.Counts[i]
}

// LogChange is what describing a piece otherwise does to the log of its value.
func (m *Model) LogChange(from, to furniture.Attributes, on Date) float64 {
	at, _ := m.change(from, to, on)
	return at
}
