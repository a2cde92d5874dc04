package pricing_test

import (
	"askwright/pricing"
	"askwright/pricing/askplan"
)

// advisedSteps are the asks that a review advises from today on.
func advisedSteps(r pricing.Review, ask float64) []pricing.Step {
	if len(r.Plan.Steps) > 0 {
		return r.Plan.Steps
	}
	return []pricing.Step{{Step: askplan.Step{Ask: ask}}}
}

// saidOdds are those that the advice beats leaving it.
func saidOdds(r pricing.Review) float64 { return r.Odds }

// recordedFrom tells since when the owner's record is whole.
func recordedFrom(l *pricing.Listing, day pricing.Date) { l.RecordedFrom = day }

// isQuiet reports whether the group is told that the season is slow.
func isQuiet(m *pricing.Model, h pricing.History, day pricing.Date) bool {
	for _, l := range h.Listings {
		if l.Outcome == pricing.Open && !l.Observed {
			return m.Review(pricing.Standing{Listing: l}, day, pricing.DefaultSettings()).Quiet
		}
	}
	return false
}
