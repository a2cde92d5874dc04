package prose

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/service"
)

// Suggestion says an ask and what it is based on.
func (v Voice) Suggestion(s *pricing.Suggestion, unused []string) []pricing.Sentence {
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	if s.Refusal == nil {
		say(pricing.SaidAsk, "Ask %s.", v.Money(s.Ask))
		t = append(t, v.plan(s.Plan)...)
	}
	switch r := s.SalePrice; {
	case r != nil && s.OwnPrice != nil:
		say(pricing.SaidPrice, "It should sell for about %s, mostly %s–%s; by sales alone about %s.",
			v.Money(r.Likely), v.Money(r.Low), v.Money(r.High), v.Money(s.RecordsOnly.Likely))
	case r != nil:
		say(pricing.SaidPrice, "Similar pieces sell for about %s, mostly %s–%s.",
			v.Money(r.Likely), v.Money(r.Low), v.Money(r.High))
	}
	if s.Refusal != nil {
		return append(append(t, v.refusal(s.Refusal, s.SalePrice)...), unusedOf(unused)...)
	}
	wait := fmt.Sprintf("fewer than half sell within %d days", s.HorizonDays)
	if s.MedianDays != nil {
		wait = "half sell within " + service.Count(*s.MedianDays, "day", "days")
	}
	after := "After haggling about %s; %s."
	if s.Plan.Next() != nil { // the days are those at this ask alone
		after = "Kept at that ask: about %s after haggling; %s."
	}
	say(pricing.SaidPace, after, v.Money(s.Choices[1].LikelySale), wait)
	t = append(t, v.assumed(&s.Money))
	switch own := s.OwnPrice; {
	case slices.Contains(s.Labels, pricing.LabelFromEstimate):
		say(pricing.SaidBasis, "Based on your own price: only %s recorded.",
			service.Count(s.Basis.Sold, "sale", "sales"))
	case slices.Contains(s.Labels, pricing.LabelLowConfidence):
		say(pricing.SaidDoubt, "Rough guide: the range is wide.")
	case own != nil && own.Doubtful:
		far := "above"
		if own.Amount < own.Usual {
			far = "below"
		}
		say(pricing.SaidOwnPrice, "Your %s is far %s the %s your sales say, so it counts less. Check it.",
			v.Money(own.Amount), far, v.Money(own.Usual))
	case own != nil && s.NeverSold:
		say(pricing.SaidOwnPrice, "Nothing of its kind sold yet: this is your own price, adjusted.")
	case own != nil && own.IsFirstAsk:
		say(pricing.SaidOwnPrice, "The first ask of %s counts %.0f%% where it differs from sales.",
			v.Money(own.Amount), 100*own.Share)
	case own != nil:
		say(pricing.SaidOwnPrice, "Your own price of %s counts %.0f%% where it differs from sales.",
			v.Money(own.Amount), 100*own.Share)
	}
	switch {
	case s.Demand > 0 && s.Demand < 0.75:
		say(pricing.SaidDemand, "It draws about %.0f%% of the usual interest, so the ask is lower.", 100*s.Demand)
	case s.Demand > 1.25:
		say(pricing.SaidDemand, "It draws about %.0f%% of the usual interest, so the ask is higher.", 100*s.Demand)
	}
	return append(t, unusedOf(unused)...)
}

// unusedOf says which columns the price does not rest on.
func unusedOf(columns []string) []pricing.Sentence {
	if len(columns) == 0 {
		return nil
	}
	words := make([]string, len(columns))
	for i, column := range columns {
		words[i] = furniture.Words(column)
	}
	return []pricing.Sentence{pricing.Say(pricing.SaidUnused, "Not used here: %s.", strings.Join(words, ", "))}
}

// assumed says what money an ask rests on, and what another would do.
func (v Voice) assumed(m *pricing.Money) pricing.Sentence {
	origin := map[bool]string{true: "yours", false: "default"}
	hour := "Assumes no pay for your hours (not set)"
	if m.HourValue.Value > 0 {
		hour = fmt.Sprintf("Assumes %s an hour (%s)", v.Money(m.HourValue.Value), origin[m.HourValue.IsSet])
	}
	space := v.Money(math.Round(100*m.HoldingPerDay.Value) / 100)
	return pricing.Say(pricing.SaidMoney, "%s, %s a day for space (%s). Twice that: ask %s.",
		hour, space, origin[m.HoldingPerDay.IsSet], v.Money(m.AskAtDoubleHolding))
}

// stepsTold bounds the later asks of a plan that are said.
const stepsTold = 2

// plan goes on from the ask: Still here on Dec 18: $310. On Jan 8: $285.
func (v Voice) plan(p pricing.Plan) []pricing.Sentence {
	if p.Next() == nil {
		return nil
	}
	later := p.Steps[1:min(len(p.Steps), stepsTold+1)]
	texts := make([]string, len(later))
	for i, step := range later {
		when := "after " + service.Count(step.FromDay, "day", "days")
		if !step.On.IsZero() {
			when = "on " + step.On.Time().Format("Jan 2")
		}
		texts[i] = when + ": " + v.Money(step.Ask) + "."
	}
	texts[0] = "still here " + texts[0]
	for i, text := range texts {
		texts[i] = service.UpperFirst(text)
	}
	return []pricing.Sentence{{Kind: pricing.SaidPlan, Text: strings.Join(texts, " ")}}
}

// lowestTold is the place, among the days ahead, of the later amount that is said.
const lowestTold = 3

// Offer says what to do about an offer.
func (v Voice) Offer(o *pricing.OfferAdvice, offer pricing.Offer, today pricing.Date) []pricing.Sentence {
	if o.Refusal != nil {
		return v.refusal(o.Refusal, nil)
	}
	var t []pricing.Sentence
	say := func(kind, format string, args ...any) { t = append(t, pricing.Say(kind, format, args...)) }
	if o.Flooded && offer.Amount < o.Ask {
		say(pricing.SaidDemand, "Messages are pouring in and the post is new: no discount yet.")
	}
	wait := v.Money(o.WaitNet)
	switch {
	case o.Action == pricing.OfferTake:
		say(pricing.SaidOffer, "Take %s: it nets about %s; waiting nets about %s.",
			v.Money(offer.Amount), v.Money(o.TakeNet), wait)
	case o.LastWord:
		say(pricing.SaidOffer, "Say back %s; if %s is their last word, take it: it nets about %s, waiting about %s.",
			v.Money(*o.Counter), v.Money(offer.Amount), v.Money(o.TakeNet), wait)
	case o.Action == pricing.OfferCounter:
		say(pricing.SaidOffer, "Say %s; below %s, refuse: waiting nets about %s.",
			v.Money(*o.Counter), v.Money(o.LowestLike), wait)
	default:
		say(pricing.SaidOffer, "Refuse %s: it nets about %s; waiting nets about %s.",
			v.Money(offer.Amount), v.Money(o.TakeNet), wait)
	}
	say(pricing.SaidOdds, "Taking it beats waiting %s of the time.", Chance(o.ChanceBetter))
	if offer.TurnsUp < 1 {
		say(pricing.SaidPromise, "%s of promises show up, so a promise must reach %s.",
			service.UpperFirst(Chance(offer.TurnsUp)), v.Money(o.LowestLike))
	}
	return append(t, v.Lowest(o, today)...)
}

// Lowest says the lowest amounts to take.
func (v Voice) Lowest(o *pricing.OfferAdvice, today pricing.Date) []pricing.Sentence {
	if o.Refusal != nil {
		return v.refusal(o.Refusal, nil)
	}
	now, later := o.Lowest[0], o.Lowest[lowestTold]
	day := today + pricing.Date(later.Days)
	return []pricing.Sentence{pricing.Say(pricing.SaidLowest, "Below %s, refuse; from %s, below %s.",
		v.Money(now.Amount), Day(day, today), v.Money(later.Amount))}
}
