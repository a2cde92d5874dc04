package advice

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/model"
)

// ownCosts reads what is on file of the costs of one's own pieces, by ref.
func (s *Service) ownCosts(ctx context.Context, a *service.Actor, subjects []subject) (map[string]service.Costs, error) {
	var refs []string
	for _, sub := range subjects {
		if sub.onFile != nil && sub.onFile.MemberID == a.MemberID {
			refs = append(refs, sub.onFile.Ref)
		}
	}
	if refs == nil {
		return nil, nil
	}
	rows, _, err := s.store.Listings(ctx, a.Tenant(), service.Query{Member: a.MemberID, Words: map[string][]string{"ref": refs}, Limit: len(refs)})
	if err != nil {
		return nil, fmt.Errorf("read the costs on file: %w", err)
	}
	costs := make(map[string]service.Costs, len(rows))
	for _, l := range rows {
		costs[l.Ref] = l.Ledger.Costs
	}
	return costs, nil
}

// plannedPiece is a find with what is planned for it.
type plannedPiece struct {
	subject                    // as it stands there
	plan      *service.Listing // as it will be offered, with the costs until then
	refinish  bool
	work      *WorkEstimate // of a refinish
	daysOut   int
	costsFrom string
	reached   string // where the condition in the end comes from
	note      string // what is not known of the work
}

// readPlans reads the plan of each find without faults, or adds what is wrong with
// it to them.
func (s *Service) readPlans(ctx context.Context, a *service.Actor, m *pricing.Model, subjects []subject,
	finds []service.Cells, faults [][]service.FieldError) ([]plannedPiece, error) {
	costs, err := s.ownCosts(ctx, a, subjects)
	if err != nil {
		return nil, err
	}
	var workshop *Workshop // read when the first piece needs it
	out := make([]plannedPiece, len(subjects))
	for i, sub := range subjects {
		if faults[i] != nil {
			continue
		}
		var onFile service.Costs
		if sub.onFile != nil && sub.onFile.MemberID == a.MemberID {
			onFile = costs[sub.onFile.Ref]
		}
		cells := withPlanOnFile(finds[i], sub.onFile)
		d, errs := readPlan(a, sub, cells, onFile)
		if errs != nil {
			faults[i] = inSubject(i, errs)
			continue
		}
		p := plannedPiece{subject: sub, plan: &d.Listing, refinish: planIn(cells), costsFrom: CostsAsItIs}
		p.reached = p.reach(m, strings.TrimSpace(cells["planned_condition"]) != "")
		if p.refinish && workshop == nil {
			if workshop, err = s.Workshop(ctx, a); err != nil {
				return nil, err
			}
		}
		if err := p.fillWork(d, workshop); err != nil {
			return nil, err
		}
		out[i] = p
	}
	return out, nil
}

// lookColumns are those of the plan that change the look.
var lookColumns = []string{"planned_finish", "planned_color", "planned_second_finish", "planned_second_color", "planned_topcoat"}

// planIn reports whether another look is planned.
func planIn(cells service.Cells) bool {
	return slices.ContainsFunc(lookColumns, func(name string) bool { return strings.TrimSpace(cells[name]) != "" })
}

// withPlanOnFile adds the look that is planned on file, where none is told.
func withPlanOnFile(cells service.Cells, onFile *model.Recorded) service.Cells {
	if onFile == nil || onFile.PlannedFinish == "" || planIn(cells) {
		return cells
	}
	cells = maps.Clone(cells)
	cells["planned_finish"], cells["planned_color"] = onFile.PlannedFinish, onFile.PlannedColor
	return cells
}

// readPlan reads what is planned onto a copy of the row: the look that it will
// have and the costs until then.
func readPlan(a *service.Actor, sub subject, cells service.Cells, onFile service.Costs) (*service.Draft, []service.FieldError) {
	d := &service.Draft{Reader: a.Reader(), Listing: *sub.row.Clone()}
	if d.Ledger.Costs == nil {
		d.Ledger.Costs = make(service.Costs)
	}
	for kind, amount := range onFile {
		if _, told := d.Ledger.Costs[kind]; !told {
			d.Ledger.Costs[kind] = amount
		}
	}
	if planIn(cells) { // what the new look does not keep of the old one
		d.Color, d.SecondFinish, d.SecondColor, d.Topcoat, d.Sheen = "", "", "", "", ""
	}
	var errs []service.FieldError
	for i := range service.PlanColumns {
		c := &service.PlanColumns[i]
		cell := strings.TrimSpace(cells[c.Name])
		if cell == "" {
			continue
		}
		if err := c.Set(d, cell); err != nil {
			fault := service.FaultOf(c.Name, err)
			fault.Ref = d.Ref
			errs = append(errs, fault)
		}
	}
	if d.Finish == sub.row.Finish || d.Finish == "cleaned" { // the color stays unless told
		d.Color = cmp.Or(d.Color, sub.row.Color)
	}
	if planIn(cells) && d.Finish == "" && errs == nil {
		errs = append(errs, service.FieldError{Ref: d.Ref, Column: "planned_finish", Reason: "is missing: say which finish is planned"})
	}
	return d, errs
}

// reach settles the condition that the piece will be offered in, and says where
// it comes from. Work seldom leaves a piece as worn as it was found: where none
// is told it is what the group's pieces reach with that finish, else very good.
func (p *plannedPiece) reach(m *pricing.Model, told bool) string {
	switch {
	case told:
		return ConditionFromFind
	case !p.refinish || p.plan.Finish == "original":
		return ConditionAsItIs
	}
	from, grade := ConditionFromDefault, usualGrade
	if reached, pieces := m.Reached(p.plan.Finish); pieces >= pricing.ProvenSales {
		from, grade = ConditionFromGroup, reached
	}
	p.plan.Condition = max(p.row.Condition, grade)
	return from
}

// usualGrade is very good.
const usualGrade = 4

// fillWork fills in what the work takes where the find left it out, and says
// from where.
func (p *plannedPiece) fillWork(d *service.Draft, workshop *Workshop) error {
	defer func() {
		if d.DaysOut != nil {
			p.daysOut = *d.DaysOut
		}
	}()
	if !p.refinish {
		return nil
	}
	plan := Plan{Finish: d.Finish, Color: d.Color, SecondFinish: d.SecondFinish, SecondColor: d.SecondColor, Topcoat: d.Topcoat}
	if d.Condition != p.row.Condition {
		plan.Condition = service.Conditions[d.Condition-1]
	}
	work, err := workshop.Estimate(p.row, plan)
	if err != nil {
		return fmt.Errorf("estimate the work: %w", err)
	}
	p.work = work
	_, materials := d.Ledger.Costs[service.CostMaterials]
	_, hours := d.Ledger.Costs[service.CostHours]
	if materials && hours && d.DaysOut != nil {
		p.costsFrom = CostsFromFind
		return nil
	}
	if r := work.Work.Refusal; r != nil {
		p.note = r.Detail
		if r.Reason != refinish.PriceUnknown {
			p.costsFrom = CostsUnknown
			return nil
		}
	}
	p.costsFrom = CostsFromEstimate
	if work.Quoted {
		p.costsFrom = CostsFromOptions
	}
	if !materials {
		d.Ledger.Costs[service.CostMaterials] = service.Amount(work.Materials)
	}
	if !hours {
		d.Ledger.Costs[service.CostHours] = service.Amount(service.HoursOf(work.Hours))
	}
	if d.DaysOut == nil {
		d.DaysOut = &work.DaysOut
	}
	return nil
}

func (p *plannedPiece) hours() float64 {
	return p.plan.Ledger.Costs.AllHours().Float()
}

func (p *plannedPiece) query(c service.Currency, t PurchaseTarget) buying.Query {
	cost := func(kind service.CostKind) float64 { return p.plan.Ledger.Costs.Money(kind).Major(c) }
	q := buying.Query{
		Attributes: p.plan.Attributes(), Planned: p.refinish, OwnPrice: p.estimate.Major(c),
		Materials: cost(service.CostMaterials), Hours: p.hours(), DaysOut: p.daysOut,
		Pickup: cost(service.CostPickup), Other: cost(service.CostOther),
		Target: buying.Target{MarginPercent: t.MarginPercent, PerHour: t.Hourly.Major(c), Profit: t.Profit.Major(c)},
	}
	if _, known := p.plan.Ledger.Costs[service.CostPurchase]; known {
		q.SellerAsk = new(cost(service.CostPurchase))
	} else if p.row.SellerAsk > 0 {
		q.SellerAsk = new(p.row.SellerAsk.Major(c))
	}
	return q
}

func (p *plannedPiece) summary() PurchaseWork {
	out := PurchaseWork{
		Finish: p.plan.Finish, Color: p.plan.Color, ConditionFrom: p.reached,
		Hours: p.hours(), DaysOut: p.daysOut, CostsFrom: p.costsFrom,
	}
	if p.plan.Condition > 0 {
		out.Condition = service.Conditions[p.plan.Condition-1]
	}
	return out
}

// cautions are those for working on the piece and selling it again; nothing is
// offered yet.
func (p *plannedPiece) cautions() []service.Caution {
	o := service.Occasion{Piece: p.plan, Deeds: service.ToSell | service.ToHandOver}
	if p.work != nil {
		o.Work = []*refinish.Work{&p.work.Work}
	}
	return o.Cautions()
}
