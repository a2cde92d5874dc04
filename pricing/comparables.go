package pricing

// Comparable is a listing adjusted to the subject, as in an appraiser's
// sales-comparison grid.
type Comparable struct {
	ID            string
	Adjustments   []Adjustment
	NetPercent    float64
	GrossPercent  float64
	Distance      float64 // gross adjustment in log terms; the order of the list
	Weak          bool
	AdjustedPrice float64 // zero for an unsold one
	AdjustedAsk   float64 // its last ask brought to the subject
	ActiveDays    int
	Ask           float64
	SalePrice     float64
}

// Adjustment is one line of the grid.
type Adjustment struct {
	Term    string
	Percent float64
	Money   float64
}

// Comparables ranks sold and unsold candidates by gross adjustment and
// returns the n nearest of each kind, sold ones first.
func (m *Model) Comparables(subject Attributes, on Date, candidates []Listing, n int) []Comparable {
	return nil
}
