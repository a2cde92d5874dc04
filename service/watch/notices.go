package watch

import (
	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/advice"
)

// stateNotices are what listings that came into a state are told as.
func stateNotices(a *service.Actor, reviews []advice.Review, changed []service.ListingState) (out []service.Notice) {
	became := make(map[uuid.UUID]service.ListingState, len(changed))
	for _, c := range changed {
		if c.Since.Equal(c.UpdatedAt) { // else only what to do changed
			became[c.ListingID] = c
		}
	}
	events := map[string]string{"stale": service.WebhookStale, "slow": service.WebhookSlow}
	for _, r := range reviews {
		state, ok := became[r.Row.ID]
		event := events[state.State]
		if !ok || event == "" {
			continue
		}
		n := service.NewsOf(a, r.Row, r.Ask)
		n.State, n.Action, n.ActiveDays = state.State, state.Action, &r.ActiveDays
		m := service.NewNotice(event, state.Since, r.Row.ID, n)
		m.Since = state.Since.AddDate(0, 0, -service.StateQuietDays)
		out = append(out, m)
	}
	return out
}
