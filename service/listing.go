package service

import (
	"maps"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/furniture"
)

// PausedOn reports whether the listing could not be shown on a day.
func (l *Listing) PausedOn(day pricing.Date) bool {
	return slices.ContainsFunc(l.Pauses, func(p pricing.Interval) bool {
		return p.From <= day && (p.To.IsZero() || p.To > day)
	})
}

// The words of the closed lists that code decides by.
const (
	SourceOwn      = "own"
	SourceObserved = "observed"

	StageFound   = "found"
	StageBought  = "bought"
	StageOnBench = "on_bench"

	OutcomeOpen   = "open"
	OutcomeSold   = "sold"
	OutcomePulled = "pulled"

	// What becomes of a piece that leaves without a sale.
	LeftPassed  = "passed" // a find that was not bought
	LeftRetired = "retired"

	UnitInch       = "in"
	UnitCentimetre = "cm"
)

// Listing is one row: one stretch of offering one piece, or (with a Stage and
// without ListedOn) a piece not yet offered. Empty strings, zero numbers and
// nil pointers mean unknown; where zero is a real value the field is a pointer.
type Listing struct {
	ID       uuid.UUID
	PieceID  uuid.UUID
	MemberID uuid.UUID
	Member   string // the owner's name
	Revision int64  // raised by every change
	ChangeNo int64  // the group's change number of the last change

	Ref, PieceRef string
	Source        string
	LastSeenOn    pricing.Date
	Stage         string

	Category     string
	SetSize      int
	Items        []furniture.Item
	Width        float64 // in Unit, as entered
	Depth        float64
	Height       float64
	Unit         string
	Material     string
	Wood         string
	Style        string
	YearMade     int
	Condition    int // grade 1 to 5
	Finish       string
	Color        string
	SecondFinish string
	SecondColor  string
	Topcoat      string
	Sheen        string
	Hardware     string
	Drawers      *int
	Doors        *int
	Maker        string
	Flaws        string
	Smell        string
	Venue        string
	SoldVenue    string
	Area         string
	ListedOn     pricing.Date
	Asks         []Ask // by date, the first on ListedOn
	Pauses       []pricing.Interval
	Views        *int
	Saves        *int
	Messages     *int
	Showings     *int
	Outcome      string
	EndedOn      pricing.Date
	SalePrice    Money
	SellerAsk    Money  // of a find: what its seller asks
	ClosedAs     string // why it left without a sale
	ClosedOn     pricing.Date
	ClosedNote   string

	PlannedFinish, PlannedColor string // the look that it is to be given; empty: none is planned

	// Owner-only: zero in what another member reads.
	Estimate       Money
	EstimateCounts bool // recorded before any suggestion was shown and before the end
	Ledger         Ledger
}

// Ask is an asking price that held from a day on.
type Ask struct {
	On     pricing.Date
	Amount Money
}

// Ledger is what only the owner sees: where the piece came from and what it
// cost, for the stretch that the row describes.
type Ledger struct {
	BoughtOn       pricing.Date
	BoughtFrom     string
	ConditionFound int
	Notes          string
	Costs          Costs
}

// CostKind names a line of the ledger; it is also the column's name.
type CostKind string

// The kinds of cost lines.
const (
	CostPurchase        CostKind = "purchase_cost"
	CostPickup          CostKind = "pickup_cost"
	CostMaterials       CostKind = "materials_cost"
	CostOther           CostKind = "other_cost"
	CostFees            CostKind = "fees"
	CostDeliveryCharged CostKind = "delivery_charged"
	CostDelivery        CostKind = "delivery_cost"
	CostHours           CostKind = "hours"
	CostHoursOther      CostKind = "hours_other"
)

// CostKinds lists all kinds in column order.
var CostKinds = []CostKind{
	CostPurchase, CostPickup, CostMaterials, CostOther, CostFees, CostDeliveryCharged, CostDelivery, CostHours,
	CostHoursOther,
}

// IsOffered reports whether the row is a listing rather than a piece in the
// yard.
func (l *Listing) IsOffered() bool { return !l.ListedOn.IsZero() }

// Left says how the row left without a sale; "" while it has not.
func (l *Listing) Left() string {
	switch {
	case l.ClosedAs == "":
		return ""
	case l.Stage == StageFound:
		return LeftPassed
	}
	return LeftRetired
}

// IsObserved reports whether the listing is a stranger's.
func (l *Listing) IsObserved() bool { return l.Source == SourceObserved }

// CurrentAsk is the last ask, zero before the piece is listed.
func (l *Listing) CurrentAsk() Money {
	if len(l.Asks) == 0 {
		return 0
	}
	return l.Asks[len(l.Asks)-1].Amount
}

// AskOn is the ask that held on a day, zero before the piece was listed.
func (l *Listing) AskOn(day pricing.Date) (held Money) {
	for _, ask := range l.Asks {
		if ask.On <= day {
			held = ask.Amount
		}
	}
	return held
}

// Clone copies the row so that changing the copy leaves l alone.
func (l *Listing) Clone() *Listing {
	c := *l
	c.Items = slices.Clone(l.Items)
	c.Asks = slices.Clone(l.Asks)
	c.Pauses = slices.Clone(l.Pauses)
	c.Ledger.Costs = maps.Clone(l.Ledger.Costs)
	return &c
}

// WithoutOwnerOnly returns the row as another member may see it.
func (l *Listing) WithoutOwnerOnly() *Listing {
	c := *l
	c.Estimate, c.EstimateCounts, c.Ledger = 0, false, Ledger{}
	return &c
}

// MillimetresPerInch converts lengths.
const MillimetresPerInch = 25.4 // exact: international yard and pound agreement of 1959

// Centimetres converts a length as entered.
func Centimetres(value float64, unit string) float64 {
	if unit == UnitInch {
		return value * MillimetresPerInch / 10
	}
	return value
}

// Attributes are the row's description in the words of pricing.
func (l *Listing) Attributes() furniture.Attributes {
	return furniture.Attributes{
		Category: l.Category, SetSize: l.SetSize, Items: l.Items,
		Width: Centimetres(l.Width, l.Unit), Depth: Centimetres(l.Depth, l.Unit), Height: Centimetres(l.Height, l.Unit),
		Material: l.Material, Wood: l.Wood, Condition: l.Condition,
		Finish: l.Finish, SecondFinish: l.SecondFinish, Color: l.Color, SecondColor: l.SecondColor, Hardware: l.Hardware,
		Style: l.Style, YearMade: l.YearMade, Topcoat: l.Topcoat, Sheen: l.Sheen, Venue: l.Venue, Area: l.Area,
		Maker: l.Maker, Drawers: l.Drawers, Doors: l.Doors,
	}
}

// Facts are the listing as pricing takes it. Readings come from the events
// where there are dated ones.
func (l *Listing) Facts(c Currency, messages, views []pricing.Reading) pricing.Listing {
	f := pricing.Listing{
		ID: l.ID.String(), Piece: l.PieceID.String(), Attributes: l.Attributes(), Observed: l.IsObserved(),
		ListedOn: l.ListedOn, Pauses: l.Pauses, EndedOn: l.EndedOn, LastSeenOn: l.LastSeenOn,
		SalePrice: l.SalePrice.Major(c), Messages: messages, Views: views,
	}
	for _, a := range l.Asks {
		f.Asks = append(f.Asks, pricing.Ask{On: a.On, Amount: a.Amount.Major(c)})
	}
	switch l.Outcome {
	case OutcomeSold:
		f.Outcome = pricing.Sold
	case OutcomePulled:
		f.Outcome = pricing.Withdrawn
	}
	if l.EstimateCounts {
		f.Estimate = l.Estimate.Major(c)
	}
	return f
}
