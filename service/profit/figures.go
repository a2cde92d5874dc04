package profit

import (
	"askwright/service"
)

// Figures are exact sums over pieces. What is unknown counts as nothing; how
// often that was so is told where it matters.
type Figures struct {
	Pieces          int
	Revenue         service.Money // sale prices, delivery not included
	Costs           service.Costs
	FeesEstimated   service.Money // the part of the fees that was computed from rates
	FeesUntold      int           // pieces whose fees were computed
	PurchaseUnknown int           // pieces without a purchase cost on file
	Lost            int           // pieces with a loss

	DaysOwned            int           // where the day of purchase is known
	Timed, Dated         int           // pieces with hours, with a day of purchase
	timedProfit, ofDated service.Money // their profits
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
	f.Costs.Add(g.Costs)
}

// Amount is the sum of one kind of money.
func (f *Figures) Amount(kind service.CostKind) service.Money { return f.Costs.Money(kind) }

// Cost is what the pieces cost, without delivery.
func (f *Figures) Cost() service.Money {
	return f.Amount(service.CostPurchase) + f.Amount(service.CostPickup) + f.Amount(service.CostMaterials) + f.Amount(service.CostOther) + f.Amount(service.CostFees)
}

// Profit is what came in less what went out, delivery with both.
func (f *Figures) Profit() service.Money {
	return f.Revenue - f.Cost() + f.Amount(service.CostDeliveryCharged) - f.Amount(service.CostDelivery)
}

// Hours are all hours, at the bench and others.
func (f *Figures) Hours() service.Hours { return f.Costs.AllHours() }

// The ratios are rounded half away from zero, only here; false: of nothing.

// MarginPercent is the profit in tenths of a percent of what came in after
// fees.
func (f *Figures) MarginPercent() (int64, bool) {
	return service.Quotient(int64(f.Profit()), 1000, int64(f.Revenue+f.Amount(service.CostDeliveryCharged)-f.Amount(service.CostFees)))
}

// ReturnPercent is the profit in tenths of a percent of all that went out.
func (f *Figures) ReturnPercent() (int64, bool) {
	return service.Quotient(int64(f.Profit()), 1000, int64(f.Cost()+f.Amount(service.CostDelivery)))
}

// PerHour is the profit of an hour, over the pieces whose hours are known.
func (f *Figures) PerHour() (int64, bool) {
	return service.Quotient(int64(f.timedProfit), service.Hundredths, int64(f.Hours()))
}

// PerDayOwned is the profit of a day in one's hands, over the pieces whose day
// of purchase is known.
func (f *Figures) PerDayOwned() (int64, bool) {
	return service.Quotient(int64(f.ofDated), 1, int64(f.DaysOwned))
}
