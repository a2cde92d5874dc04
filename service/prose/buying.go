package prose

import (
	"math"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/pricing/delivery"
	"askwright/service"
)

// PurchaseLimit says what to open with and where to walk away, and to pass only
// where the buyer's own rate is not earned.
func (v Voice) PurchaseLimit(l *buying.Limit) []pricing.Sentence {
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	switch {
	case l.WalkAway != nil:
		say(pricing.SaidOffer, "Open at %s, walk away above %s.", v.Money(*l.OpeningOffer), v.Money(*l.WalkAway))
	case l.MostToPay != nil && l.PassBy == "":
		say(pricing.SaidLimit, "Pay next to nothing: about a quarter of such pieces won't pay for your hours.")
	case l.SellerAsk == nil && l.PassBy == buying.PassByHours:
		say(pricing.SaidPass, "Pass: even free, it won't pay for your hours.")
	case l.SellerAsk == nil && l.PassBy == buying.PassByCash:
		say(pricing.SaidPass, "Pass: even free, it loses cash.")
	}
	if l.WalkAway != nil && l.BreakEven != nil && *l.BreakEven >= 1 {
		say(pricing.SaidLimit, "You break even at %s; stay lower, cheap pieces often hide flaws.", v.Money(*l.BreakEven))
	}
	switch {
	case l.AtSellerAsk != nil:
		t = append(t, v.outcome(l, l.AtSellerAsk, true)...)
	case l.AtMost != nil:
		t = append(t, v.outcome(l, l.AtMost, false)...)
	}
	t = append(t, v.buyingDoubts(l)...)
	if l.Refusal != nil {
		t = append(t, v.refusal(l.Refusal, l.Likely)...)
	}
	return t
}

// buyingDoubts say what the limit does not know, and what moves it most.
func (v Voice) buyingDoubts(l *buying.Limit) []pricing.Sentence {
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	if less := math.Round(100 * (1 - l.Caution)); l.MostToPay != nil && less >= 3 {
		say(pricing.SaidDoubt, "Its value counts %.0f%% lower: what is cheap is often cheap for a reason.", less)
	}
	for _, label := range l.Labels {
		switch {
		case l.Refusal != nil:
		case label == buying.LabelPriceUntold:
			say(pricing.SaidMissing, "Tell what they ask for it: what is cheap is often cheap for a reason.")
		case label == buying.LabelProfitUntold:
			say(pricing.SaidMissing, "No profit stated: only %s. Add your own price of the finished piece.",
				service.Count(l.Basis.Sold, "sale", "sales"))
		}
	}
	if len(l.Sensitivity) > 0 && l.WalkAway != nil {
		most := l.Sensitivity[0]
		say(pricing.SaidDoubt, "Biggest swing: %s %s, limit %s.", service.InWords(most.Input), most.Change, v.Money(most.Difference))
	}
	return t
}

// outcome says what a price leads to: cash left, cash an hour, and what is left
// after the hours. Where that is a loss, to pass, and by which figure.
func (v Voice) outcome(l *buying.Limit, o *buying.Outcome, asked bool) []pricing.Sentence {
	at, cash := v.Money(o.Price), v.left(o.CashLeft, "cash")
	after := ""
	if o.LeftAfterHours != nil {
		after = v.left(*o.LeftAfterHours, "") + " after your hours"
	}
	perHour := ""
	if o.CashPerHour != nil && o.CashLeft > 0 {
		perHour = ", " + v.Money(*o.CashPerHour) + " an hour"
	}
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	switch {
	case asked && l.PassBy == buying.PassByCash:
		say(pricing.SaidPass, "Pass at %s: about %s.", at, cash)
	case asked && l.PassBy == buying.PassByHours:
		say(pricing.SaidPass, "Pass at %s: about %s%s, but %s.", at, cash, perHour, after)
	case after != "":
		say(pricing.SaidOutcome, "At %s: about %s%s; %s.", at, cash, perHour, after)
	default:
		say(pricing.SaidOutcome, "At %s: about %s%s.", at, cash, perHour)
	}
	say(pricing.SaidOdds, "%s of buys like this lose cash.", service.UpperFirst(Chance(o.ChanceOfLoss)))
	return t
}

// left is an amount as left or lost.
func (v Voice) left(amount float64, of string) string {
	if of != "" {
		of = " " + of
	}
	if amount < 0 {
		return v.Money(-amount) + of + " lost"
	}
	if of == "" {
		return v.Money(amount)
	}
	return v.Money(amount) + of + " left"
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
func (v Voice) Delivery(q *delivery.Quote, metric, charged bool) []pricing.Sentence {
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
