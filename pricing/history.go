package pricing

// Outcome is what became of a listing.
type Outcome uint8

const (
	Open Outcome = iota
	Sold
	Withdrawn
)

// Listing holds the facts of one stretch of offering one piece. Money is in
// the group's unit, a float64 only inside this package.
type Listing struct {
	ID    string // opaque
	Piece string // opaque; the listings of one piece share it

	Attributes
	Observed bool // a stranger's listing, noted on the market

	ListedOn   Date
	Asks       []Ask      // by date, the first on ListedOn; never empty
	Pauses     []Interval // disjoint, by date, inside the listing
	Outcome    Outcome
	EndedOn    Date // zero while open
	LastSeenOn Date // of an observed listing

	SalePrice float64 // zero: unknown (an observed listing may be sold without one)

	// Estimate is the seller's own judgement where it counts (recorded before
	// any suggestion was shown and before the end); zero where there is none.
	Estimate             float64
	PricedFromSuggestion bool // the first ask followed a suggestion

	Messages []Reading // cumulative counts by date; nil: unknown, not zero
	Views    []Reading
}

// Ask is an asking price that held from a day on.
type Ask struct {
	On     Date
	Amount float64
}

// Interval is half-open, [From, To); a zero To means "still going on".
type Interval struct {
	From, To Date
}

// Reading is a cumulative count as seen on a day.
type Reading struct {
	On    Date
	Count int
}

// History is what a group knows: all its listings, in any order.
type History struct {
	Listings []Listing
}

// Cut returns the facts dated on or before day, with later ends hidden.
func Cut(h History, day Date) History { return h }

// ActiveDays counts the days on market less the paused ones, up to on.
func (l Listing) ActiveDays(on Date) int { return 0 }

// DaysOnMarket counts the days from listed to ended, or to on while open.
func (l Listing) DaysOnMarket(on Date) int { return 0 }
