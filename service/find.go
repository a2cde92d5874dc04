package service

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"askwright/pricing"
)

// A find is a piece that may be bought, with what is planned for it.

// planColumns are what a find may have beside the columns of a row: the look
// and the costs planned for it. They are read onto a copy of the row.
var planColumns = []Column{
	wordColumn("planned_finish", finishes, func(l *Listing) *string { return &l.Finish }).kept(),
	wordColumn("planned_color", colors, func(l *Listing) *string { return &l.Color }).kept(),
	wordColumn("planned_second_finish", finishes, func(l *Listing) *string { return &l.SecondFinish }).kept(),
	wordColumn("planned_second_color", colors, func(l *Listing) *string { return &l.SecondColor }).kept(),
	wordColumn("planned_topcoat", topcoats, func(l *Listing) *string { return &l.Topcoat }).kept(),
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

// ownCosts reads what is on file of the costs of one's own pieces, by ref.
func (s *Service) ownCosts(ctx context.Context, a *Actor, subjects []subject) (map[string]Costs, error) {
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
	costs := make(map[string]Costs, len(rows))
	for _, l := range rows {
		costs[l.Ref] = l.Ledger.Costs
	}
	return costs, nil
}

// plannedPiece is a find with what is planned for it.
type plannedPiece struct {
	subject            // as it stands there
	plan      *Listing // as it will be offered, with the costs until then
	refinish  bool
	work      *WorkEstimate // of a refinish
	daysOut   int
	costsFrom string
	note      string // what is not known of the work
}

// readPlans reads the plan of each find, or says what is wrong with each.
func (s *Service) readPlans(ctx context.Context, a *Actor, subjects []subject, finds []Cells) ([]plannedPiece, error) {
	costs, err := s.ownCosts(ctx, a, subjects)
	if err != nil {
		return nil, err
	}
	var workshop *Workshop // read when the first piece needs it
	var wrong []FieldError
	out := make([]plannedPiece, len(subjects))
	for i, sub := range subjects {
		var onFile Costs
		if sub.onFile != nil && sub.onFile.MemberID == a.MemberID {
			onFile = costs[sub.onFile.Ref]
		}
		cells := withPlanOnFile(finds[i], sub.onFile)
		d, errs := a.readPlan(sub, cells, onFile)
		if errs != nil {
			wrong = append(wrong, inSubject(i, errs)...)
			continue
		}
		p := plannedPiece{subject: sub, plan: &d.Listing, refinish: planIn(cells), costsFrom: CostsAsItIs}
		if p.refinish && workshop == nil {
			if workshop, err = s.Workshop(ctx, a); err != nil {
				return nil, err
			}
		}
		if err := p.settleWork(d, workshop); err != nil {
			return nil, err
		}
		out[i] = p
	}
	if wrong != nil {
		return nil, &InvalidError{Fields: wrong}
	}
	return out, nil
}

// lookColumns are those of the plan that change the look.
var lookColumns = []string{"planned_finish", "planned_color", "planned_second_finish", "planned_second_color", "planned_topcoat"}

// planIn reports whether another look is planned.
func planIn(cells Cells) bool {
	return slices.ContainsFunc(lookColumns, func(name string) bool { return strings.TrimSpace(cells[name]) != "" })
}

// withPlanOnFile adds the look that is planned on file, where none is told.
func withPlanOnFile(cells Cells, onFile *Recorded) Cells {
	if onFile == nil || onFile.PlannedFinish == "" || planIn(cells) {
		return cells
	}
	cells = maps.Clone(cells)
	cells["planned_finish"], cells["planned_color"] = onFile.PlannedFinish, onFile.PlannedColor
	return cells
}

// readPlan reads what is planned onto a copy of the row: the look that it will
// have and the costs until then.
func (a *Actor) readPlan(sub subject, cells Cells, onFile Costs) (*draft, []FieldError) {
	d := &draft{reader: a.Reader(), Listing: *sub.row.clone()}
	if d.Ledger.Costs == nil {
		d.Ledger.Costs = make(Costs)
	}
	for kind, amount := range onFile {
		if _, told := d.Ledger.Costs[kind]; !told {
			d.Ledger.Costs[kind] = amount
		}
	}
	if planIn(cells) { // what the new look does not keep of the old one
		d.Color, d.SecondFinish, d.SecondColor, d.Topcoat, d.Sheen = "", "", "", "", ""
	}
	var errs []FieldError
	for i := range planColumns {
		c := &planColumns[i]
		cell := strings.TrimSpace(cells[c.Name])
		if cell == "" {
			continue
		}
		if err := c.set(d, cell); err != nil {
			errs = append(errs, FieldError{Ref: d.Ref, Column: c.Name, Reason: err.Error()})
		}
	}
	if d.Finish == sub.row.Finish || d.Finish == "cleaned" { // the color stays unless told
		d.Color = cmp.Or(d.Color, sub.row.Color)
	}
	if planIn(cells) && d.Finish == "" && errs == nil {
		errs = append(errs, FieldError{Ref: d.Ref, Column: "planned_finish", Reason: "is missing: say which finish is planned"})
	}
	return d, errs
}

// settleWork fills in what the work takes where the find left it out, and says
// from where.
func (p *plannedPiece) settleWork(d *draft, workshop *Workshop) error {
	defer func() {
		if d.daysOut != nil {
			p.daysOut = *d.daysOut
		}
	}()
	if !p.refinish {
		return nil
	}
	plan := Plan{Finish: d.Finish, Color: d.Color, SecondFinish: d.SecondFinish, SecondColor: d.SecondColor, Topcoat: d.Topcoat}
	if d.Condition != p.row.Condition {
		plan.Condition = conditions[d.Condition-1]
	}
	work, err := workshop.Estimate(p.row, plan)
	if err != nil {
		return fmt.Errorf("estimate the work: %w", err)
	}
	p.work = work
	_, materials := d.Ledger.Costs[CostMaterials]
	_, hours := d.Ledger.Costs[CostHours]
	if materials && hours && d.daysOut != nil {
		p.costsFrom = CostsFromFind
		return nil
	}
	if r := work.Refusal; r != nil {
		p.note = r.Detail
		if r.Reason != pricing.PriceUnknown {
			p.costsFrom = CostsUnknown
			return nil
		}
	}
	p.costsFrom = CostsFromEstimate
	if work.Quoted {
		p.costsFrom = CostsFromOptions
	}
	if !materials {
		d.Ledger.Costs[CostMaterials] = Amount(work.Materials)
	}
	if !hours {
		d.Ledger.Costs[CostHours] = Amount(HoursOf(work.Hours))
	}
	if d.daysOut == nil {
		d.daysOut = &work.DaysOut
	}
	return nil
}

func (p *plannedPiece) hours() float64 {
	return p.plan.Ledger.Costs.AllHours().Float()
}

func (p *plannedPiece) query(c Currency, t PurchaseTarget) pricing.PurchaseQuery {
	cost := func(kind CostKind) float64 { return p.plan.Ledger.Costs.Money(kind).Major(c) }
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

// cautions are those for working on the piece and selling it again; nothing is
// offered yet.
func (p *plannedPiece) cautions() []Caution {
	o := occasion{piece: p.plan, deeds: toSell | toHandOver}
	if p.work != nil {
		o.work = []*pricing.Work{&p.work.Work}
	}
	return o.cautions()
}

// NewFindName proposes a name for a find: of the moment, so that nobody has to
// look what is taken.
func (a *Actor) NewFindName() string {
	return "F-" + a.Now.In(a.Group.Location()).Format("20060102-150405")
}

// KeepFind puts a find on file as it was described. Owner-only cells but the
// estimate are left out: beforehand hours and costs are guesses, on file they are
// what was spent. A name that is taken is an ErrConflict: nothing is overwritten.
func (s *Service) KeepFind(ctx context.Context, a *Actor, find Cells) (*Change, error) {
	cells := Cells{"stage": StageFound}
	for name, cell := range find {
		if c, ok := ColumnByName(name); ok && (!c.OwnerOnly || name == "estimate") {
			cells[name] = cell
		}
	}
	return s.record(ctx, a, cells, true)
}

// KeptFinds are the actor's own finds that were neither bought nor passed over.
func (s *Service) KeptFinds(ctx context.Context, a *Actor) ([]*Listing, error) {
	pieces, _, err := s.Pieces(ctx, a, PieceQuery{Member: a.MemberID, State: []string{StageFound}, Limit: MaxSubjects})
	rows := make([]*Listing, len(pieces))
	for i, p := range pieces {
		rows[i] = p.newest()
	}
	return rows, err
}
