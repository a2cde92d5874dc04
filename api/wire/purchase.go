package wire

import (
	"github.com/gin-gonic/gin"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/pricing/buying"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/recording"
	"askwright/service/track"
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

// PurchaseTarget is the profit wanted: one of the three. None: no more than the
// hours at their rate and the group's minimum_profit.
type PurchaseTarget struct {
	MarginPercent *float64     `json:"margin_percent" example:"40"`              // points of the sale price after fees
	Hourly        *web.Decimal `json:"hourly" swaggertype:"number" example:"25"` // earned per hour of work
	Profit        *web.Decimal `json:"profit" swaggertype:"number" example:"80"` // on the piece
}

// PurchaseLimitsAnswer has one limit for each subject, in order.
type PurchaseLimitsAnswer struct {
	Items    []PurchaseLimit `json:"items"`
	Next     *string         `json:"next"`                                      // always null
	RankedBy string          `json:"ranked_by" enums:"cash_per_hour,cash_left"` // cash_left where the hours of one are unknown
}

// PurchaseLimit is what to pay at most for a piece as it stands. What cannot
// be answered is left out, and refusal says why.
type PurchaseLimit struct {
	Ref         string           `json:"ref,omitempty"`
	Category    string           `json:"category"`
	Rank        *int             `json:"rank"`                                                  // 1 is the best of the finds; null: refused
	Offer       *web.Number      `json:"offer,omitempty" swaggertype:"number" example:"60"`     // to open with
	WalkAway    *web.Number      `json:"walk_away,omitempty" swaggertype:"number" example:"85"` // the round price that is not above most_to_pay
	MostToPay   *web.Number      `json:"most_to_pay,omitempty" swaggertype:"number"`            // cautious; negative: not even for nothing
	AtLikely    *web.Number      `json:"at_likely,omitempty" swaggertype:"number"`              // what leaves the profit wanted on average; left out where no profit is stated
	BreakEven   *web.Number      `json:"break_even,omitempty" swaggertype:"number"`             // where the hours are just paid on average; left out likewise
	RuleOfThird *web.Number      `json:"rule_of_third,omitempty" swaggertype:"number"`          // a third of the likely sale less transport and materials: common practice
	AtMost      *PurchaseOutcome `json:"at_most"`                                               // at most_to_pay, or for nothing where that is negative; null: no profit is stated
	AtSellerAsk *PurchaseOutcome `json:"at_seller_ask"`                                         // at what is asked; null: not known, or no profit is stated
	PassBy      *string          `json:"pass_by" enums:"cash_left,left_after_hours"`            // the figure that is lost at what is asked, or, where that is not known, for nothing; null: no reason to pass
	Plan        PurchasePlan     `json:"plan"`                                                  // what it rests on
	Ask         *web.Number      `json:"ask,omitempty" swaggertype:"number"`                    // balanced, that the figures rest on
	SalePrice   *PriceRange      `json:"sale_price,omitempty"`                                  // in the planned finish
	Costs       *PurchaseCosts   `json:"costs,omitempty"`                                       // until the sale, the price of the piece aside
	Sensitivity []Sensitivity    `json:"sensitivity,omitempty"`                                 // what moves most_to_pay, the most first
	Inspect     []Inspection     `json:"inspect"`                                               // what to look at before paying
	Warnings    []Warning        `json:"warnings"`                                              // an unusual size, and what to mind in the planned work
	Basis       Basis            `json:"basis"`
	Labels      []string         `json:"labels,omitempty" example:"low_confidence"`
	Refusal     *Refusal         `json:"refusal,omitempty"`
	Sentences   []Sentence       `json:"sentences"`
	Cautions    []Caution        `json:"cautions"`

	Errors []web.ProblemError `json:"errors"` // why the find could not be read: nothing else is answered then
}

// PurchaseOutcome is what a price leads to on average. No profit is stated from
// fewer than 50 sales without one's own price (estimate) of the finished piece.
type PurchaseOutcome struct {
	Price web.Number `json:"price" swaggertype:"number"`
	// CashLeft: after fees and all that is paid for, as the ledger counts.
	CashLeft web.Number `json:"cash_left" swaggertype:"number"`
	// CashPerHour: null: the hours are unknown.
	CashPerHour *web.Number `json:"cash_per_hour" swaggertype:"number"`
	// LeftAfterHours: cash left less your hours at your rate; null: no rate is set.
	LeftAfterHours *web.Number `json:"left_after_hours" swaggertype:"number"`
	ChanceOfLoss   web.Number  `json:"chance_of_loss" swaggertype:"number"` // that no cash is left
}

// PurchasePlan is the look and the work that a limit rests on.
type PurchasePlan struct {
	Finish    string `json:"finish,omitempty"`
	Color     string `json:"color,omitempty"`
	Condition string `json:"condition,omitempty"` // as it will be offered
	// ConditionFrom: told (find), what the group's pieces reach with that finish
	// (group), very good (default), or no work is planned.
	ConditionFrom string     `json:"condition_from" enums:"find,group,default,as_it_is"`
	Hours         web.Number `json:"hours" swaggertype:"number"`
	DaysOut       int        `json:"days_out"`                                                           // owned before it can be listed
	CostsFrom     string     `json:"costs_from" enums:"find,refinish_options,estimate,nothing,as_it_is"` // where what was left out comes from
}

// PurchaseCosts are the costs between buying and the sale.
type PurchaseCosts struct {
	Materials web.Number `json:"materials" swaggertype:"number"`
	Labor     web.Number `json:"labor" swaggertype:"number"` // the hours at their value
	Transport web.Number `json:"transport" swaggertype:"number"`
	Other     web.Number `json:"other" swaggertype:"number"`
	Holding   web.Number `json:"holding" swaggertype:"number"` // until the expected sale
	Fees      web.Number `json:"fees" swaggertype:"number"`
}

// Sensitivity is what one changed input does to most_to_pay.
type Sensitivity struct {
	Input      string     `json:"input" example:"condition"`
	Change     string     `json:"change" example:"one grade lower"`
	MostToPay  web.Number `json:"most_to_pay" swaggertype:"number"`
	Difference web.Number `json:"difference" swaggertype:"number" example:"-18"`
}

// Inspection is something to look at before paying.
type Inspection struct {
	Code   string `json:"code" example:"drawers_run"`
	Text   string `json:"text"`
	Source string `json:"source" example:"common practice, no source"`
}

// InCell is the inspection in a table.
func (i Inspection) InCell() string { return i.Code }

// PurchaseQuery goes with a CSV of finds or of limits.
type PurchaseQuery struct {
	MarginPercent *float64     `form:"margin_percent"` // of a CSV: the target
	Hourly        *web.Decimal `form:"hourly" swaggertype:"number"`
	Profit        *web.Decimal `form:"profit" swaggertype:"number"`
	web.TableQuery
}

// CsvFinds reads a table of finds; blank rows are passed over.
func CsvFinds(c *gin.Context) ([]service.Cells, error) {
	file, err := web.Spool(c.Request.Body)
	if err != nil {
		return nil, err
	}
	defer file.Close() // its name is gone already
	var finds []service.Cells
	var wrong []service.FieldError
	f := &rowfile.RowFile{File: file, Columns: rowfile.FindColumns, MostRows: service.MaxSubjects}
	err = f.CSVRows(func(row recording.Row) error {
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

func (t *PurchaseTarget) Read(a *service.Actor) (advice.PurchaseTarget, error) {
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
		from *web.Decimal
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

// PurchaseLimit shows what to pay at most.
func (v Viewer) PurchaseLimit(f advice.PurchaseLimit) PurchaseLimit {
	money := web.MoneyIn(v.Currency)
	out := PurchaseLimit{
		Ref: f.Ref, Category: f.Category, Offer: Optional(f.OpeningOffer, money), WalkAway: Optional(f.WalkAway, money),
		MostToPay: Optional(f.MostToPay, money), AtLikely: Optional(f.AtLikely, money), BreakEven: Optional(f.BreakEven, money),
		RuleOfThird: Optional(f.RuleOfThird, money), Ask: web.Known(f.Ask, money),
		Plan: PurchasePlan{
			Finish: f.Work.Finish, Color: f.Work.Color, Condition: f.Work.Condition, ConditionFrom: f.Work.ConditionFrom,
			Hours: web.Rounded(f.Work.Hours, 2), DaysOut: f.Work.DaysOut, CostsFrom: f.Work.CostsFrom,
		},
		Inspect: web.Each(f.Inspect, func(i service.Inspection) Inspection { return Inspection(i) }), Warnings: warnings(f.Warnings, v.actor.Group), Basis: basis(f.Basis, f.Model), Labels: f.Labels, Refusal: RefusalOf(f.Refusal), Sentences: Sentences(f.Sentences),
		Cautions: Cautions(f.Cautions), SalePrice: priceRange(f.Likely, money), Errors: web.ProblemErrors(f.Errors),
		AtMost: v.purchaseOutcome(f.AtMost), AtSellerAsk: v.purchaseOutcome(f.AtSellerAsk),
	}
	if f.PassBy != "" {
		out.PassBy = &f.PassBy
	}
	if f.Rank > 0 {
		out.Rank = &f.Rank
	}
	if f.Ask > 0 {
		x := f.Costs
		out.Costs = &PurchaseCosts{
			Materials: money(x.Materials), Labor: money(x.Labor), Transport: money(x.Pickup), Other: money(x.Other),
			Holding: money(x.Holding), Fees: money(x.Fees),
		}
	}
	for _, line := range f.Sensitivity {
		out.Sensitivity = append(out.Sensitivity, Sensitivity{Input: line.Input, Change: line.Change, MostToPay: money(line.MostToPay), Difference: money(line.Difference)})
	}
	return out
}

func (v Viewer) purchaseOutcome(o *buying.Outcome) *PurchaseOutcome {
	if o == nil {
		return nil
	}
	money := web.MoneyIn(v.Currency)
	return &PurchaseOutcome{
		Price: money(o.Price), CashLeft: money(o.CashLeft), CashPerHour: Optional(o.CashPerHour, money),
		LeftAfterHours: Optional(o.LeftAfterHours, money), ChanceOfLoss: web.Chance(o.ChanceOfLoss),
	}
}

// PurchaseColumns are the columns of purchase limits.
var PurchaseColumns = web.ColumnsOf[PurchaseLimit](`
	ref category rank offer walk_away most_to_pay at_likely break_even rule_of_third
	pass_by at_most_price=at_most.price at_most_cash_left=at_most.cash_left
	at_most_cash_per_hour=at_most.cash_per_hour at_most_left_after_hours=at_most.left_after_hours
	at_most_chance_of_loss=at_most.chance_of_loss at_seller_ask_price=at_seller_ask.price
	at_seller_ask_cash_left=at_seller_ask.cash_left at_seller_ask_cash_per_hour=at_seller_ask.cash_per_hour
	at_seller_ask_left_after_hours=at_seller_ask.left_after_hours
	at_seller_ask_chance_of_loss=at_seller_ask.chance_of_loss finish=plan.finish color=plan.color
	condition=plan.condition hours=plan.hours days_out=plan.days_out costs_from=plan.costs_from ask
	sale_price_likely=sale_price.likely sale_price_low=sale_price.low
	sale_price_high=sale_price.high inspect refusal=refusal.reason cautions`)

// PurchaseRecord says what came of buying.
type PurchaseRecord struct {
	// PricesAsked: of finds that a limit was asked for with their price, the
	// newest 1,000 of the group.
	PricesAsked int        `json:"prices_asked"`
	UsualShare  web.Number `json:"usual_share" swaggertype:"number" example:"0.65"` // of what a find would leave, that is usually asked
	// Finished: those among them that were bought, and sold or let go.
	Finished      int            `json:"finished"`
	StatedCash    web.Number     `json:"stated_cash" swaggertype:"number"`                  // that their sales would bring after fees
	RealizedCash  web.Number     `json:"realized_cash" swaggertype:"number"`                // that they brought
	RealizedRatio web.Number     `json:"realized_ratio" swaggertype:"number" example:"0.9"` // that new statements are multiplied by; cautious while few are finished
	Ledger        PurchaseReplay `json:"ledger"`
	Sentences     []Sentence     `json:"sentences"`
}

// PurchaseReplay asks about one's own sold pieces again, as of the month they
// were bought in and with what they took; nobody else sees it.
type PurchaseReplay struct {
	Purchases      int        `json:"purchases"` // with a purchase cost on file
	StatedCash     web.Number `json:"stated_cash" swaggertype:"number"`
	RealizedCash   web.Number `json:"realized_cash" swaggertype:"number"`
	Within         int        `json:"within"` // that cost no more than the limit
	StatedWithin   web.Number `json:"stated_within" swaggertype:"number"`
	RealizedWithin web.Number `json:"realized_within" swaggertype:"number"`
	Earned         int        `json:"earned"` // that left the hours at your rate or more
	EarnedWithin   int        `json:"earned_within"`
}

func (v Viewer) purchaseRecord(p *track.Purchases) PurchaseRecord {
	money := func(m service.Money) web.Number { return web.Exact(m, v.Currency) }
	r := p.Ledger
	return PurchaseRecord{
		PricesAsked: p.PricesAsked, UsualShare: web.Chance(p.UsualShare), Finished: p.Finished,
		StatedCash: money(p.Stated), RealizedCash: money(p.Realized), RealizedRatio: web.Chance(p.Ratio),
		Ledger: PurchaseReplay{
			Purchases: r.Purchases, StatedCash: money(r.Stated), RealizedCash: money(r.Realized),
			Within: r.Within, StatedWithin: money(r.StatedWithin), RealizedWithin: money(r.RealizedWithin),
			Earned: r.Earned, EarnedWithin: r.EarnedWithin,
		},
		Sentences: Sentences(p.Sentences),
	}
}
