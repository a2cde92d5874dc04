package advice

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/prose"
	"askwright/service/track"
)

// PurchaseTarget is the profit wanted: at most one of the three.
type PurchaseTarget struct {
	MarginPercent float64 // points of the sale price after fees
	Hourly        service.Money
	Profit        service.Money
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
		return service.Invalid("target", "give one of margin_percent, hourly and profit")
	case t.MarginPercent != 0 && !service.Between(t.MarginPercent, 0.1, 99):
		return service.Invalid("margin_percent", "expected 0.1 to 99 percent of the sale price after fees")
	case !service.Between(t.Hourly, 0, service.MaxMinor):
		return service.Invalid("hourly", "must be more than zero")
	case !service.Between(t.Profit, 0, service.MaxMinor):
		return service.Invalid("profit", "must be more than zero")
	}
	return nil
}

// PurchaseLimits is an answer for some finds, in their order.
type PurchaseLimits struct {
	Limits   []PurchaseLimit
	RankedBy string // "cash_per_hour", or "cash_left" where the hours of one are unknown
}

// What finds are ranked by.
const (
	RankedByHour = "cash_per_hour"
	RankedByCash = "cash_left"
)

// PurchaseLimit is the answer for one find.
type PurchaseLimit struct {
	Ref      string
	Category string
	buying.Limit
	Sentences []pricing.Sentence
	Work      PurchaseWork
	Rank      int                  // 1 is the best; 0: refused
	Inspect   []service.Inspection // what to look at before paying
	Warnings  []refinish.Warning   // of the size, and of the planned work
	Model     string
	Cautions  []service.Caution
	Errors    []service.FieldError // why the find could not be read: there is nothing else then
}

// PurchaseWork is the look and the work that a limit rests on.
type PurchaseWork struct {
	Finish, Color string
	Condition     string // as it will be offered
	ConditionFrom string
	Hours         float64
	DaysOut       int
	CostsFrom     string // where what the find left out comes from
}

// Where the condition that a piece will be offered in comes from.
const (
	ConditionFromFind    = "find"    // told
	ConditionFromGroup   = "group"   // what its pieces reach with that finish
	ConditionFromDefault = "default" // very good: too few of them to tell
	ConditionAsItIs      = "as_it_is"
)

// Where the costs of a planned finish come from.
const (
	CostsFromFind     = "find"             // all of them were told
	CostsFromOptions  = "refinish_options" // the group's settings
	CostsFromEstimate = "estimate"         // of the work, as refinish estimates tell it
	CostsUnknown      = "nothing"          // what was left out counts as nothing
	CostsAsItIs       = "as_it_is"         // no finish is planned
)

// PurchaseLimits says for each find what to pay at most. A find is a subject
// with the columns of its plan; what is on file of its costs stands in for what
// is left out. One that cannot be read has Errors that name its place; where none
// can, they are an *InvalidError.
func (s *Service) PurchaseLimits(ctx context.Context, a *service.Actor, finds []service.Cells, t PurchaseTarget) (*PurchaseLimits, error) {
	if len(finds) == 0 || len(finds) > service.MaxSubjects {
		return nil, service.Invalid("subjects", "expected 1 to %d of them, have %d", service.MaxSubjects, len(finds))
	}
	if err := t.validate(); err != nil {
		return nil, err
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	subjects, faults, err := s.readEach(ctx, a, finds)
	if err != nil {
		return nil, err
	}
	planned, err := s.readPlans(ctx, a, fit.Model, subjects, finds, faults)
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(faults, func(wrong []service.FieldError) bool { return wrong == nil }) {
		return nil, &service.InvalidError{Fields: slices.Concat(faults...)}
	}
	seen, err := s.track.Experience(ctx, a)
	if err != nil {
		return nil, err
	}
	answer := &PurchaseLimits{Limits: make([]PurchaseLimit, len(planned))}
	for i, p := range planned {
		if faults[i] != nil {
			answer.Limits[i] = PurchaseLimit{
				Ref: strings.TrimSpace(finds[i]["ref"]), Errors: faults[i],
				Work: PurchaseWork{ConditionFrom: ConditionAsItIs, CostsFrom: CostsAsItIs},
			}
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		settings := a.Group.SettingsFor(p.row.Venue, a.Today)
		limit := PurchaseLimit{
			Ref: p.row.Ref, Category: p.row.Category,
			Limit: buying.NewLimit(fit.Model, p.query(a.Group.Currency, t), a.Today, settings, seen),
			Work:  p.summary(), Model: fit.Version(), Inspect: p.row.Inspect(), Cautions: p.cautions(),
		}
		s.remember(a, &p, &limit.Limit)
		limit.Sentences = prose.In(a.Group.Currency).PurchaseLimit(&limit.Limit)
		if p.note != "" && limit.Refusal == nil {
			limit.Sentences = append(limit.Sentences,
				pricing.Sentence{Kind: pricing.SaidMissing, Text: p.note},
				pricing.Say(pricing.SaidMissing, "Work not counted: enter materials, hours and days_out."))
		}
		if limit.Warnings = refinish.OddSizes(p.plan.Attributes()); p.work != nil {
			limit.Warnings = p.work.Work.Warnings // of the size too
		}
		answer.Limits[i] = limit
	}
	answer.rank()
	return answer, nil
}

// remember keeps what a find is asked for, whether it is bought or not. What is
// on file as bought stays as it was last asked about before.
func (s *Service) remember(a *service.Actor, p *plannedPiece, l *buying.Limit) {
	isFind := p.onFile == nil || p.onFile.MemberID == a.MemberID && p.onFile.Stage == service.StageFound
	if a.Scope == service.ScopeFeed || a.MemberID == uuid.Nil || !isFind || !(l.Net > 0) || l.SellerAsk == nil {
		return
	}
	c := a.Group.Currency
	price, net := service.MoneyOf(*l.SellerAsk, c), service.MoneyOf(l.Net, c)
	if price <= 0 || net <= 0 {
		return
	}
	s.recorder.AddAsked(a.Group.ID, track.Asked{
		MemberID: a.MemberID, Find: cmp.Or(p.row.Ref, fmt.Sprintf("%s %s %s", p.row.Category, a.Today, price.Format(c))),
		On: a.Today, At: a.Now, Price: price, Net: net, SaleCash: service.MoneyOf(l.SaleCash, c), Variance: l.Variance,
	})
}

// rank numbers the finds, the best first: by the cash of an hour of work, or by
// the cash left where the hours of one of them are unknown.
func (p *PurchaseLimits) rank() {
	p.RankedBy = RankedByHour
	var order []*PurchaseLimit
	for i := range p.Limits {
		l := &p.Limits[i]
		if o := l.outcome(); o != nil {
			order = append(order, l)
			if o.CashPerHour == nil {
				p.RankedBy = RankedByCash
			}
		}
	}
	worth := func(l *PurchaseLimit) float64 {
		if p.RankedBy == RankedByHour {
			return *l.outcome().CashPerHour
		}
		return l.outcome().CashLeft
	}
	slices.SortStableFunc(order, func(x, y *PurchaseLimit) int { return cmp.Compare(worth(y), worth(x)) })
	for i, l := range order {
		l.Rank = i + 1
	}
}

// outcome is at the price asked, or at the most to pay; nil: neither is known.
func (l *PurchaseLimit) outcome() *buying.Outcome {
	if l.AtSellerAsk != nil {
		return l.AtSellerAsk
	}
	return l.AtMost
}
