package service

import (
	"math"
	"math/big"
)

// Figures are exact sums over pieces. What is unknown counts as nothing; how
// often that was so is told where it matters.
type Figures struct {
	Pieces          int
	Revenue         Money // sale prices, delivery not included
	Costs           Costs
	FeesEstimated   Money // the part of the fees that was computed from rates
	FeesUntold      int   // pieces whose fees were computed
	PurchaseUnknown int   // pieces without a purchase cost on file
	Lost            int   // pieces with a loss

	DaysOwned            int   // where the day of purchase is known
	Timed, Dated         int   // pieces with hours, with a day of purchase
	timedProfit, ofDated Money // their profits
}

// add puts the figures of other pieces to f.
func (f *Figures) add(g Figures) {
	f.Pieces += g.Pieces
	f.Revenue += g.Revenue
	f.FeesEstimated += g.FeesEstimated
	f.FeesUntold += g.FeesUntold
	f.PurchaseUnknown += g.PurchaseUnknown
	f.Lost += g.Lost
	f.DaysOwned += g.DaysOwned
	f.Timed, f.Dated = f.Timed+g.Timed, f.Dated+g.Dated
	f.timedProfit, f.ofDated = f.timedProfit+g.timedProfit, f.ofDated+g.ofDated
	f.Costs.add(g.Costs)
}

// Amount is the sum of one kind of money.
func (f *Figures) Amount(kind CostKind) Money { return f.Costs.Money(kind) }

// Cost is what the pieces cost, without delivery.
func (f *Figures) Cost() Money {
	return f.Amount(CostPurchase) + f.Amount(CostPickup) + f.Amount(CostMaterials) + f.Amount(CostOther) + f.Amount(CostFees)
}

// Profit is what came in less what went out, delivery with both.
func (f *Figures) Profit() Money {
	return f.Revenue - f.Cost() + f.Amount(CostDeliveryCharged) - f.Amount(CostDelivery)
}

// Hours are all hours, at the bench and others.
func (f *Figures) Hours() Hours { return f.Costs.AllHours() }

// The ratios are rounded half away from zero, only here; false: of nothing.

// MarginPercent is the profit in tenths of a percent of what came in after
// fees.
func (f *Figures) MarginPercent() (int64, bool) {
	return quotient(int64(f.Profit()), 1000, int64(f.Revenue+f.Amount(CostDeliveryCharged)-f.Amount(CostFees)))
}

// ReturnPercent is the profit in tenths of a percent of all that went out.
func (f *Figures) ReturnPercent() (int64, bool) {
	return quotient(int64(f.Profit()), 1000, int64(f.Cost()+f.Amount(CostDelivery)))
}

// PerHour is the profit of an hour, over the pieces whose hours are known.
func (f *Figures) PerHour() (int64, bool) {
	return quotient(int64(f.timedProfit), hundredths, int64(f.Hours()))
}

// PerDayOwned is the profit of a day in one's hands, over the pieces whose day
// of purchase is known.
func (f *Figures) PerDayOwned() (int64, bool) {
	return quotient(int64(f.ofDated), 1, int64(f.DaysOwned))
}

// quotient is x·scale/by, rounded half away from zero; false for a divisor
// that is not positive.
func quotient(x, scale, by int64) (int64, bool) {
	if by <= 0 {
		return 0, false
	}
	n, d := new(big.Int).Mul(big.NewInt(x), big.NewInt(2*scale)), big.NewInt(by)
	n.Add(n, new(big.Int).Mul(d, big.NewInt(int64(n.Sign()))))
	n.Quo(n, d.Lsh(d, 1))
	return n.Int64(), n.IsInt64()
}

// share is a share of an amount, rounded to the minor unit, half up. Rates
// count to a millionth.
func (m Money) share(rate float64) Money {
	const millionths = 1_000_000
	part, _ := quotient(int64(m), int64(math.Round(rate*millionths)), millionths)
	return Money(part)
}
