package pricing

import (
	"testing"
	"time"
)

func TestCumulativeFromPriors(t *testing.T) {
	f := priorRate(salePriors())
	for _, tt := range []struct{ t, want float64 }{
		{7, 10.442773}, {14, 18.178969}, {30, 34.915166}, {60, 64.915166}, {90, 89.477088},
	} {
		if got := f.cumulative(0, tt.t); !near(got, tt.want, 6) {
			t.Errorf("B(0, %g) = %.7f, want %.6f", tt.t, got, tt.want)
		}
	}
	if got, want := f.cumulative(10, 20), f.cumulative(0, 30)-f.cumulative(0, 10); !near(got, want, 9) {
		t.Errorf("B(10, 20) = %g, want %g", got, want)
	}
}

// unsold is a listing at 300 for 45 days with some messages.
func unsold(messages int) Listing {
	return Listing{
		ID: "a", Piece: "a", Attributes: Attributes{Category: "desk"}, ListedOn: today - 45,
		Asks: []Ask{{today - 45, 300}}, Estimate: 300, Messages: []Reading{{today, messages}},
	}
}

func TestReviewFromPriors(t *testing.T) {
	_ = time.January
	m := Fit(History{}, today)
	s := checkSettings()
	for _, tt := range []struct {
		messages                       int
		demand, next30, wait, ask, net float64
	}{
		{0, 0.3482, 0.2010, 26.49, 190, 135.04},
		{3, 0.4788, 0.2655, 77.90, 210, 152.91},
		{8, 0.6964, 0.3616, 135.64, 240, 173.64},
	} {
		l := unsold(tt.messages)
		seen := m.evidence(Standing{Listing: l}, today, s)
		if !near(seen.hazard, 1.247879, 6) || !near(seen.expected, 9.983033, 6) || !near(seen.k()/seen.r(), tt.demand, 4) {
			t.Errorf("%d messages: %+v", tt.messages, seen)
		}
		if got := m.Review(Standing{Listing: l}, today, s); !near(got.ChanceSoldByNow, 0.6208, 4) || got.Refusal == nil || got.State != StateSlow {
			t.Errorf("%+v", got)
		}
		for _, r := range m.remedies(l, 300, seen, s) {
			t.Logf("%d: %+v", tt.messages, r)
			switch r.Action {
			case ActionWait:
				if !near(r.ExpectedNet, tt.wait, 2) || !near(r.Chance30, tt.next30, 4) {
					t.Errorf("%d messages, wait: %+v", tt.messages, r)
				}
			case ActionReprice:
				if r.Ask != tt.ask || !near(r.ExpectedNet, tt.net, 2) {
					t.Errorf("%d messages, reprice: %+v", tt.messages, r)
				}
			}
		}
	}
}
