package prose

import (
	"fmt"
	"math"
	"strings"

	"askwright/pricing"
	"askwright/service"
)

// Causes name why a listing has not sold.
var Causes = map[string]string{
	pricing.CausePrice:    "Priced high",
	pricing.CauseDemand:   "Thin demand",
	pricing.CauseExposure: "Too few views",
	pricing.CauseLook:     "Views, no messages",
	pricing.CauseSeason:   "Slow season",
	pricing.CauseLuck:     "Just unlucky",
}

// Checks say the cheap things to try.
var Checks = map[string]string{
	"answer_messages":   "Answer its messages",
	"another_venue":     "Post it at another venue too",
	"flaws_disclosed":   "Show its flaws in the post",
	"offer_delivery":    "Offer delivery",
	"photos":            "Take a new first photo",
	"renew_on_resuming": "Repost it when it is back on sale",
	"title":             "Say more in the title",
}

// reviewed is a review being said.
type reviewed struct {
	v Voice
	*pricing.Review
	ask   float64
	today pricing.Date
	told  []pricing.Sentence
}

func (r *reviewed) say(kind, format string, args ...any) {
	r.told = append(r.told, pricing.Say(kind, format, args...))
}

// Review says how an open listing does, why, and what to do about it when.
func (v Voice) Review(review *pricing.Review, ask float64, today pricing.Date) []pricing.Sentence {
	r := reviewed{v: v, Review: review, ask: ask, today: today}
	r.clock()
	r.funnel()
	switch {
	case r.State == pricing.StatePaused:
		r.say(pricing.SaidState, "Paused: these days don't count. Repost it when it is back.")
	case r.Refusal != nil && len(r.Plan.Steps) == 0:
		r.told = append(r.told, v.refusal(r.Refusal, nil)...)
	case r.Due:
		r.due()
	default:
		r.later()
	}
	r.season()
	r.tryFirst()
	return r.told
}

// ordinals are those of the listings of a piece.
var ordinals = []string{"", "First", "Second", "Third", "Fourth", "Fifth", "Sixth"}

// clock says how long it is up, and what would be gone by then.
func (r *reviewed) clock() {
	up := "Up " + service.Count(r.ActiveDays, "day", "days")
	if r.ActiveDays == 0 {
		up = "Listed today"
	}
	r.say(pricing.SaidDays, "%s. At your ask %s of similar pieces would be gone.", up, Chance(r.ChanceSoldByNow))
	if n := r.Listings; n > 1 {
		which := fmt.Sprintf("Listing %d", n)
		if n < len(ordinals) {
			which = ordinals[n] + " listing"
		}
		r.say(pricing.SaidListings, "%s of this piece, %s in all.", which, service.Count(r.DaysInAll, "day", "days"))
	}
}

// funnel says its messages against the usual.
func (r *reviewed) funnel() {
	usual := math.Round(r.MessagesUsual)
	if r.MessagesSeen == nil || usual < 1 {
		return
	}
	seen := "No messages"
	if *r.MessagesSeen > 0 {
		seen = service.Count(*r.MessagesSeen, "message", "messages")
	}
	r.say(pricing.SaidMessages, "%s, usually %.0f.", seen, usual)
}

// due says what to do today, and why.
func (r *reviewed) due() {
	if r.Action == pricing.ActionCheck {
		r.checkFirst()
		return
	}
	move := r.v.Move(r.taken()) + r.from()
	why := ""
	switch {
	case r.Reason == pricing.CausePrice && r.SalePrice != nil:
		why = fmt.Sprintf("Priced high: similar pieces sell for about %s. ", r.v.Money(r.SalePrice.Likely))
	case r.Reason == pricing.CausePrice:
		why = "Priced high. "
	case r.Reason == pricing.CauseDemand:
		why = r.thinDemand()
	case r.Reason == pricing.CauseExposure:
		why = r.fewViews()
	}
	if r.NextStepOn != 0 && r.NextStepOn < r.today {
		move += ", due since " + Day(r.NextStepOn, r.today)
	}
	r.say(pricing.SaidMove, "%s%s; nets about %s more than leaving it.", why, move, r.v.Money(math.Max(0, r.Gain)))
	r.say(pricing.SaidOdds, "Beats leaving it %s of the time.", Chance(r.Odds))
	switch rush := r.WaitingCosts; {
	case rush < 1:
		r.say(pricing.SaidRush, "Waiting for the next step costs next to nothing: no rush.")
	case rush < 0.02*r.ask:
		r.say(pricing.SaidRush, "Waiting for the next step costs about %s: no rush.", r.v.Money(rush))
	default:
		r.say(pricing.SaidRush, "Waiting for the next step costs about %s.", r.v.Money(rush))
	}
}

// taken is the move to take; one of the plan where the list is not told.
func (r *reviewed) taken() pricing.Remedy {
	if len(r.Remedies) > 0 {
		return r.Remedies[0]
	}
	return pricing.Remedy{Action: r.Action, Ask: r.NextAsk}
}

// from names the ask that a drop begins at.
func (r *reviewed) from() string {
	switch r.Action {
	case pricing.ActionReprice:
		return " from " + r.v.Money(r.ask)
	case pricing.ActionWithdraw:
		return ": sell it for what you can get or donate it"
	}
	return ""
}

// thinDemand says that the piece draws less than its description promises.
func (r *reviewed) thinDemand() string {
	fair := "The ask is fair"
	if r.SalePrice != nil && r.ask > r.SalePrice.Likely {
		fair = "Similar pieces sell for about " + r.v.Money(r.SalePrice.Likely)
	}
	if r.Demand < 0.95 {
		return fmt.Sprintf("%s, but it draws about %.0f%% of the usual interest. ", fair, 5*math.Round(20*r.Demand))
	}
	return fair + ". Messages come, but no buyer. "
}

func (r *reviewed) fewViews() string {
	if r.ViewsSeen == nil || r.ViewsUsual < 1 {
		return "Too few views. "
	}
	return fmt.Sprintf("Too few views: %d, usually %.0f. ", *r.ViewsSeen, r.ViewsUsual)
}

// checkFirst says the cheap checks that come before a drop.
func (r *reviewed) checkFirst() {
	why := r.fewViews()
	if r.Reason == pricing.CauseLook {
		why = "People see it and don't write. "
		if r.ViewsSeen != nil {
			why = fmt.Sprintf("%s and they don't write. ", service.Count(*r.ViewsSeen, "view", "views"))
		}
	}
	then := ""
	if next := r.Plan.Next(); next != nil {
		then = fmt.Sprintf(" No change by %s: drop to %s.", Day(next.On, r.today), r.v.Money(next.Ask))
	}
	r.say(pricing.SaidMove, "%s%s.%s", why, r.open(), then)
}

// open are the checks still to be done, as one order.
func (r *reviewed) open() string {
	var words []string
	for _, c := range r.Checks {
		if c.DoneOn == 0 {
			words = append(words, service.LowerFirst(Checks[c.Code]))
		}
	}
	return service.UpperFirst(strings.Join(words, ", "))
}

// later says when to act next.
func (r *reviewed) later() {
	if r.NextStepOn == 0 || r.NextAsk == 0 {
		if r.State == pricing.StateSlow {
			r.say(pricing.SaidState, "Slow, but no lower ask pays: leave it.")
		}
		return
	}
	day := Day(r.NextStepOn, r.today)
	switch {
	case r.Reason == pricing.CauseSeason:
		r.say(pricing.SaidPlan, "Leave it; next step %s: drop to %s.", day, r.v.Money(r.NextAsk))
	case r.State == pricing.StateSlow:
		r.say(pricing.SaidState, "Slow, but no step before %s: then drop to %s.", day, r.v.Money(r.NextAsk))
	case r.unseen():
		r.say(pricing.SaidPlan, "Next step %s: drop to %s.", day, r.v.Money(r.NextAsk))
	default:
		r.say(pricing.SaidPlan, "Next step %s: drop to %s. Nothing to do until then.", day, r.v.Money(r.NextAsk))
	}
}

// unseen reports whether cheap checks may help already.
func (r *reviewed) unseen() bool {
	return (r.Reason == pricing.CauseExposure || r.Reason == pricing.CauseLook) && r.open() != ""
}

// season says that the whole group is slow, and what that does to a step.
func (r *reviewed) season() {
	if !r.Quiet {
		return
	}
	r.say(pricing.SaidSeason, "Slow season: messages are down %.0f%% across the group.", 100*(1-r.GroupPulse))
	if r.Due && r.OddsIfBack != nil {
		r.say(pricing.SaidOdds, "The drop beats leaving it %s of the time if buyers come back soon, %s if they stay away.",
			Chance(*r.OddsIfBack), Chance(*r.OddsIfAway))
	}
}

// tryFirst names the cheap things beside a step, and what was done.
func (r *reviewed) tryFirst() {
	var done []string
	for _, c := range r.Checks {
		if c.DoneOn != 0 {
			done = append(done, fmt.Sprintf("%s (%s)", service.LowerFirst(Checks[c.Code]), Day(c.DoneOn, r.today)))
		}
	}
	text := ""
	if open := r.open(); open != "" && r.Action != pricing.ActionCheck && (r.State != pricing.StateFresh || r.unseen()) {
		text = "Try first: " + service.LowerFirst(open) + "."
	}
	if len(done) > 0 {
		text = strings.TrimSpace(text + " Done: " + strings.Join(done, ", ") + ".")
	}
	if text != "" {
		r.say(pricing.SaidChecks, "%s", text)
	}
}
