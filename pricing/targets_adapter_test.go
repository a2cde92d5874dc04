package pricing_test

import (
	"askwright/pricing"
	"askwright/pricing/askplan"
)

// advisedSteps are the asks that a review advises from today on.
func advisedSteps(r pricing.Review, ask float64) []pricing.Step {
	if r.State == pricing.StateStale && len(r.Remedies) > 0 && r.Remedies[0].Action == pricing.ActionReprice {
		ask = r.Remedies[0].Ask
	}
	return []pricing.Step{{Step: askplan.Step{Ask: ask}}}
}

// saidOdds are those that the advice beats leaving it.
func saidOdds(r pricing.Review) float64 { return r.Remedies[0].ChanceBetterThanWaiting }

// recordedFrom tells since when the owner's record is whole.
func recordedFrom(*pricing.Listing, pricing.Date) {}

// isQuiet reports whether the group is told that the season is slow.
func isQuiet(m *pricing.Model, h pricing.History, day pricing.Date) bool {
	for _, l := range h.Listings {
		if l.Outcome == pricing.Open && !l.Observed {
			return pricing.IsQuiet(m.Review(pricing.Standing{Listing: l}, day, pricing.DefaultSettings()).GroupPulse)
		}
	}
	return false
}
