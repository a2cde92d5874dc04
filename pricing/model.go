package pricing

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

	RefinishOptions []RefinishOption
}

// RefinishOption is a change of look that a group offers, with its price.
type RefinishOption struct {
	Finish, Color string
	Materials     float64 // money
	Hours         float64
	DaysOut       int // out of the market
}

// Model is what a group's history says on a day. It is immutable and safe for
// concurrent use.
type Model struct{}

// Fit fits the value, rate and message models to what is known on day.
func Fit(h History, day Date) *Model { return &Model{} }
