package pricing

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"askwright/pricing/internal/probe"
)

func TestMonthsOfAStretch(t *testing.T) {
	got := monthsOf(Interval{NewDate(2025, time.December, 30), NewDate(2026, time.February, 3)})
	want := []month{
		{time.December, NewDate(2025, time.December, 30), 2.0 / 35},
		{time.January, NewDate(2026, time.January, 1), 31.0 / 35},
		{time.February, NewDate(2026, time.February, 1), 2.0 / 35},
	}
	if len(got) != len(want) {
		t.Fatalf("months %v, want %v", got, want)
	}
	for i, m := range want {
		if got[i].month != m.month || got[i].from != m.from || !probe.Near(got[i].share, m.share, 12) {
			t.Errorf("month %d: %v, want %v", i, got[i], m)
		}
	}
	for _, s := range []Interval{{today, today}, {-5, 40}, {1, math.MaxInt32}, {math.MaxInt32 - 1, math.MaxInt32}} {
		if got := monthsOf(s); len(got) != 1 || got[0].share != 1 {
			t.Errorf("months of %v: %v, want one part", s, got)
		}
	}
}

// The outlook over days is the sum of the outlooks over its parts, and one
// without a season the plain baseline.
func TestAheadAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := priorRate(salePriors())
		age := float64(rapid.IntRange(0, 100).Draw(t, "age"))
		on := today + Date(rapid.IntRange(0, 365).Draw(t, "on"))
		first := rapid.IntRange(0, 90).Draw(t, "first")
		second := float64(rapid.IntRange(0, 90).Draw(t, "second"))
		plain := outlook{rate: f, on: on, horizon: 180}.from(age)
		if got, want := plain.ahead(second), f.cumulative(age, second); got != want {
			t.Errorf("without a season %g, want %g", got, want)
		}
		f.Season = [2]float64{rapid.Float64Range(-0.5, 0.5).Draw(t, "cos"), rapid.Float64Range(-0.5, 0.5).Draw(t, "sin")}
		whole := outlook{rate: f, on: on, horizon: 180}.from(age)
		rest := outlook{rate: f, on: on + Date(first), horizon: 180}.from(age + float64(first))
		got, want := whole.ahead(float64(first))+rest.ahead(second), whole.ahead(float64(first)+second)
		if math.Abs(got-want) > 1e-9*want {
			t.Errorf("sum of parts %g, whole %g", got, want)
		}
	})
}

// A market that sells twice as fast in summer as in winter shows it.
func TestRatesFindTheSeason(t *testing.T) {
	var markets []market
	for i := range 730 {
		on := today - 730 + Date(i)
		cos, sin := monthsOf(Interval{on, on + 1})[0].angle()
		events := 0.4 * math.Exp(-math.Ln2/2*cos+0*sin)
		markets = append(markets, market{
			levels: rateLevels{"desk"}, known: true,
			weight: 1, rows: []exposure{{stretch: Interval{on, on + 1}, bin: 2, days: 10, ask: 1, messages: 10 * events}},
		})
	}
	f := fitRate(markets, messagePriors(), true)
	july, january := f.seasonal(month{month: time.July}), f.seasonal(month{month: time.January})
	if got := july / january; math.Abs(got/math.Exp(math.Ln2*math.Cos(math.Pi/12))-1) > 0.03 {
		t.Errorf("July over January: %.3f, made with %.3f", got, math.Exp(math.Ln2*math.Cos(math.Pi/12)))
	}
}

// silence removes the messages of the last weeks from all listings.
func silence(h History) History {
	out := History{Listings: make([]Listing, len(h.Listings))}
	for i, l := range h.Listings {
		readings := l.Messages
		l.Messages = nil
		for _, r := range readings {
			if r.On < today-pulseDays {
				l.Messages = append(l.Messages, r)
			}
		}
		if readings != nil && l.Messages == nil {
			l.Messages = []Reading{{l.ListedOn, 0}}
		}
		out.Listings[i] = l
	}
	return out
}

func TestAQuietGroupIsTheSeason(t *testing.T) {
	h := syntheticMarket(300, 24)
	usual, quiet := Fit(h, today), Fit(silence(h), today)
	if p := usual.rates.Pulse; p < quietOver || p > 1.4 || usual.rates.Quiet {
		t.Errorf("pulse of a usual month %.2f", p)
	}
	if p := quiet.rates.Pulse; p <= 0 || p >= quietPulse || !quiet.rates.Quiet {
		t.Errorf("pulse of a quiet month %.2f", p)
	}
	l := Listing{ID: "a", Attributes: probes[1], ListedOn: today - 40, Estimate: 600, Asks: []Ask{{today - 40, 600}}}
	for _, tt := range []struct {
		name, want string
		m          *Model
		messages   int
	}{
		{"quiet, as all the others", CauseSeason, quiet, 4},
		{"quiet, none at all", CauseLook, quiet, 0},
		{"usual, as all the others", CauseLuck, usual, 12},
	} {
		l.Messages = []Reading{{today, tt.messages}}
		got := tt.m.Review(Standing{Listing: l}, today, DefaultSettings())
		if got.Reason != tt.want {
			t.Errorf("%s: %s, want %s (usual %.1f, pulse %.2f)", tt.name, got.Reason, tt.want, got.MessagesUsual, got.GroupPulse)
		}
	}
	if p := Fit(History{h.Listings[:2]}, today).rates.Pulse; p != 0 {
		t.Errorf("pulse of two listings %.2f, want none", p)
	}
}
