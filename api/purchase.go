package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/recording"
)

// PurchaseRequest asks what to pay at most for some finds.
type PurchaseRequest struct {
	// Rows: category is needed; or the id or ref of a row on file, other columns
	// laid over it. Beside the columns of a row: planned_finish, planned_color,
	// planned_second_finish, planned_second_color, planned_topcoat,
	// planned_condition, price (asked), materials, transport, other, days_out.
	Subjects []FindCells     `json:"subjects" swaggertype:"array,object"`
	Target   *PurchaseTarget `json:"target"`
}

// PurchaseTarget is the profit wanted: one of the three. None: the larger of
// half of what is left and the group's minimum_profit.
type PurchaseTarget struct {
	MarginPercent *float64 `json:"margin_percent" example:"40"`              // points of the sale price after fees
	Hourly        *Decimal `json:"hourly" swaggertype:"number" example:"25"` // earned per hour of work
	Profit        *Decimal `json:"profit" swaggertype:"number" example:"80"` // on the piece
}

// PurchaseLimitsAnswer has one limit for each subject, in order.
type PurchaseLimitsAnswer struct {
	Limits   []PurchaseLimit `json:"limits"`
	RankedBy string          `json:"ranked_by" enums:"profit_per_hour,profit"` // profit where the hours of one are unknown
}

// PurchaseLimit is what to pay at most for a piece as it stands. What cannot
// be answered is left out, and refusal says why.
type PurchaseLimit struct {
	Ref            string           `json:"ref,omitempty"`
	Category       string           `json:"category"`
	Rank           *int             `json:"rank"`                                                  // 1 is the best of the finds; null: refused
	Offer          *number          `json:"offer,omitempty" swaggertype:"number" example:"60"`     // to open with
	WalkAway       *number          `json:"walk_away,omitempty" swaggertype:"number" example:"85"` // the round price that is not above most_to_pay
	MostToPay      *number          `json:"most_to_pay,omitempty" swaggertype:"number"`            // cautious; negative: not at any price
	AtLikely       *number          `json:"at_likely,omitempty" swaggertype:"number"`              // if it sells as expected
	BreakEven      *number          `json:"break_even,omitempty" swaggertype:"number"`             // where nothing is earned, the hours paid
	RuleOfThird    *number          `json:"rule_of_third,omitempty" swaggertype:"number"`          // a third of the likely sale less transport and materials: common practice
	ExpectedProfit *number          `json:"expected_profit,omitempty" swaggertype:"number"`        // at most_to_pay, the hours paid
	ProfitPerHour  *number          `json:"profit_per_hour,omitempty" swaggertype:"number"`        // at most_to_pay: earned by an hour of work
	ChanceOfLoss   *number          `json:"chance_of_loss,omitempty" swaggertype:"number"`         // at most_to_pay
	AtPrice        *PurchaseOutcome `json:"at_price,omitempty"`                                    // at the price asked
	Plan           PurchasePlan     `json:"plan"`                                                  // what it rests on
	Ask            *number          `json:"ask,omitempty" swaggertype:"number"`                    // balanced, that the figures rest on
	SalePrice      *PriceRange      `json:"sale_price,omitempty"`                                  // in the planned finish
	Costs          *PurchaseCosts   `json:"costs,omitempty"`                                       // until the sale, the price of the piece aside
	Sensitivity    []Sensitivity    `json:"sensitivity,omitempty"`                                 // what moves most_to_pay, the most first
	Inspect        []Inspection     `json:"inspect"`                                               // what to look at before paying
	Warnings       []Warning        `json:"warnings"`                                              // an unusual size, and what to mind in the planned work
	Basis          Basis            `json:"basis"`
	Labels         []string         `json:"labels,omitempty" example:"low_confidence"`
	Refusal        *Refusal         `json:"refusal,omitempty"`
	Sentences      []string         `json:"sentences"`
	Cautions       []Caution        `json:"cautions"`
}

// PurchaseOutcome is what a price leads to.
type PurchaseOutcome struct {
	Price          number  `json:"price" swaggertype:"number"`
	ExpectedProfit number  `json:"expected_profit" swaggertype:"number"` // the hours paid
	ProfitPerHour  *number `json:"profit_per_hour,omitempty" swaggertype:"number"`
	ChanceOfLoss   *number `json:"chance_of_loss,omitempty" swaggertype:"number"`
}

// PurchasePlan is the look and the work that a limit rests on.
type PurchasePlan struct {
	Finish    string `json:"finish,omitempty"`
	Color     string `json:"color,omitempty"`
	Condition string `json:"condition,omitempty"` // as it will be offered
	Hours     number `json:"hours" swaggertype:"number"`
	DaysOut   int    `json:"days_out"`                                                           // owned before it can be listed
	CostsFrom string `json:"costs_from" enums:"find,refinish_options,estimate,nothing,as_it_is"` // where what was left out comes from
}

// PurchaseCosts are the costs between buying and the sale.
type PurchaseCosts struct {
	Materials number `json:"materials" swaggertype:"number"`
	Labor     number `json:"labor" swaggertype:"number"` // the hours at their value
	Transport number `json:"transport" swaggertype:"number"`
	Other     number `json:"other" swaggertype:"number"`
	Holding   number `json:"holding" swaggertype:"number"` // until the expected sale
	Fees      number `json:"fees" swaggertype:"number"`
}

// Sensitivity is what one changed input does to most_to_pay.
type Sensitivity struct {
	Input      string `json:"input" example:"condition"`
	Change     string `json:"change" example:"one grade lower"`
	MostToPay  number `json:"most_to_pay" swaggertype:"number"`
	Difference number `json:"difference" swaggertype:"number" example:"-18"`
}

// Inspection is something to look at before paying.
type Inspection struct {
	Code   string `json:"code" example:"drawers_run"`
	Text   string `json:"text"`
	Source string `json:"source" example:"common practice, no source"`
}

func (i Inspection) code() string { return i.Code }

// createPurchaseLimits says what to pay at most for some finds, in order.
//
//	@Summary		Say what to pay at most for pieces as they stand
//	@Description	A CSV of finds is taken, too, with the target in the address; Accept: text/csv answers one line for each.
//	@Tags			advice
//	@Accept			json,text/csv
//	@Produce		json,text/csv,application/problem+json
//	@Param			query	query		PurchaseQuery	false	"for CSV"
//	@Param			body	body		PurchaseRequest	true	"at most 500 subjects"
//	@Success		200		{object}	PurchaseLimitsAnswer
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/purchase-limits [post]
func (s *Server) createPurchaseLimits(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	if err := wantMediaType(c, "application/json", "text/csv"); err != nil {
		return err
	}
	p := paramsOf(c)
	options := csvParams(p, form, columnNames(purchaseColumns))
	finds, target, err := s.finds(c, a, p)
	if err != nil {
		return err
	}
	if err := s.limit(c, a, len(finds)/subjectsPerUnit); err != nil {
		return err
	}
	found, err := s.service.Advice.PurchaseLimits(c.Request.Context(), a, finds, target)
	if err != nil {
		return withPointers(err)
	}
	out := PurchaseLimitsAnswer{Limits: each(found.Limits, viewerOf(a).purchaseLimit), RankedBy: found.RankedBy}
	if form == formCSV {
		return writeTable(c, "purchase-limits.csv", purchaseColumns, options, out.Limits)
	}
	return answer(c, http.StatusOK, out)
}

// PurchaseQuery goes with a CSV of finds or of limits.
type PurchaseQuery struct {
	MarginPercent float64 `form:"margin_percent"` // of a CSV: the target
	Hourly        float64 `form:"hourly"`
	Profit        float64 `form:"profit"`
	TableQuery
}

// finds reads the body: finds with their target as JSON, or as CSV with the
// target in the address.
func (s *Server) finds(c *gin.Context, a *service.Actor, p *params) ([]service.Cells, advice.PurchaseTarget, error) {
	var body PurchaseRequest
	if mediaTypeOf(c) != "text/csv" {
		if err := p.done(); err != nil {
			return nil, advice.PurchaseTarget{}, err
		}
		if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
			return nil, advice.PurchaseTarget{}, err
		}
		finds := make([]service.Cells, len(body.Subjects))
		for i, cells := range body.Subjects {
			finds[i] = service.Cells(cells)
		}
		target, err := body.Target.read(a)
		return finds, target, err
	}
	asked := &PurchaseTarget{}
	if margin, ok := p.number("margin_percent"); ok {
		asked.MarginPercent = &margin
	}
	for name, to := range map[string]**Decimal{"hourly": &asked.Hourly, "profit": &asked.Profit} {
		if text := p.text(name); text != "" {
			*to = new(Decimal(text))
		}
	}
	if err := p.done(); err != nil {
		return nil, advice.PurchaseTarget{}, err
	}
	target, err := asked.read(a)
	if err != nil {
		return nil, target, inQuery(err)
	}
	finds, err := csvFinds(c)
	return finds, target, err
}

// csvFinds reads a table of finds; blank rows are passed over.
func csvFinds(c *gin.Context) ([]service.Cells, error) {
	file, err := spool(c.Request.Body)
	if err != nil {
		return nil, err
	}
	defer file.Close() // its name is gone already
	var finds []service.Cells
	var wrong []service.FieldError
	f := &rowFile{file: file, columns: findColumns, mostRows: service.MaxSubjects}
	err = f.csvRows(func(row recording.Row) error {
		wrong = append(wrong, row.Errors...)
		for _, cell := range row.Cells {
			if cell != "" {
				finds = append(finds, row.Cells)
				break
			}
		}
		return nil
	})
	if err == nil && wrong != nil {
		err = &service.InvalidError{Fields: wrong}
	}
	return finds, err
}

func (t *PurchaseTarget) read(a *service.Actor) (advice.PurchaseTarget, error) {
	var out advice.PurchaseTarget
	if t == nil {
		return out, nil
	}
	if t.MarginPercent != nil {
		out.MarginPercent = *t.MarginPercent
		if out.MarginPercent == 0 {
			return out, service.Invalid("margin_percent", "must be more than zero")
		}
	}
	for name, m := range map[string]struct {
		to   *service.Money
		from *Decimal
	}{"hourly": {&out.Hourly, t.Hourly}, "profit": {&out.Profit, t.Profit}} {
		if m.from == nil {
			continue
		}
		amount, err := service.ParseMoney(string(*m.from), a.Group.Currency, '.')
		if err == nil && amount <= 0 {
			return out, service.Invalid(name, "must be more than zero")
		}
		if err != nil {
			return out, service.Invalid(name, "%v", err)
		}
		*m.to = amount
	}
	return out, nil
}

func (v viewer) purchaseLimit(f advice.PurchaseLimit) PurchaseLimit {
	money := moneyIn(v.currency)
	out := PurchaseLimit{
		Ref: f.Ref, Category: f.Category, Offer: optional(f.Offer, money), WalkAway: optional(f.WalkAway, money),
		MostToPay: optional(f.MostToPay, money), AtLikely: optional(f.AtLikely, money), BreakEven: optional(f.BreakEven, money),
		RuleOfThird: optional(f.RuleOfThird, money), Ask: known(f.Ask, money),
		Plan: PurchasePlan{
			Finish: f.Plan.Finish, Color: f.Plan.Color, Condition: f.Plan.Condition, Hours: rounded(f.Plan.Hours, 2),
			DaysOut: f.Plan.DaysOut, CostsFrom: f.Plan.CostsFrom,
		},
		Inspect: each(f.Inspect, func(i service.Inspection) Inspection { return Inspection(i) }), Warnings: warnings(f.Warnings, v.actor.Group), Basis: basis(f.Basis, f.Model), Labels: f.Labels, Refusal: refusal(f.Refusal), Sentences: notNil(f.Sentences),
		Cautions: cautions(f.Cautions), AtPrice: v.purchaseOutcome(f.AtPrice), SalePrice: priceRange(f.SalePrice, money),
	}
	if f.Rank > 0 {
		out.Rank = &f.Rank
	}
	if most := v.purchaseOutcome(f.AtMost); most != nil {
		out.ExpectedProfit, out.ProfitPerHour, out.ChanceOfLoss = &most.ExpectedProfit, most.ProfitPerHour, most.ChanceOfLoss
	}
	if f.BreakEven != nil {
		x := f.Costs
		out.Costs = &PurchaseCosts{
			Materials: money(x.Materials), Labor: money(x.Labor), Transport: money(x.Transport), Other: money(x.Other),
			Holding: money(x.Holding), Fees: money(x.Fees),
		}
	}
	for _, line := range f.Sensitivity {
		out.Sensitivity = append(out.Sensitivity, Sensitivity{Input: line.Input, Change: line.Change, MostToPay: money(line.MostToPay), Difference: money(line.Difference)})
	}
	return out
}

func (v viewer) purchaseOutcome(o *pricing.PurchaseOutcome) *PurchaseOutcome {
	if o == nil {
		return nil
	}
	money := moneyIn(v.currency)
	return &PurchaseOutcome{
		Price: money(o.Price), ExpectedProfit: money(o.ExpectedProfit), ProfitPerHour: optional(o.ProfitPerHour, money),
		ChanceOfLoss: optional(o.ChanceOfLoss, chance),
	}
}

var purchaseColumns = columnsOf[PurchaseLimit](`
	ref category rank offer walk_away most_to_pay at_likely break_even rule_of_third expected_profit
	profit_per_hour chance_of_loss price=at_price.price
	price_expected_profit=at_price.expected_profit price_profit_per_hour=at_price.profit_per_hour
	price_chance_of_loss=at_price.chance_of_loss finish=plan.finish color=plan.color
	hours=plan.hours days_out=plan.days_out costs_from=plan.costs_from ask
	sale_price_likely=sale_price.likely sale_price_low=sale_price.low
	sale_price_high=sale_price.high inspect refusal=refusal.reason cautions`)
