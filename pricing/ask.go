package pricing

import "math"

// Query asks for a suggestion.
type Query struct {
	Attributes
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
}

// Suggestion answers a Query. Money is in the group's unit, unrounded except
// for asks, which are price points.
type Suggestion struct {
	SalePrice   *Range  // nil where refused
	Ask         float64 // the balanced choice; zero where refused
	ChanceSold  *Chance // at Ask
	MedianDays  *int    // at Ask; nil: not within the horizon
	P80Days     *int
	HorizonDays int
	Demand      float64 // of a listing on offer, so far: 1 is what the description promises; zero: not on offer
	WithinAsk   float64 // highest ask that sells within Query.WithinDays at even odds, or the lowest candidate
	WithinProb  float64 // its chance

	Choices     []Choice // quick, balanced, patient; empty where refused
	Curve       []Point  // candidates in rising order
	Drivers     []Driver
	Comparables []Comparable
	Basis       Basis
	Labels      []string // "low_confidence", "from_your_estimate", ...
	Refusal     *Refusal
	Sentences   []string // two or three, for people
}

// Range is a median with an equal-tailed interval.
type Range struct {
	Likely, Low, High float64
	Level             float64 // 0.8
}

// Chance is a probability of a sale within so many active days.
type Chance struct {
	WithinDays  int
	Probability float64
}

// Choice is one of the three asks offered.
type Choice struct {
	Name string // "quick", "balanced", "patient"
	Point
}

// Point is what an ask leads to.
type Point struct {
	Ask         float64
	LikelySale  float64
	ChanceSold  float64 // within the query's days
	Chance14    float64
	Chance30    float64
	Chance60    float64
	MedianDays  *int // nil: not within the horizon
	P80Days     *int
	ExpectedNet float64
}

// Driver is one reason for the price: the effect of an attribute against the
// group's typical piece of that category.
type Driver struct {
	Term            string  // "finish painted", "size", ...
	Percent         float64 // points
	Low, High       float64 // 80 % interval of Percent
	Money           float64 // of the likely sale price
	Sales           int     // that the effect rests on
	Distinguishable bool    // the interval leaves out zero
}

// Basis says what an answer rests on.
type Basis struct {
	Sold, Unsold, SameCategory int
	FittedOn                   Date
}

// Refusal says why there is no answer and what would be needed for one.
type Refusal struct {
	Reason string // "too_few_sales", "interval_too_wide"
	Have   float64
	Need   float64
	Detail string // for people
}

// PricePoint returns the price point nearest to amount: the asks that the
// trade uses, in steps of 1 below 50, 5 below 200, 10 below 500, 25 below
// 2 000, 50 below 5 000, then 100; above 100 000 a step is a hundredth of the
// power of ten. It is at least 1.
func PricePoint(amount float64) float64 {
	low := pointAtOrBelow(amount)
	if high := nextPoint(low); high-amount <= amount-low {
		return high
	}
	return low
}

// stepAt is the distance from a price point to the next.
func stepAt(amount float64) float64 {
	switch {
	case amount < 50:
		return 1
	case amount < 200:
		return 5
	case amount < 500:
		return 10
	case amount < 2000:
		return 25
	case amount < 5000:
		return 50
	case amount < 1e5:
		return 100
	}
	step := 1000.0
	for amount >= step*1000 {
		step *= 10
	}
	return step
}

func pointAtOrBelow(amount float64) float64 {
	step := stepAt(amount)
	return math.Max(1, math.Floor(amount/step)*step)
}

func nextPoint(point float64) float64 { return point + stepAt(point) }

// pricePoints returns all price points in [low, high].
func pricePoints(low, high float64) []float64 {
	var out []float64
	const slack = 1e-9 // relative: an end that is a price point belongs to the range
	p := pointAtOrBelow(math.Max(low, 1))
	for ; p <= high*(1+slack); p = nextPoint(p) {
		if p >= low*(1-slack) {
			out = append(out, p)
		}
	}
	return out
}

// candidates are the asks considered around the typical ask and the estimate.
func candidates(typical, estimate float64) []float64 {
	if estimate <= 0 {
		estimate = typical
	}
	out := pricePoints(math.Min(typical, estimate)*math.Exp(-lowestAsk), askCap*math.Max(typical, estimate))
	if len(out) == 0 {
		return []float64{math.Max(1, math.Round(typical))}
	}
	return thinned(out, maxCandidates)
}

// thinned keeps at most n of the points, evenly and with the last one: an
// estimate far from the typical ask spans thousands.
func thinned(points []float64, n int) []float64 {
	if len(points) <= n {
		return points
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = points[i*(len(points)-1)/(n-1)]
	}
	return out
}

// Labels of answers.
const (
	LabelLowConfidence = "low_confidence"
	LabelFromEstimate  = "from_your_estimate"
)

// Reasons of refusals.
const (
	TooFewSales      = "too_few_sales"
	IntervalTooWide  = "interval_too_wide"
	HourValueUnknown = "hour_value_unknown"
)

// Suggest answers q on a day, with the comparables among candidates.
func (m *Model) Suggest(q Query, on Date, s Settings, candidates []Listing) Suggestion {
	out := Suggestion{HorizonDays: s.HorizonDays, Basis: m.basis(q.Category)}
	out.Comparables = m.Comparables(q.Attributes, on, soldOnly(candidates), comparableRows)
	r := m.value.describe(q.Attributes, on)
	p := m.value.predict(r)
	enough := m.value.sales >= s.MinSales
	if enough {
		out.SalePrice = ref(m.value.interval(p))
		out.Drivers = m.drivers(q.Attributes, r, out.SalePrice.Likely)
	}
	if !validPrice(q.Estimate) {
		q.Estimate = 0
	}
	if q.Estimate == 0 && q.Standing != nil {
		q.Estimate, _ = q.Standing.Listing.estimate()
	}
	out.Refusal, out.Labels = m.doubts(out.SalePrice, q.Estimate > 0, s)
	if out.Refusal == nil {
		m.ask(&out, q, on, s)
	}
	out.Sentences = out.explain(m, q, s)
	return out
}

// doubts says whether an ask can be given, and with which labels.
func (m *Model) doubts(price *Range, estimate bool, s Settings) (*Refusal, []string) {
	if price == nil {
		if estimate {
			return nil, []string{LabelFromEstimate}
		}
		return tooFewSales(m.value.sales, s.MinSales), nil
	}
	ratio := price.High / price.Low
	if ratio > wideRatio && !estimate {
		return &Refusal{Reason: IntervalTooWide, Have: ratio, Need: wideRatio, Detail: wideDetail(*price)}, nil
	}
	if ratio > warnRatio {
		return nil, []string{LabelLowConfidence}
	}
	return nil, nil
}

// ask fills in the asks and what they lead to.
func (m *Model) ask(out *Suggestion, q Query, on Date, s Settings) {
	within := q.WithinDays
	if within <= 0 {
		within = 30
	}
	o := m.position(q, on, s)
	if q.Standing != nil {
		out.Demand = o.k / o.r
	}
	asks := candidates(o.typical, q.Estimate)
	for _, a := range asks {
		p := o.point(a, within)
		out.Curve = append(out.Curve, p)
		if p.ChanceSold >= evenOdds || out.WithinAsk == 0 {
			out.WithinAsk, out.WithinProb = a, p.ChanceSold
		}
	}
	for _, c := range []struct {
		name   string
		factor float64
	}{{"quick", quickFactor}, {"balanced", 1}, {"patient", 1 / quickFactor}} {
		a, _ := o.best(asks, o.holding*c.factor)
		out.Choices = append(out.Choices, Choice{Name: c.name, Point: o.point(a, within)})
	}
	balanced := out.Choices[1]
	out.Ask = balanced.Ask
	out.ChanceSold = &Chance{WithinDays: within, Probability: balanced.ChanceSold}
	out.MedianDays, out.P80Days = balanced.MedianDays, balanced.P80Days
}

// position is the outlook of a query: of an open listing at its age with the
// demand seen so far, of another one as new.
func (m *Model) position(q Query, on Date, s Settings) outlook {
	if q.Standing == nil {
		return m.outlook(q.Attributes, on, m.fitFor(q.Attributes, q.Estimate, on, s), q.Estimate, s)
	}
	listed := q.Standing.Listing.ListedOn
	o := m.outlook(q.Attributes, on, m.fitFor(q.Attributes, q.Estimate, listed, s), q.Estimate, s)
	seen := m.evidence(*q.Standing, on, s)
	o.k, o.r = seen.k(), seen.r()
	return o.from(seen.age)
}

// fitFor is f: the value model's, or the estimate less the usual premium while
// there are too few sales. Of a piece with levels that were never sold it is
// between the two, weighted by their certainty:
//
//	f = x'β̂ + w (log e − d̄ − x'β̂),  w = v / (v + var d),  v = s² Σ unseen (τ g / s0)²
func (m *Model) fitFor(a Attributes, estimate float64, on Date, s Settings) float64 {
	if m.value.sales < s.MinSales && estimate > 0 {
		return math.Log(estimate) - m.rates.Opening
	}
	r := m.value.describe(a, on)
	f := m.value.location(r.x)
	if estimate > 0 && r.unseen > 0 {
		v := m.value.spread() * m.value.spread() * r.unseen
		f += v / (v + m.rates.Spread) * (math.Log(estimate) - m.rates.Opening - f)
	}
	return f
}

func (m *Model) basis(category string) Basis {
	return Basis{
		Sold:         m.value.sales,
		Unsold:       m.rates.Unsold,
		SameCategory: m.value.inCategory(category),
		FittedOn:     m.rates.FittedOn,
	}
}

func soldOnly(listings []Listing) []Listing {
	return before(listings, func(l Listing) bool { return l.Outcome == Sold && validPrice(l.SalePrice) })
}

func ref[T any](v T) *T { return &v }
