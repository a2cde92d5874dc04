package refinish

import (
	"fmt"
	"math"
	"slices"

	"askwright/pricing/furniture"
)

// Job is a piece of refinishing work to be reckoned.
type Job struct {
	furniture.Attributes          // as the piece is now
	Look                 Look     // as it is to become
	Method               string   // how coats are put on; empty: brush
	Include              []string // PartBack, PartInsides: else they stay as they are
	Given                map[string]float64
	HoursAWeek           float64 // of the member; zero: Workshop.HoursAWeek
}

// Workshop is what estimates of work rest on beside the piece.
type Workshop struct {
	Prices     []Price
	HoursAWeek float64 // zero: 10
	Hours      Ratio   // the member's hours against the usual ones
	Materials  Ratio
}

const (
	usualHoursAWeek = 10   // common practice, no source
	maxDaysOut      = 3660 // what takes longer is a slip of the pen
)

// Step is one step of the work.
type Step struct {
	Name    string
	Parts   []string // nil: the whole piece
	Grits   string
	Product string
	Coats   int
	Hours   float64 // in all
	Dry     float64 // hours after each coat
}

// Work is what a look takes. Areas are in square metres, money is in the
// group's unit. All tables behind it are CommonPractice.
type Work struct {
	Look     Look
	Method   string
	Parts    []Part
	Area     float64
	Steps    []Step
	Products []Product

	Hours       float64 // at the bench, corrected by the member's own record
	DryHours    float64 // waiting for coats, parts side by side
	DaysOut     int     // the longer of drying and hours at so many a week
	HoursAWeek  float64
	Materials   float64 // money: the share used, corrected by the member's own record
	ToBuy       float64 // money: whole containers, not corrected
	HoursRatio  Ratio   // that the hours were multiplied with
	CostRatio   Ratio
	Assumptions []Assumption
	Warnings    []Warning
	Refusal     *furniture.Refusal // nothing can be said of this look
}

// Estimate reckons the work of a look: parts and their areas, a plan for each
// part, products, hours and drying. The figures are defaults of the trade
// (CommonPractice), corrected by the workshop's own record.
func (w Workshop) Estimate(j Job) Work {
	out := Work{
		Look:       j.Look,
		Method:     j.Method,
		HoursAWeek: j.HoursAWeek,
		HoursRatio: w.Hours.orOne(),
		CostRatio:  w.Materials.orOne(),
	}
	if out.Method == "" {
		out.Method = MethodBrush
	}
	if out.HoursAWeek == 0 {
		out.HoursAWeek = w.HoursAWeek
		if out.HoursAWeek == 0 {
			out.HoursAWeek = usualHoursAWeek
		}
	}
	if out.Refusal = WhyNot(j.Attributes, j.Look); out.Refusal == nil {
		out.Refusal = unplanned(j.Look)
	}
	if out.Refusal == nil && !(out.HoursAWeek > 0 && out.HoursAWeek <= 168) {
		out.Refusal = &furniture.Refusal{Reason: WorkImpossible, Have: 0, Need: 1, Detail: "Without hours in a week nothing gets done: expected more than 0 and at most 168."}
	}
	if out.Refusal != nil {
		return out
	}
	p := &planner{job: j, work: &out, made: assumptions{given: j.Given}, shelf: cabinet{}}
	p.plan()
	out.Assumptions = p.made.made
	out.Warnings = append(out.Warnings, warnings(j.Attributes, p.look)...)
	p.finish(w)
	return out
}

// planner builds the plan of one job.
type planner struct {
	job   Job
	look  Look // with what was left open filled in
	work  *Work
	made  assumptions
	shelf cabinet

	transfer         float64
	drawers, doors   int // of all items
	pulls            float64
	count            float64 // items
	large, fitted    float64 // 0 to 1: how large one item is, how many drawers and doors it has
	isCold, hasWater bool
	slow             float64 // 2 where it is damp
}

// plan lays out parts and steps.
func (p *planner) plan() {
	p.look = p.job.Look
	if p.look.Topcoat == "" {
		p.look.Topcoat = usualTopcoat(p.look.Finish)
	}
	p.measure()
	p.transfer = p.made.take("transfer_efficiency", transferOf(p.work.Method))
	p.isCold = p.made.take("temperature", 21) < coldest
	p.slow = 1
	if p.made.take("damp", 0) > 0 {
		p.slow = 2
	}
	p.prepare()
	if p.look.Finish == "cleaned" {
		hours := p.count * spread(0.3, 0.7, p.large)
		p.step(Step{Name: "touch up and polish", Product: ProductWax, Coats: 1, Hours: hours}, p.work.Area)
		p.step(Step{Name: "put back", Hours: p.count * spread(0.2, 0.3, p.fitted)}, 0)
		return
	}
	longest := 0.0
	layers := p.layers()
	if p.look.Finish == "two_tone" && len(layers) < 2 {
		p.work.Warnings = append(p.work.Warnings, Warning{Code: "one_part", Text: "The piece has no part for the second finish: all of it is reckoned alike."})
	}
	for _, l := range layers {
		if len(layers) > 1 {
			p.made.of = l.look.Finish
		}
		longest = math.Max(longest, p.layer(l))
	}
	p.work.DryHours += longest
	p.refit()
}

const coldest = 10 // °C: no water-based product below

// usualTopcoat of a finish.
func usualTopcoat(finish string) string {
	switch finish {
	case "oiled", "waxed", "raw", "cleaned":
		return "none"
	case "distressed":
		return "wax"
	}
	return "water_clear"
}

// measure settles the parts of all items.
func (p *planner) measure() {
	j, items := p.job, itemsOf(p.job.Attributes)
	for i, item := range items {
		a := furniture.Attributes{Category: item.Category, Material: j.Material}
		if i == 0 {
			a = j.Attributes
		}
		s := buildOf(item.Category).settle(a, &p.made)
		p.work.Warnings = append(p.work.Warnings, OddSizes(a)...)
		n := float64(item.Count)
		for _, part := range s.surface(&p.made, j.Include) {
			part.Area *= n
			if len(items) > 1 {
				part.Item = item.Category
			}
			p.work.Parts = append(p.work.Parts, part)
			p.work.Area += part.Area
		}
		p.count += n
		p.drawers += s.drawers * item.Count
		p.doors += s.doors * item.Count
		p.pulls += n * float64(s.drawers*s.pulls+s.doors)
	}
	if p.pulls > 0 {
		p.pulls = p.count * p.made.take("pulls", math.Round(p.pulls/p.count))
	}
	// A nightstand shows about 1.2 m², a large wardrobe or a bookcase 3.5.
	p.large = min(max((p.work.Area/p.count-1.2)/2.3, 0), 1)
	p.fitted = min(float64(p.drawers+p.doors)/p.count/8, 1)
}

// itemsOf a piece are those of a mixed set, or the one kind.
func itemsOf(a furniture.Attributes) []furniture.Item {
	out := []furniture.Item{{Category: a.Category, Count: int(a.Count())}}
	return append(out, a.Extras()...)
}

// spread is a place in a range of hours.
func spread(low, high, at float64) float64 { return low + (high-low)*min(max(at, 0), 1) }

// step adds a step; its product goes once over an area for each coat.
func (p *planner) step(s Step, area float64) {
	s.Dry *= p.slow
	p.work.Steps = append(p.work.Steps, s)
	known := products[s.Product]
	if s.Product == "" || s.Coats == 0 {
		return
	}
	if known.isWater {
		p.hasWater = true
	}
	rate, transfer := SquareMetresPerLitre(known.spread), p.transfer
	if s.Product == ProductStripper || s.Product == ProductWax || s.Product == ProductCleaner {
		transfer = 1
	}
	if s.Product == ProductPaint {
		rate = p.paintRate(rate)
	}
	p.shelf.take(s.Product, Litres(area, s.Coats, rate, transfer), s.Coats)
}

// paintRate is the paint's spread rate, by its solids and film where both are
// given.
func (p *planner) paintRate(usual float64) float64 {
	solids, film := p.job.Given["volume_solids"], p.job.Given["dry_film"]
	if rate := SpreadRate(solids, film); rate > 0 {
		p.made.take("volume_solids", 0)
		p.made.take("dry_film", 0)
		return rate
	}
	return usual
}

// prepare is what every piece gets first.
func (p *planner) prepare() {
	p.step(Step{
		Name:    "clean, remove and number drawers and hardware",
		Product: ProductCleaner,
		Coats:   1,
		Hours:   p.count * spread(0.5, 1, (p.large+p.fitted)/2),
	}, p.work.Area)
	if p.look.Finish == "cleaned" {
		return
	}
	// 3 hours for a large poor piece, nothing for an excellent one; the unknown counts as good.
	repair := [...]float64{0.5, 3, 1.5, 0.5, 0.25, 0}[min(max(p.job.Condition, 0), 5)]
	if repair > 0 {
		hours := p.count * repair * (0.5 + 0.5*p.large)
		p.step(Step{Name: "repair, fill and reglue", Product: ProductFiller, Hours: hours}, 0)
		p.shelf.take(ProductFiller, p.count*repair*0.05, 0)
	}
	if p.look.Finish == "raw" {
		return
	}
	if n := float64(p.drawers + p.doors); n > 0 {
		p.step(Step{Name: "ease drawer edges, runners and hinges", Hours: 0.25 * n}, 0)
	}
	mask := 0.5
	if p.work.Method == MethodSpray {
		mask = spread(0.5, 1.5, p.fitted)
	}
	p.step(Step{Name: "mask edges and drawer boxes", Product: ProductTape, Hours: p.count * mask}, 0)
	p.shelf.take(ProductTape, p.count*mask*0.5, 0)
}

// refit puts the piece together again.
func (p *planner) refit() {
	if p.pulls > 0 {
		p.step(Step{Name: "clean, polish, paint or replace hardware", Hours: 0.1 * p.pulls}, 0)
	}
	p.step(Step{Name: "unmask, wax and reassemble", Hours: p.count * spread(0.5, 1.5, p.fitted)}, 0)
}

// finish sums up, buys and corrects.
func (p *planner) finish(w Workshop) {
	out := p.work
	if p.isCold && p.hasWater {
		out.Refusal = &furniture.Refusal{
			Reason: TooCold, Have: p.job.Given["temperature"], Need: coldest,
			Detail: "Below 10 °C (50 °F) no water-based product dries as it should: heat the place, or wait.",
		}
		return
	}
	if out.Area <= 0 {
		out.Refusal = &furniture.Refusal{Reason: WorkImpossible, Detail: "Nothing of the piece shows that could be worked."}
		return
	}
	for i := range out.Steps {
		out.Steps[i].Hours *= out.HoursRatio.Value
		out.Hours += out.Steps[i].Hours
	}
	out.Products = p.shelf.buy(w.Prices)
	var missing []string
	for _, one := range out.Products {
		out.Materials += one.Cost * out.CostRatio.Value
		out.ToBuy += one.ToBuy
		if !one.Priced {
			missing = append(missing, one.Name)
		}
	}
	if missing != nil {
		out.Refusal = &furniture.Refusal{
			Reason: PriceUnknown, Have: float64(len(out.Products) - len(missing)), Need: float64(len(out.Products)),
			Detail: fmt.Sprintf("No price is known of %s: set it in the group's material_prices.", listed(missing)),
		}
	}
	days := math.Max(out.DryHours/24, out.Hours/out.HoursAWeek*7)
	out.DaysOut = int(math.Ceil(math.Min(days, maxDaysOut) - 1e-9))
}

// second are the parts of the second plan of a two_tone piece.
func (p *planner) second() []string {
	switch p.look.SecondPart {
	case PartDrawerFronts, PartLegs:
		return []string{p.look.SecondPart}
	}
	return []string{PartTop, PartSeat, PartHeadboard}
}

// named are the parts of a name, each once, and their area.
func (p *planner) named(keep func(string) bool) (names []string, area float64) {
	for _, part := range p.work.Parts {
		if keep(part.Name) {
			area += part.Area
			if !slices.Contains(names, part.Name) {
				names = append(names, part.Name)
			}
		}
	}
	return names, area
}

// Option is a change of look with its price: as a group offers it, or
// as its work was reckoned.
type Option struct {
	Finish, Color string
	Materials     float64 // money
	Hours         float64
	DaysOut       int // out of the market
}

// Option is the work as a change of look with its price.
func (w Work) Option() Option {
	return Option{
		Finish:    w.Look.Finish,
		Color:     w.Look.Color,
		Materials: w.Materials,
		Hours:     w.Hours,
		DaysOut:   w.DaysOut,
	}
}
