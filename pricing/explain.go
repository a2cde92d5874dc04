package pricing

// Description is the fitted model in plain words.
type Description struct {
	FittedOn   Date
	Sold       int // in the value model
	Unsold     int
	LastSale   Date
	SpreadLow  float64 // 80 % of sales of one description lie between these shares of the likely price
	SpreadHigh float64

	Effects []Effect // by block, then level
	Trend   Effect   // a year
	Season  []Effect // by month, against the year's mean

	MedianDays       *int    // of a piece at its typical ask
	BaseRate         float64 // sales per active day at the typical ask from day 21 on
	Elasticity       float64 // γ
	PaceTenDearer    float64 // 10 % dearer sells at this share of the pace
	EstimateWeight   float64 // δ/γ: how far buyers have agreed with the seller, 0 to 1
	OpeningPremium   float64 // share that estimates lie above the likely sale price
	NegotiationRatio float64 // sale price over ask
	AgePace          []AgePace
	CategoryPace     []Pace
	MessagesPerDay   float64 // at the typical ask

	Suspicious []SuspiciousSale
	Sentences  []string
}

// Effect is what one level of an attribute does to the likely sale price.
type Effect struct {
	Block           string // "finish", "material", ...
	Level           string // "painted"
	Term            string // both, for people
	Percent         float64
	Low, High       float64 // 80 % interval of Percent
	Sales           int
	Distinguishable bool
}

// AgePace is the pace of sale in an age band against days 21 to 60.
type AgePace struct {
	FromDay, ToDay int // ToDay zero: no end
	Pace           float64
}

// Pace is the pace of sale of a category against the average one.
type Pace struct {
	Category string
	Pace     float64
	Listings int
}

// SuspiciousSale is a sale whose price is so far from its ask that it counts
// for little in the value model.
type SuspiciousSale struct {
	ID        string
	SalePrice float64
	Ask       float64
	Weight    float64 // 0 to 1
}

// Describe returns the coefficients in plain words.
func (m *Model) Describe() Description { return Description{} }
