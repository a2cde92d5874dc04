package pricing

// Attributes describe a piece as it is offered. An empty string or a zero
// means unknown, never "none" and never zero.
type Attributes struct {
	Category string // "sideboard", "desk", ...
	SetSize  int    // how many like items are sold together; 0 counts as 1
	Items    []Item // a mixed set by its items, the main item first; nil for one kind

	Width, Depth, Height float64 // of the main item, in centimetres

	Material  string // construction: "solid_wood", "veneer", ...
	Wood      string // species
	Condition int    // grade 1 (poor) to 5 (excellent)

	Finish, SecondFinish string
	Color, SecondColor   string
	Hardware             string

	// Recorded and shown; in the model only where they earn it on held-out
	// sales (docs/pricing.md).
	Style    string
	YearMade int
	Topcoat  string
	Sheen    string
	Venue    string
	Area     string
}

// Item is one kind of thing in a mixed set: six dining chairs.
type Item struct {
	Category string
	Count    int
}
