package furniture

import (
	"maps"
	"math"
	"slices"
	"strings"
)

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
	Maker    string
	Topcoat  string
	Sheen    string
	Venue    string
	Area     string

	Drawers, Doors *int // of the main item; nil: unknown; for estimates of work
}

// Item is one kind of thing in a mixed set: six dining chairs.
type Item struct {
	Category string
	Count    int
}

const (
	referenceVolume = 300_000 // cm³, a middling chest: log volume 0
	maxLogVolume    = 8       // either way; farther is an input error
	maxLogDimension = 4       // likewise
)

// referenceSize is the middling chest's: width, depth and height in centimetres.
var referenceSize = [3]float64{100, 50, 60}

// Count is the number of like items; of a mixed set, of its main item.
func (a Attributes) Count() float64 {
	q := a.SetSize
	if len(a.Items) > 0 {
		q = a.Items[0].Count
	}
	return float64(min(max(q, 1), 1000))
}

// Extras are the items of a mixed set beside the main one, one entry for each
// category, by name.
func (a Attributes) Extras() []Item {
	if len(a.Items) < 2 {
		return nil
	}
	counts := map[string]int{}
	for _, i := range a.Items[1:] {
		if i.Count > 0 && i.Category != "" {
			counts[i.Category] += min(i.Count, 1000)
		}
	}
	out := make([]Item, 0, len(counts))
	for _, c := range slices.Sorted(maps.Keys(counts)) {
		out = append(out, Item{c, counts[c]})
	}
	return out
}

// LogVolume is the logarithm of the volume over the reference; false where a
// dimension is unknown.
func (a Attributes) LogVolume() (float64, bool) {
	for _, x := range [...]float64{a.Width, a.Depth, a.Height} {
		if !(x > 0) || math.IsInf(x, 1) {
			return 0, false
		}
	}
	v := math.Log(a.Width) + math.Log(a.Depth) + math.Log(a.Height) - math.Log(referenceVolume)
	return min(max(v, -maxLogVolume), maxLogVolume), true
}

// LogDimensions are the logarithms of width, depth and height over those of the
// reference, and which of them are known; zero where one is not.
func (a Attributes) LogDimensions() (logs [3]float64, known [3]bool) {
	for i, x := range [...]float64{a.Width, a.Depth, a.Height} {
		if known[i] = x > 0 && !math.IsInf(x, 1); known[i] {
			logs[i] = min(max(math.Log(x/referenceSize[i]), -maxLogDimension), maxLogDimension)
		}
	}
	return logs, known
}

// Footprint is the floor that the piece takes, in square metres.
func (a Attributes) Footprint() (float64, bool) {
	if _, ok := a.LogVolume(); !ok {
		return 0, false
	}
	return a.Width * a.Depth / 1e4 * a.Count(), true
}

// Words turns a term into words: "finish:two_tone" into "finish two tone".
func Words(term string) string {
	return strings.NewReplacer(":", " ", "_", " ").Replace(term)
}
