package pricing

// PurchaseQuery asks for the most to pay for a piece.
type PurchaseQuery struct {
	Attributes         // in the state that it will be listed in, after the planned work
	Estimate   float64 // the buyer's own idea of the ask; zero: none

	Materials float64 // money, of the planned work
	Hours     float64 // of the planned work, fetching and selling
	Transport float64 // money: fetching the piece
	Other     float64 // money
	DaysOut   int     // days owned before it can be listed

	Price  float64 // asked for the piece, if known: ChanceOfLoss and ExpectedProfit are at this price
	Target Target
}

// Target is the profit wanted. At most one field is set; none: the larger of
// half the net and Settings.MinimumProfit.
type Target struct {
	MarginPercent float64 // profit as a share of the sale price after fees, in points
	Hourly        float64 // earned per hour of work, instead of Settings.HourValue
	Profit        float64
}

// PurchaseLimit answers a PurchaseQuery. Money is in the group's unit; a
// limit may be negative: the piece is not worth fetching at any price.
type PurchaseLimit struct {
	MostToPay      *float64 // cautious; nil where refused
	AtLikely       *float64
	BreakEven      *float64
	ExpectedProfit *float64 // at PurchaseQuery.Price, else at MostToPay
	ChanceOfLoss   *float64 // at the same price
	RuleOfThird    *float64 // a third of the likely sale price, less transport and materials: common practice

	Ask        float64 // the balanced ask that the figures rest on
	LikelySale float64
	SalePrice  *Range
	Costs      PurchaseCosts
	Basis      Basis
	Labels     []string
	Refusal    *Refusal
	Sentences  []string
}

// PurchaseCosts are the costs between buying and the sale.
type PurchaseCosts struct {
	Materials, Labor, Transport, Other float64
	Holding                            float64 // before listing and expected until the sale
	Fees                               float64 // expected
}

// PurchaseLimits returns the most to pay.
func (m *Model) PurchaseLimits(q PurchaseQuery, on Date, s Settings) PurchaseLimit {
	return PurchaseLimit{}
}
