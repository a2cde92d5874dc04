package pricing

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

// Suggest answers q on a day, with the comparables among candidates.
func (m *Model) Suggest(q Query, on Date, s Settings, candidates []Listing) Suggestion {
	return Suggestion{}
}

// PricePoint returns the price point nearest to amount.
func PricePoint(amount float64) float64 { return amount }
