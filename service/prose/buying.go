package prose

import (
	"math"

	"askwright/pricing"
	"askwright/service"
)

// PurchaseLimit says what to open with and where to walk away.
func (v Voice) PurchaseLimit(l *pricing.PurchaseLimit) []pricing.Sentence {
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	switch {
	case l.WalkAway != nil:
		say(pricing.SaidOffer, "Open at %s, walk away above %s.", v.Money(*l.Offer), v.Money(*l.WalkAway))
		say(pricing.SaidLimit, "You break even at %s; stay lower, cheap pieces often hide flaws.",
			v.Money(math.Max(0, *l.BreakEven)))
		if l.AtPrice == nil {
			t = append(t, v.outcome(l.AtMost)...)
		}
	case l.MostToPay != nil:
		say(pricing.SaidPass, "Pass: even free, it won't pay for your hours.")
	}
	if p := l.AtPrice; p != nil {
		if l.MostToPay != nil && *l.MostToPay > 0 && p.Price > *l.MostToPay {
			say(pricing.SaidPass, "Pass at %s.", v.Money(p.Price))
		}
		t = append(t, v.outcome(p)...)
	}
	if l.Refusal != nil {
		t = append(t, v.refusal(l.Refusal, l.SalePrice)...)
	}
	return t
}

// outcome says what a price leads to.
func (v Voice) outcome(p *pricing.PurchaseOutcome) []pricing.Sentence {
	text := v.Money(p.ExpectedProfit) + " left after your hours"
	if p.ExpectedProfit < 0 {
		text = v.Money(-p.ExpectedProfit) + " lost after your hours"
	}
	if p.ProfitPerHour != nil {
		text += ", " + v.Money(*p.ProfitPerHour) + " an hour"
	}
	t := []pricing.Sentence{pricing.Say(pricing.SaidOutcome, "At %s: about %s.", v.Money(p.Price), text)}
	if p.ChanceOfLoss != nil {
		t = append(t, pricing.Say(pricing.SaidOutcome, "%s of buys like this lose money.",
			service.UpperFirst(Chance(*p.ChanceOfLoss))))
	}
	return t
}

// Finishes says what to make of a ranking of finishes.
func (v Voice) Finishes(f *pricing.RefinishAnswer, hourly float64) []pricing.Sentence {
	if f.Compared == 0 {
		return nil
	}
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	best := f.Finishes[0]
	name := Surface(best.Finish, best.Color)
	if !best.Pays(hourly) {
		say(pricing.SaidFinish, "No finish pays for its hours (%d compared). Sell it as is. The best is %s.",
			f.Compared, name)
		return append(t, doubtAsIs(f)...)
	}
	if best.NetPerHour == nil {
		say(pricing.SaidFinish, "Best of %d finishes: %s.", f.Compared, name)
	} else {
		say(pricing.SaidFinish, "Best of %d finishes: %s. %s an hour over as is; %s, %s of materials.",
			f.Compared, name, v.Money(*best.NetPerHour), Hours(best.Hours), v.Money(best.Materials))
	}
	say(pricing.SaidOdds, "Beats as is %s of the time; its price effect may be anything from %.0f%% to %.0f%%.",
		Chance(best.ChanceBetterThanWaiting), best.Low, best.High)
	return append(t, doubtAsIs(f)...)
}

// doubtAsIs warns where few pieces sold in the finish that this one has.
func doubtAsIs(f *pricing.RefinishAnswer) []pricing.Sentence {
	if f.Proven >= pricing.ProvenSales {
		return nil
	}
	sales := service.Count(f.Proven, "sale", "sales")
	return []pricing.Sentence{pricing.Say(pricing.SaidDoubt, "Rough guide: only %s in its present finish.", sales)}
}

// Delivery says what a delivery costs and what to charge.
func (v Voice) Delivery(q *pricing.DeliveryQuote, metric, charged bool) []pricing.Sentence {
	unit := "miles"
	if metric {
		unit = "km"
	}
	t := []pricing.Sentence{
		pricing.Say(pricing.SaidCost, "%.0f %s there and back, %s: about %s. Charge %s.",
			q.Distance, unit, Hours(q.Hours), v.Money(q.Cost), v.Money(q.Suggested)),
		pricing.Say(pricing.SaidMissing, "Record it apart from the sale price, as delivery_charged and delivery_cost."),
	}
	switch {
	case charged && q.Profit < 0:
		t = append(t, pricing.Say(pricing.SaidProfit, "At %s you lose %s, your hours counted.",
			v.Money(q.Charge), v.Money(-q.Profit)))
	case charged:
		t = append(t, pricing.Say(pricing.SaidProfit, "At %s you keep %s after your hours.",
			v.Money(q.Charge), v.Money(q.Profit)))
	}
	return t
}
