package pricing

import (
	"slices"

	"askwright/pricing/askplan"
)

// Causes why a listing has not sold. The first two go with a step that is due,
// the others with none, or with cheap checks before it.
const (
	CausePrice    = "price"    // it asks more than such pieces are asked
	CauseDemand   = "demand"   // the ask is fair, but it draws less than such pieces do
	CauseExposure = "exposure" // few see it
	CauseLook     = "look"     // they see it, and do not write
	CauseSeason   = "season"   // the whole group is slow
	CauseLuck     = "luck"     // nothing looks wrong
)

// Check is a cheap thing to try first.
type Check struct {
	Code   string
	On     Date // from when it comes before a step of the ask; zero: at any time
	DoneOn Date // zero: not yet
}

// diagnosis reads the funnel of the present listing, views, messages, sale, for
// what stands in the way of a fair ask. While the whole group is quiet, a piece
// that draws at least half of what the others do is not the trouble.
func (r *reviewing) diagnosis() string {
	usual := r.seen.ownExpected
	if r.Quiet {
		usual *= r.GroupPulse
	}
	if r.seen.known && r.seen.ownExpected >= 3 && r.seen.ownCounted < usual/2 {
		views, known := r.st.Listing.viewsPerDay(r.on)
		if known && r.rates.ViewsPerDay > 0 && views < r.rates.ViewsPerDay/2 {
			return CauseExposure
		}
		return CauseLook
	}
	if r.Quiet {
		return CauseSeason
	}
	return CauseLuck
}

// explain gives the cause that agrees with the move: what is due is due by price
// where the ask is above what such pieces are asked and stays at or above what
// they sell for, else by demand; the checks before it by what they are for.
func (r *reviewing) explain() {
	if !r.Due || r.Action == ActionCheck {
		return
	}
	likely := r.now.fair()
	if r.SalePrice != nil {
		likely = r.SalePrice.Likely
	}
	switch {
	case r.Action == ActionRenew && r.cause == CauseExposure:
	case r.Action == ActionReprice && r.ask > r.now.typical && r.NextAsk >= likely:
		r.cause = CausePrice
	default:
		r.cause = CauseDemand
	}
}

// checksFirst reports whether cheap checks come before a drop that is due.
func (r *reviewing) checksFirst() bool {
	if k := r.st.Kept; k != nil && k.Ask == r.ask && k.checking() {
		return false // they came first already
	}
	return (r.cause == CauseExposure || r.cause == CauseLook) && r.openChecks()
}

// deferred puts off a drop until the checks have had their time.
func (r *reviewing) deferred(c askplan.Course) askplan.Course {
	r.Kept.Checked = r.on
	kept := &askplan.Kept{Ask: r.ask, In: checkDays, To: c.Plan.Steps[0].Ask}
	return r.now.courseFrom(kept, r.ask, checkDays, r.s)
}

// openChecks reports whether a check of the cause is still to be done.
func (r *reviewing) openChecks() bool {
	return slices.ContainsFunc(checksFor(r.cause), func(code string) bool { return r.st.Done[code] == 0 })
}

// checks are the cheap things to try first, with those that were done.
func (st Standing) checks(r *Review) []Check {
	codes := checksFor(r.Reason)
	if r.State == StatePaused {
		codes = []string{"answer_messages", "renew_on_resuming"}
	}
	var out []Check
	for _, code := range codes {
		if code == "answer_messages" && (r.MessagesSeen == nil || *r.MessagesSeen == 0) {
			continue
		}
		c := Check{Code: code, DoneOn: st.Done[code]}
		if r.Kept.checking() && (r.Reason == CauseExposure || r.Reason == CauseLook) {
			c.On = r.Kept.Checked
		}
		out = append(out, c)
	}
	return out
}

// CheckCodes are all checks.
var CheckCodes = []string{
	"answer_messages", "another_venue", "flaws_disclosed", "offer_delivery", "photos", "renew_on_resuming", "title",
}

func checksFor(cause string) []string {
	switch cause {
	case CauseExposure:
		return []string{"title", "photos", "another_venue"}
	case CauseLook:
		return []string{"photos", "title", "another_venue"}
	case CausePrice, CauseDemand:
		return []string{"answer_messages", "offer_delivery", "flaws_disclosed"}
	}
	return nil
}
