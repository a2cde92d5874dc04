package service

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"askwright/pricing"
)

// planColumns are what a find may have beside the columns of a row: the look
// and the costs planned for it. They are read onto a copy of the row.
var planColumns = []Column{
	wordColumn("planned_finish", finishes, func(l *Listing) *string { return &l.Finish }).kept(),
	wordColumn("planned_color", colors, func(l *Listing) *string { return &l.Color }).kept(),
	gradeColumn("planned_condition", func(l *Listing) *int { return &l.Condition }).kept(),
	costColumn(CostPurchase).named("price").kept(),
	costColumn(CostMaterials).named("materials").kept(),
	costColumn(CostPickup).named("transport").kept(),
	costColumn(CostOther).named("other").kept(),
	{Name: "days_out", Kind: KindCount, Keeps: true, set: setDaysOut},
}

const maxDaysOut = 365

func setDaysOut(d *draft, cell string) error {
	n, err := wholeNumber(cell, 0, maxDaysOut)
	d.daysOut = &n
	return err
}

func (c Column) named(name string) Column { c.Name = name; return c }

// FindColumn finds a column of a find: one of the plan, or of the row.
func FindColumn(name string) (*Column, bool) {
	for i := range planColumns {
		if planColumns[i].Name == name {
			return &planColumns[i], true
		}
	}
	return ColumnByName(name)
}

// NearestFindColumn returns the name that was probably meant, or "".
func NearestFindColumn(name string) string {
	return nearestColumn(name, slices.Concat(planColumns, Columns))
}

// PurchaseTarget is the profit wanted: at most one of the three.
type PurchaseTarget struct {
	MarginPercent float64 // points of the sale price after fees
	Hourly        Money
	Profit        Money
}

func (t PurchaseTarget) validate() error {
	set := 0
	for _, is := range []bool{t.MarginPercent != 0, t.Hourly != 0, t.Profit != 0} {
		if is {
			set++
		}
	}
	switch {
	case set > 1:
		return Invalid("target", "give one of margin_percent, hourly and profit")
	case t.MarginPercent != 0 && !between(t.MarginPercent, 0.1, 99):
		return Invalid("margin_percent", "expected 0.1 to 99 percent of the sale price after fees")
	case !between(t.Hourly, 0, maxMinor):
		return Invalid("hourly", "must be more than zero")
	case !between(t.Profit, 0, maxMinor):
		return Invalid("profit", "must be more than zero")
	}
	return nil
}

// PurchaseLimits is an answer for some finds, in their order.
type PurchaseLimits struct {
	Limits   []PurchaseLimit
	RankedBy string // "profit_per_hour", or "profit" where the hours of one are unknown
}

// What finds are ranked by.
const (
	RankedByHour   = "profit_per_hour"
	RankedByProfit = "profit"
)

// PurchaseLimit is the answer for one find.
type PurchaseLimit struct {
	Ref      string
	Category string
	pricing.PurchaseLimit
	Plan     PurchasePlan
	Rank     int      // 1 is the best; 0: refused
	Inspect  []string // what to look at before paying, in short words
	Model    string
	Cautions []Caution
}

// PurchasePlan is the look and the work that a limit rests on.
type PurchasePlan struct {
	Finish, Color string
	Condition     string // as it will be offered
	Hours         float64
	DaysOut       int
	CostsFrom     string // where what the find left out comes from
}

// Where the costs of a planned finish come from.
const (
	CostsFromFind    = "find"             // all of them were told
	CostsFromOptions = "refinish_options" // the group's settings
	CostsUnknown     = "nothing"          // what was left out counts as nothing
	CostsAsItIs      = "as_it_is"         // no finish is planned
)

// PurchaseLimits says for each find what to pay at most. A find is a subject
// with the columns of its plan; what is on file of its costs stands in for what
// is left out. A find that cannot be read is an *InvalidError that names its
// place.
func (s *Service) PurchaseLimits(ctx context.Context, a *Actor, finds []Cells, t PurchaseTarget) (*PurchaseLimits, error) {
	if len(finds) == 0 || len(finds) > MaxSubjects {
		return nil, Invalid("subjects", "expected 1 to %d of them, have %d", MaxSubjects, len(finds))
	}
	if err := t.validate(); err != nil {
		return nil, err
	}
	group, err := s.keeper.current(ctx, a)
	if err != nil {
		return nil, err
	}
	subjects, err := a.readSubjects(group, finds)
	if err != nil {
		return nil, err
	}
	costs, err := s.ownCosts(ctx, a, subjects)
	if err != nil {
		return nil, err
	}
	planned, err := a.readPlans(subjects, finds, costs)
	if err != nil {
		return nil, err
	}
	answer := &PurchaseLimits{Limits: make([]PurchaseLimit, len(planned))}
	for i, p := range planned {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		limit := PurchaseLimit{
			Ref: p.row.Ref, Category: p.row.Category, PurchaseLimit: group.model.PurchaseLimits(p.query(a.Group.Currency, t), a.Today, a.Group.SettingsFor(p.row.Venue, a.Today)),
			Plan: p.told(), Model: group.version(), Inspect: p.inspect(), Cautions: p.cautions(),
		}
		if p.costsFrom == CostsUnknown && limit.Refusal == nil {
			limit.Sentences = append(limit.Sentences, "What the planned finish costs is not known, so what was left out counts as nothing: tell materials, hours and days_out, or set the group's refinish_options.")
		}
		answer.Limits[i] = limit
	}
	answer.rank()
	return answer, nil
}

// rank numbers the finds, the best first: by what an hour of work earns, or by
// profit where the hours of one of them are unknown.
func (p *PurchaseLimits) rank() {
	p.RankedBy = RankedByHour
	var order []*PurchaseLimit
	for i := range p.Limits {
		l := &p.Limits[i]
		if o := l.outcome(); o != nil {
			order = append(order, l)
			if o.ProfitPerHour == nil {
				p.RankedBy = RankedByProfit
			}
		}
	}
	worth := func(l *PurchaseLimit) float64 {
		if p.RankedBy == RankedByHour {
			return *l.outcome().ProfitPerHour
		}
		return l.outcome().ExpectedProfit
	}
	slices.SortStableFunc(order, func(x, y *PurchaseLimit) int { return cmp.Compare(worth(y), worth(x)) })
	for i, l := range order {
		l.Rank = i + 1
	}
}

// outcome is at the price asked, or at the most to pay; nil: neither is known.
func (l *PurchaseLimit) outcome() *pricing.PurchaseOutcome {
	if l.AtPrice != nil {
		return l.AtPrice
	}
	return l.AtMost
}

// ownCosts reads what is on file of the costs of one's own pieces, by ref.
func (s *Service) ownCosts(ctx context.Context, a *Actor, subjects []subject) (map[string]map[CostKind]int64, error) {
	var refs []string
	for _, sub := range subjects {
		if sub.onFile != nil && sub.onFile.MemberID == a.MemberID {
			refs = append(refs, sub.onFile.Ref)
		}
	}
	if refs == nil {
		return nil, nil
	}
	rows, _, err := s.store.Listings(ctx, a.Tenant(), Query{Member: a.MemberID, Words: map[string][]string{"ref": refs}, Limit: len(refs)})
	if err != nil {
		return nil, fmt.Errorf("read the costs on file: %w", err)
	}
	costs := make(map[string]map[CostKind]int64, len(rows))
	for _, l := range rows {
		costs[l.Ref] = l.Ledger.Costs
	}
	return costs, nil
}

// plannedPiece is a find with what is planned for it.
type plannedPiece struct {
	subject            // as it stands there
	plan      *Listing // as it will be offered, with the costs until then
	daysOut   int
	refinish  bool
	costsFrom string
}

// readPlans reads the plan of each find, or says what is wrong with each.
func (a *Actor) readPlans(subjects []subject, finds []Cells, costs map[string]map[CostKind]int64) ([]plannedPiece, error) {
	var wrong []FieldError
	out := make([]plannedPiece, len(subjects))
	for i, sub := range subjects {
		var onFile map[CostKind]int64
		if sub.onFile != nil && sub.onFile.MemberID == a.MemberID {
			onFile = costs[sub.onFile.Ref]
		}
		p, errs := a.readPlan(sub, finds[i], onFile)
		for _, f := range errs {
			f.Pointer, f.Row, f.Ref = "/subjects/"+strconv.Itoa(i)+"/"+f.Column, i+1, sub.row.Ref
			wrong = append(wrong, f)
		}
		out[i] = p
	}
	if wrong != nil {
		return nil, &InvalidError{Fields: wrong}
	}
	return out, nil
}

func (a *Actor) readPlan(sub subject, cells Cells, onFile map[CostKind]int64) (plannedPiece, []FieldError) {
	d := &draft{reader: a.Reader(), Listing: *sub.row.clone()}
	if d.Ledger.Costs == nil {
		d.Ledger.Costs = make(map[CostKind]int64)
	}
	for kind, amount := range onFile {
		if _, told := d.Ledger.Costs[kind]; !told {
			d.Ledger.Costs[kind] = amount
		}
	}
	var errs []FieldError
	for i := range planColumns {
		c := &planColumns[i]
		cell := strings.TrimSpace(cells[c.Name])
		if cell == "" {
			continue
		}
		if err := c.set(d, cell); err != nil {
			errs = append(errs, FieldError{Column: c.Name, Reason: err.Error()})
		}
	}
	p := plannedPiece{subject: sub, plan: &d.Listing, costsFrom: CostsAsItIs}
	p.refinish = d.Finish != sub.row.Finish || d.Color != sub.row.Color || strings.TrimSpace(cells["planned_finish"]) != ""
	if p.refinish {
		d.settleLook(sub.row, cells)
		p.costsFrom = d.settleWork(a.Group.RefinishOptions)
	}
	if d.daysOut != nil {
		p.daysOut = *d.daysOut
	}
	if p.refinish && d.Finish == "" && errs == nil {
		errs = append(errs, FieldError{Column: "planned_finish", Reason: "is missing: say which finish takes the planned color"})
	}
	return p, errs
}

// settleLook drops what the new look does not keep of the old one.
func (d *draft) settleLook(found *Listing, cells Cells) {
	d.SecondFinish, d.SecondColor, d.Topcoat, d.Sheen = "", "", "", ""
	if strings.TrimSpace(cells["planned_color"]) == "" && d.Finish != found.Finish && d.Finish != "cleaned" {
		d.Color = ""
	}
}

// settleWork fills in the work that was left out, and says from where.
func (d *draft) settleWork(options []RefinishOption) string {
	_, materials := d.Ledger.Costs[CostMaterials]
	_, hours := d.Ledger.Costs[CostHours]
	if materials && hours && d.daysOut != nil {
		return CostsFromFind
	}
	option, found := optionFor(options, d.Finish, d.Color)
	if !found {
		return CostsUnknown
	}
	if !materials {
		d.Ledger.Costs[CostMaterials] = int64(option.Materials)
	}
	if !hours {
		d.Ledger.Costs[CostHours] = int64(option.Hours*100 + 0.5)
	}
	if d.daysOut == nil {
		d.daysOut = &option.DaysOut
	}
	return CostsFromOptions
}

// optionFor is the group's own refinish of that look: in that color, or in any.
func optionFor(options []RefinishOption, finish, color string) (RefinishOption, bool) {
	for _, fits := range []func(RefinishOption) bool{
		func(o RefinishOption) bool { return o.Color == color },
		func(o RefinishOption) bool { return o.Color == "" || color == "" },
	} {
		for _, o := range options {
			if o.Finish == finish && fits(o) {
				return o, true
			}
		}
	}
	return RefinishOption{}, false
}

func (p *plannedPiece) hours() float64 {
	return float64(p.plan.Ledger.Costs[CostHours]+p.plan.Ledger.Costs[CostHoursOther]) / 100
}

func (p *plannedPiece) query(c Currency, t PurchaseTarget) pricing.PurchaseQuery {
	cost := func(kind CostKind) float64 { return Money(p.plan.Ledger.Costs[kind]).Major(c) }
	q := pricing.PurchaseQuery{
		Attributes: p.plan.Attributes(), Planned: p.refinish, Estimate: p.estimate.Major(c),
		Materials: cost(CostMaterials), Hours: p.hours(), Transport: cost(CostPickup), Other: cost(CostOther), DaysOut: p.daysOut,
		Target: pricing.Target{MarginPercent: t.MarginPercent, Hourly: t.Hourly.Major(c), Profit: t.Profit.Major(c)},
	}
	if _, known := p.plan.Ledger.Costs[CostPurchase]; known {
		q.Price = new(cost(CostPurchase))
	} else if p.row.SellerAsk > 0 {
		q.Price = new(p.row.SellerAsk.Major(c))
	}
	return q
}

func (p *plannedPiece) told() PurchasePlan {
	out := PurchasePlan{Finish: p.plan.Finish, Color: p.plan.Color, Hours: p.hours(), DaysOut: p.daysOut, CostsFrom: p.costsFrom}
	if p.plan.Condition > 0 {
		out.Condition = conditions[p.plan.Condition-1]
	}
	return out
}

var (
	drawerCategories = []string{"dresser", "chest_of_drawers", "nightstand", "vanity", "sideboard", "desk", "secretary"}
	jointCategories  = []string{"dining_chair", "armchair", "stool", "bench", "dining_table", "bed_frame"}
	woodFinishes     = []string{"clear", "stained", "oiled", "raw", "whitewashed"}
	ragFinishes      = []string{"clear", "stained", "oiled"}
)

// inspect is what to look at before paying: what was not told of such a piece.
// Common practice, no source.
func (p *plannedPiece) inspect() []string {
	var out []string
	add := func(applies bool, word string) {
		if applies {
			out = append(out, word)
		}
	}
	add(p.row.Condition == 0, "condition")
	add(p.row.Material == "", "material")
	add(p.row.Smell == "", "smell")
	add(p.row.Flaws == "" && p.row.Material == "veneer", "lifting_veneer")
	add(p.row.Flaws == "" && (p.row.Material == "" || p.row.Material == "solid_wood"), "woodworm")
	add(p.row.Flaws == "" && slices.Contains(drawerCategories, p.row.Category), "drawers_run")
	add(p.row.Flaws == "" && slices.Contains(jointCategories, p.row.Category), "loose_joints")
	add(p.row.Hardware == "", "hardware_complete")
	return out
}

// cautions are those for working on the piece and selling it again.
func (p *plannedPiece) cautions() []Caution {
	var cautions []Caution
	if p.refinish && p.plan.Finish != "cleaned" && p.plan.Finish != "original" {
		if p.row.mayHoldLead() {
			cautions = append(cautions, cautionLead)
		}
		if slices.Contains(woodFinishes, p.plan.Finish) {
			cautions = append(cautions, cautionStripper)
		}
		if slices.Contains(ragFinishes, p.plan.Finish) {
			cautions = append(cautions, cautionRags)
		}
	}
	for _, c := range sellingCautions(p.plan) {
		if c != cautionPooling && c != cautionBuyers { // nothing is offered yet
			cautions = append(cautions, c)
		}
	}
	return cautions
}
