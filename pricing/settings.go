package pricing

import "askwright/pricing/refinish"

// Settings are what a group decides; see DefaultSettings.
type Settings struct {
	FeeRate       float64 // φ, share of the sale price
	SpacePrice    float64 // of one square metre of floor for one day; zero: HoldingRate is used
	HoldingRate   float64 // a day, share of the typical ask, where no space price is set
	SalvageRate   float64 // worth when never sold, share of the typical ask
	HorizonDays   int     // T
	HourValue     float64 // of one hour of the member's work; zero: unknown
	MinimumProfit float64 // wanted on any piece

	FlagGain  float64 // share of the ask that a remedy must gain
	ClearOdds float64 // from which a flag is "clear"
	MinSales  int     // below which flags and prices are refused

	RefinishOptions []refinish.Option
	Workshop        refinish.Workshop // what work takes where no option tells
}

// DefaultSettings are those of a new group.
func DefaultSettings() Settings {
	return Settings{
		HoldingRate: 0.002,
		SalvageRate: 0.15,
		HorizonDays: 180,
		FlagGain:    0.05,
		ClearOdds:   0.75,
		MinSales:    FewSales,
	}
}
