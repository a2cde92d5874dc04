package buying

import "math"

// Experience is what a group has seen of prices asked and of purchases, as sums.
type Experience struct {
	Prices   int     // asked of its members
	Logs     float64 // Σ x, x = log(price asked / what is left at the likely value), see LogRatio
	Squares  float64 // Σ x²
	Variance float64 // Σ of what was unknown of the log value then

	Finished int     // purchases that are over
	Stated   float64 // Σ cash stated of their sales, after fees
	Realized float64 // Σ cash that came of them
}

// What is believed beforehand. From trials on synthetic markets; see docs/pricing.md.
const (
	usualShare    = 0.65 // of what is left, asked
	shareWeight   = 5.0  // prices that it is worth
	shareSpread   = 0.5  // of the log of that share
	leastSpread   = 0.2
	mostLog       = 1.5 // of one price from the usual share: a joke or a slip counts no more
	netWeight     = 8.0 // purchases that a realized ratio of one is worth
	lowestRatio   = 0.5
	highestRatio  = 1.2
	leastNetShare = 0.2 // of the sale, that the net is taken to be at least
)

// LogRatio is the log of a price over the net at the likely value, bounded.
func LogRatio(price, net float64) float64 {
	usual := math.Log(usualShare)
	if !(price > 0) {
		return usual - mostLog
	}
	return usual + math.Max(-mostLog, math.Min(mostLog, math.Log(price/net)-usual))
}

// usual is θ, the usual log ratio, and τ, how far prices scatter about it beyond
// what the likely value is off:
//
//	θ = (Σ x + 5 log .65) / (m + 5)
//	τ² = max(.2², (Σ (x − θ)² + 5·.5²) / (m + 5) − mean variance)
func (e Experience) usual() (theta, tau2 float64) {
	m := float64(e.Prices)
	theta = (e.Logs + shareWeight*math.Log(usualShare)) / (m + shareWeight)
	around := e.Squares - 2*theta*e.Logs + m*theta*theta
	tau2 = (around + shareWeight*shareSpread*shareSpread) / (m + shareWeight)
	if m > 0 {
		tau2 -= e.Variance / m
	}
	return theta, math.Max(leastSpread*leastSpread, tau2)
}

// UsualShare is the share of what a find would leave, that is usually asked for it.
func (e Experience) UsualShare() float64 {
	theta, _ := e.usual()
	return math.Exp(theta)
}

// Ratio is R, what purchases brought over what was stated of them:
//
//	R = (Σ realized + 8 ē) / (Σ stated + 8 ē),  ē the mean stated, R in [.5, 1.2]
//
// Sums, not the mean of ratios: that one takes luck for skill.
func (e Experience) Ratio() float64 {
	if e.Finished == 0 || !(e.Stated > 0) {
		return 1
	}
	more := netWeight * e.Stated / float64(e.Finished)
	return math.Max(lowestRatio, math.Min(highestRatio, (e.Realized+more)/(e.Stated+more)))
}
