package pricing

// Model is what a group's history says on a day. It is immutable and safe for
// concurrent use.
type Model struct {
	value *valueModel
	rates Rates
}

// Rates hold the fitted rate models and what else is learned from how
// listings went; all of it can be stored as JSON or gob.
//
// All of it is as of FittedOn, also what moves by itself as days pass: the
// exposure of open listings, which weighs little among all that ended; the
// pulse, which looks four weeks back; the opening premium d̄ and the counts,
// which are of the listings that the coefficients rest on and mean nothing
// beside others. So a fit is stored and used whole. What depends on the day of
// an answer (the age, exposure and messages of its listing, the season ahead)
// is no part of it: answers take that from the listing's own facts.
type Rates struct {
	FittedOn Date
	Sale     RateFit // sales per active day
	Message  RateFit // messages per active day

	Opening     float64 // d̄: mean log of the estimate over the likely sale price
	Spread      float64 // variance of that log
	Estimates   int     // that both rest on
	OwnSpread   float64 // s_d: of own prices about the fit, log
	PriceSpread float64 // s_r: of sale prices about what fit and own price say together, log
	Negotiation float64 // ρ: mean ratio of sale price to last ask

	Listings    int            // used
	Unsold      int            // open or withdrawn among them
	ByLevel     map[string]int // by category, finish and color: "finish:painted"
	Pulse       float64        // messages of all in the last weeks over those usual in the year; zero: too few to tell
	Quiet       bool           // the whole group is slow
	ViewsPerDay float64        // median over the listings with known views; zero: none
	Suspicious  []SuspiciousSale
}

// NewModel joins the newest statistics with stored rates. With the rows that
// they are made of no sale counts more than the others bear out (Student t
// errors); without, each as it was added.
func NewModel(s *Statistics, rows []SaleRow, r Rates) *Model {
	return &Model{value: newValueModel(s, rows), rates: r}
}

// FittedOn is the day that the rate models were fitted for.
func (m *Model) FittedOn() Date { return m.rates.FittedOn }

// SuspiciousSale is a sale whose price is so far from its ask that it counts
// for little in the value model.
type SuspiciousSale struct {
	ID        string
	SalePrice float64
	Ask       float64
	Weight    float64 // 0 to 1
}
