package track

import (
	"context"
	"fmt"
	"math"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/service"
	"askwright/service/profit"
)

// Purchases say what came of buying: of the group what was stated of finds
// before they were bought, of the asker what would have been stated of the pieces
// in the own ledger.
type Purchases struct {
	PricesAsked int
	UsualShare  float64 // of what a find would leave, that is usually asked for it
	Finished    int     // finds that were asked about, bought, and sold or let go
	Stated      service.Money
	Realized    service.Money // cash of their sales after fees
	Ratio       float64       // that new statements are taken down or up by
	Ledger      LedgerReplay
	Sentences   []pricing.Sentence
}

// LedgerReplay sets what would have been stated of the asker's own sold pieces,
// by a model of the day before the month they were bought in and with what they
// took, against what they left. Nobody else sees it.
type LedgerReplay struct {
	Purchases, Within int // with a purchase cost on file; of them, paid no more than the limit
	Stated, Realized  service.Money
	StatedWithin      service.Money // of those within
	RealizedWithin    service.Money
	Earned            int // left the hours at their rate or more
	EarnedWithin      int
}

// purchases judges them. The ledger is read for a member alone.
func (s *Service) purchases(ctx context.Context, a *service.Actor, replay *Replay) (*Purchases, error) {
	e, err := s.Experience(ctx, a)
	if err != nil {
		return nil, err
	}
	c := a.Group.Currency
	out := &Purchases{
		PricesAsked: e.Prices, UsualShare: e.UsualShare(), Finished: e.Finished, Ratio: e.Ratio(),
		Stated: service.MoneyOf(e.Stated, c), Realized: service.MoneyOf(e.Realized, c),
	}
	if a.MemberID != uuid.Nil && a.Can(service.ScopeRead) {
		report, err := profit.New(s.store).Report(ctx, a, profit.Query{By: profit.Groupings[0]})
		if err != nil {
			return nil, fmt.Errorf("replay the ledger: %w", err)
		}
		for _, item := range report.Items {
			out.Ledger.add(a, item, replay)
		}
	}
	out.Sentences = out.explain()
	return out, nil
}

// monthOf is the month of a day as 2026-02.
func monthOf(day pricing.Date) string {
	if day.IsZero() {
		return ""
	}
	return day.Time().Format(monthLayout)
}

const monthLayout = "2006-01"

// add replays the purchase of one sold piece, if its price is on file and there
// was a model by then.
func (r *LedgerReplay) add(a *service.Actor, item profit.Item, replay *Replay) {
	sale, c := item.Sale, a.Group.Currency
	paid, known := item.Costs[service.CostPurchase]
	first := sale.Piece.Listings[0]
	m := replay.models[monthOf(sale.BoughtOn)]
	if m == nil {
		m = replay.models[monthOf(first.ListedOn)]
	}
	if !known || paid <= 0 || m == nil {
		return
	}
	amount := func(kind service.CostKind) float64 { return item.Amount(kind).Major(c) }
	settings := a.Group.SettingsFor(sale.Listing.Venue, first.ListedOn)
	q := buying.Query{
		Attributes: sale.Listing.Attributes(), SellerAsk: new(service.Money(paid).Major(c)), Hours: item.Hours().Float(),
		Materials: amount(service.CostMaterials), Pickup: amount(service.CostPickup), Other: amount(service.CostOther),
	}
	if first.EstimateCounts {
		q.OwnPrice = first.Estimate.Major(c)
	}
	limit := buying.NewLimit(m, q, first.ListedOn, settings, buying.Experience{})
	if limit.AtSellerAsk == nil {
		return
	}
	stated, left := service.MoneyOf(limit.AtSellerAsk.CashLeft, c), item.Profit()
	isWithin := limit.MostToPay != nil && *limit.MostToPay >= *q.SellerAsk
	earned := left.Major(c) >= q.Hours*settings.HourValue
	r.Purchases++
	r.Stated, r.Realized = r.Stated+stated, r.Realized+left
	if earned {
		r.Earned++
	}
	if !isWithin {
		return
	}
	r.Within++
	r.StatedWithin, r.RealizedWithin = r.StatedWithin+stated, r.RealizedWithin+left
	if earned {
		r.EarnedWithin++
	}
}

// explain answers for people: whether the limits were right.
func (p *Purchases) explain() []pricing.Sentence {
	if r := p.Ledger; r.Purchases > 0 {
		came := "nothing"
		if r.Stated > 0 {
			came = fmt.Sprintf("%.0f%%", 100*float64(r.Realized)/float64(r.Stated))
		}
		return []pricing.Sentence{pricing.Say(pricing.SaidScore,
			"Your %s again: %d within the limit, and %d of the %d that paid for their hours. Of the cash stated, %s came in.",
			service.Count(r.Purchases, "purchase", "purchases"), r.Within, r.EarnedWithin, r.Earned, came)}
	}
	if p.Finished == 0 {
		return []pricing.Sentence{pricing.Say(pricing.SaidScore, "Too early: no find that was asked about has been bought and sold.")}
	}
	return []pricing.Sentence{pricing.Say(pricing.SaidScore, "%s: of the cash stated, %.0f%% came in.",
		service.Count(p.Finished, "finished purchase", "finished purchases"), 100*float64(p.Realized)/math.Max(1, float64(p.Stated)))}
}
