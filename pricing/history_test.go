package pricing

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// day is a day of the tables below.
func day(n int) Date { return today + Date(n) }

func TestActiveDays(t *testing.T) {
	tests := []struct {
		name             string
		l                Listing
		on               Date
		active, onMarket int
	}{
		{"open", Listing{ListedOn: day(0)}, day(10), 10, 10},
		{"listed today", Listing{ListedOn: day(0)}, day(0), 0, 0},
		{"not yet listed", Listing{ListedOn: day(5)}, day(0), 0, 0},
		{"half-open pause of 7 days", Listing{ListedOn: day(0), Pauses: []Interval{{day(3), day(10)}}}, day(20), 13, 20},
		{"pause going on", Listing{ListedOn: day(0), Pauses: []Interval{{day(3), 0}}}, day(20), 3, 20},
		{"planned end of a pause", Listing{ListedOn: day(0), Pauses: []Interval{{day(3), day(30)}}}, day(20), 3, 20},
		{"overlapping pauses", Listing{ListedOn: day(0), Pauses: []Interval{{day(3), day(10)}, {day(1), day(5)}}}, day(20), 11, 20},
		{"sold", Listing{ListedOn: day(0), Outcome: Sold, EndedOn: day(8)}, day(20), 8, 8},
		{"sold later than asked", Listing{ListedOn: day(0), Outcome: Sold, EndedOn: day(8)}, day(4), 4, 4},
		{"observed, last seen", Listing{ListedOn: day(0), Observed: true, LastSeenOn: day(6)}, day(20), 6, 6},
		{"observed, last noted", Listing{ListedOn: day(0), Observed: true, Asks: []Ask{{day(0), 90}, {day(9), 80}}}, day(20), 9, 9},
	}
	for _, tt := range tests {
		if got := tt.l.ActiveDays(tt.on); got != tt.active {
			t.Errorf("%s: active days %d, want %d", tt.name, got, tt.active)
		}
		if got := tt.l.DaysOnMarket(tt.on); got != tt.onMarket {
			t.Errorf("%s: days on market %d, want %d", tt.name, got, tt.onMarket)
		}
	}
}

func TestExposures(t *testing.T) {
	l := Listing{
		ListedOn: day(0), Asks: []Ask{{day(0), 300}, {day(30), 250}},
		Pauses:   []Interval{{day(5), day(15)}},
		Messages: []Reading{{day(3), 4}, {day(10), 6}, {day(40), 9}},
		Outcome:  Sold, EndedOn: day(40), SalePrice: 240,
	}
	rows := l.exposures(day(100))
	if !l.countMessages(rows) {
		t.Fatal("messages are known")
	}
	// Active life: days 0–5, then 15–40 at ages 5–30. The 2 messages counted on day 10
	// came on day 4 (the only active one since the reading of day 3); of the last
	// 3 the buyer's is left out, the others spread over the 25 days from 15 to 40.
	want := []exposure{
		{Interval{day(0), day(5)}, 0, 5, 300, 6, false, false},
		{Interval{day(15), day(17)}, 0, 2, 300, 3 * 2 / 25.0, false, false},
		{Interval{day(17), day(30)}, 1, 13, 300, 3 * 13 / 25.0, false, false},
		{Interval{day(30), day(31)}, 1, 1, 250, 3 * 1 / 25.0, false, false},
		{Interval{day(31), day(40)}, 2, 9, 250, 3*9/25.0 - 1, true, false},
	}
	approximate := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if diff := cmp.Diff(want, rows, cmp.AllowUnexported(exposure{}), approximate); diff != "" {
		t.Errorf("exposures (-want +got):\n%s", diff)
	}
}

func TestExposureOfOneDay(t *testing.T) {
	l := Listing{ListedOn: day(0), Asks: []Ask{{day(0), 300}}, Outcome: Sold, EndedOn: day(0)}
	rows := l.exposures(day(1))
	if len(rows) != 1 || rows[0].days != minExposure || !rows[0].sold {
		t.Errorf("sold on the first day: %+v, want half a day with a sale", rows)
	}
}

func TestCutHidesWhatCameLater(t *testing.T) {
	l := Listing{
		ID: "a", ListedOn: day(0), Asks: []Ask{{day(0), 300}, {day(30), 250}},
		Pauses:   []Interval{{day(5), day(15)}, {day(35), day(36)}},
		Messages: []Reading{{day(3), 4}, {day(40), 9}},
		Views:    []Reading{{0, 40}},
		Outcome:  Sold, EndedOn: day(40), SalePrice: 240, Estimate: 310,
	}
	want := Listing{
		ID: "a", ListedOn: day(0), Asks: []Ask{{day(0), 300}}, Pauses: []Interval{{day(5), 0}},
		Messages: []Reading{{day(3), 4}}, Views: []Reading{{0, 7}}, Estimate: 310,
	}
	got := Cut(History{[]Listing{l, {ID: "later", ListedOn: day(11)}}}, day(10))
	if diff := cmp.Diff([]Listing{want}, got.Listings); diff != "" {
		t.Errorf("cut (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(l, Cut(History{[]Listing{l}}, day(40)).Listings[0]); diff != "" {
		t.Errorf("a cut on the last day changes something:\n%s", diff)
	}
}

// Cutting twice is cutting once at the earlier day.
func TestCutsCommute(t *testing.T) {
	h := syntheticMarket(60, 3)
	rapid.Check(t, func(t *rapid.T) {
		a := today - Date(rapid.IntRange(0, 700).Draw(t, "a"))
		b := today - Date(rapid.IntRange(0, 700).Draw(t, "b"))
		got, want := Cut(Cut(h, a), b), Cut(h, min(a, b))
		if a < b {
			got = Cut(Cut(h, b), a)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("cut on %s, then %s:\n%s", a, b, diff)
		}
	})
}

// Days before recording began are told apart, with the messages that came in
// them; what ended before them is left out.
func TestEnteredCutsAtTheDayRecordingBegan(t *testing.T) {
	l := Listing{
		ID: "a", ListedOn: today - 40, Asks: []Ask{{today - 40, 100}, {today - 10, 90}},
		Messages: []Reading{{today - 21, 20}, {today - 1, 24}},
	}
	rows := l.exposures(today)
	l.countMessages(rows)
	got, ok := entered(rows, today-15)
	early, late, messages := 0.0, 0.0, 0.0
	for _, e := range got {
		messages += e.messages
		if e.before {
			early += e.days
		} else {
			late += e.days
		}
	}
	if !ok || early != 25 || late != 15 || messages > 4 || messages < 2 {
		t.Errorf("%v days before, %v after with %v messages; want 25, 15 and about 3", early, late, messages)
	}
	if same, ok := entered(rows, 0); !ok || len(same) != len(rows) || same[0].before {
		t.Errorf("recorded from the beginning: %+v", same)
	}
	l.Outcome, l.EndedOn, l.SalePrice = Sold, today-20, 90
	l.Asks = l.Asks[:1]
	if _, ok := entered(l.exposures(today), today-15); ok {
		t.Error("a sale from before recording began tells of the rates")
	}
	if _, ok := entered(l.exposures(today), today-21); !ok {
		t.Error("a sale on the day after recording began is left out")
	}
}
