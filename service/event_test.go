package service

import (
	"strings"
	"testing"

	"github.com/google/uuid"
)

func TestAStoredFactThatCannotBeReadIsAnErrorNamingItsEvent(t *testing.T) {
	t.Parallel()
	a := &Actor{Group: &Group{Currency: usd(t)}, Today: march31}
	l := &Listing{ID: uuid.New()}
	for name, stored := range map[string]struct {
		kind    string
		details map[string]string
	}{
		"amount":  {EventOffer, map[string]string{"amount": "two hundred"}},
		"deposit": {EventOffer, map[string]string{"amount": "200.00", "deposit": "1.234"}},
		"comes":   {EventOffer, map[string]string{"amount": "200.00", "comes": "tomorrow"}},
		"until":   {EventHold, map[string]string{"until": "2026-02-30"}},
	} {
		e := Event{ID: uuid.New(), ListingID: l.ID, Kind: stored.kind, On: march31, Details: stored.details}
		var err error
		if stored.kind == EventOffer {
			_, err = a.offerOf(l, &e)
		} else {
			_, err = holdsOf([]Event{e})
		}
		if err == nil || !strings.Contains(err.Error(), e.ID.String()) || !strings.Contains(err.Error(), stored.details[name]) {
			t.Errorf("%s %q: %v; want an error with the event's id and the text", name, stored.details[name], err)
		}
	}
	for _, missing := range []Event{{Kind: EventHold}, {Kind: EventOffer}} {
		_, held := holdsOf([]Event{missing})
		_, offered := a.offerOf(l, &missing)
		if held == nil && missing.Kind == EventHold || offered == nil {
			t.Errorf("a %s without its facts is taken", missing.Kind)
		}
	}
}
