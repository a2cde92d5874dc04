package pricing

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"askwright/pricing/furniture"
	"askwright/pricing/internal/probe"
	"askwright/pricing/refinish"
)

// tape reads listings off fuzz data.
type tape struct{ probe.Tape }

// date is near today, or anywhere.
func (t *tape) date() Date {
	switch b := t.Byte(); b % 16 {
	case 13:
		return 0
	case 14:
		return math.MaxInt32
	case 15:
		return math.MinInt32
	default:
		return today - Date(b) + 20
	}
}

func (t *tape) attributes() furniture.Attributes {
	return furniture.Attributes{
		Category: t.Word(), SetSize: t.Byte() - 5, Width: t.Number(), Depth: t.Number(), Height: t.Number(),
		Material: t.Word(), Wood: t.Word(), Condition: t.Byte()%8 - 1, Finish: t.Word(), Color: t.Word(), Hardware: t.Word(),
	}
}

func (t *tape) listing(i int) Listing {
	l := Listing{
		ID: fmt.Sprint(i % 7), Piece: t.Word(), Attributes: t.attributes(), Observed: t.Byte()%4 == 0,
		ListedOn: t.date(), Outcome: Outcome(t.Byte() % 3), LastSeenOn: t.date(),
		SalePrice: t.Number(), Estimate: t.Number(), PricedFromSuggestion: t.Byte()%2 == 0,
	}
	if l.Outcome != Open {
		l.EndedOn = t.date()
	}
	for range t.Byte() % 3 {
		l.Asks = append(l.Asks, Ask{t.date(), t.Number()})
	}
	for range t.Byte() % 3 {
		l.Pauses = append(l.Pauses, Interval{t.date(), t.date()})
	}
	for range t.Byte() % 3 {
		l.Messages = append(l.Messages, Reading{t.date(), t.Byte() - 10})
		l.Views = append(l.Views, Reading{t.date(), 1000 * t.Byte()})
	}
	return l
}

// wantFinite fails the test where an answer is neither finite nor refused.
func wantFinite(t *testing.T, h History, q Query, on Date) {
	t.Helper()
	m := Fit(h, on)
	s := DefaultSettings()
	s.HourValue = 18
	s.RefinishOptions = []refinish.Option{{Finish: "clear", Materials: 20, Hours: 3, DaysOut: 5}}
	got := m.Suggest(q, on, s, h.Listings)
	if got.Refusal == nil && !(got.Ask >= 1 && len(got.Choices) == 3) {
		t.Errorf("neither an ask nor a refusal: %+v", got)
	}
	answers := []any{got, m.Describe()}
	for _, l := range h.Listings {
		st := Standing{Listing: l, Earlier: h.Listings[:len(h.Listings)/2]}
		answers = append(answers, m.Review(st, on, s))
		q.Standing = &st
		answers = append(answers, m.Suggest(q, on, s, nil))
	}
	for _, a := range answers {
		if found := probe.NonFinite(reflect.TypeOf(a).Name(), reflect.ValueOf(a)); found != "" {
			t.Error(found)
		}
	}
}

// FuzzAnswers feeds any history, however absurd: every answer is finite or
// refused, and nothing panics.
func FuzzAnswers(f *testing.F) {
	f.Add([]byte{}, byte(0))
	f.Add([]byte("a group of flippers, a few pieces a month, and a spreadsheet of old sales"), byte(12))
	f.Fuzz(func(t *testing.T, data []byte, n byte) {
		read := tape{data}
		q := Query{Attributes: read.attributes(), Estimate: read.Number(), WithinDays: read.Byte() - 5}
		on := read.date()
		var h History
		for i := range int(n % 64) {
			h.Listings = append(h.Listings, read.listing(i))
		}
		wantFinite(t, h, q, on)
	})
}

func TestAnswersAreFiniteOrRefused(t *testing.T) {
	PlaysForLong(t)
	sale := func(i int, price float64) Listing {
		return Listing{
			ID: fmt.Sprint(i), Attributes: probes[1], ListedOn: today - 30, Asks: []Ask{{today - 30, price}},
			Outcome: Sold, EndedOn: today - 10, SalePrice: price,
		}
	}
	repeat := func(n int, one func(i int) Listing) (h History) {
		for i := range n {
			h.Listings = append(h.Listings, one(i))
		}
		return h
	}
	for name, h := range map[string]History{
		"none":           {},
		"one sale":       repeat(1, func(i int) Listing { return sale(i, 200) }),
		"all the same":   repeat(40, func(i int) Listing { return sale(i, 200) }),
		"huge":           repeat(20, func(i int) Listing { return sale(i, 1e12) }),
		"tiny":           repeat(20, func(i int) Listing { return sale(i, 1e-6) }),
		"tiny to huge":   repeat(20, func(i int) Listing { return sale(i, math.Pow(10, float64(i%19)-6)) }),
		"refused prices": repeat(20, func(i int) Listing { return sale(i, math.Inf(1)) }),
		"collinear":      repeat(30, func(i int) Listing { l := sale(i, 100+float64(i)); l.Color = l.Finish; l.Wood = l.Finish; return l }),
		"only unsold":    repeat(30, func(i int) Listing { l := sale(i, 300); l.Outcome, l.SalePrice = Withdrawn, 0; return l }),
		"centuries apart": repeat(20, func(i int) Listing {
			l := sale(i, 300)
			l.ListedOn = Date(36525 * i)
			l.EndedOn = l.ListedOn + 20
			return l
		}),
		"ended before start": repeat(20, func(i int) Listing { l := sale(i, 300); l.EndedOn = l.ListedOn - 400; return l }),
		"one piece":          repeat(20, func(i int) Listing { l := sale(i, 300); l.Piece = "same"; return l }),
	} {
		t.Run(name, func(t *testing.T) {
			for _, e := range []float64{0, 250, 1e12, 1e-6} {
				wantFinite(t, h, Query{Attributes: probes[1], Estimate: e}, today)
			}
			wantFinite(t, h, Query{Attributes: probes[3]}, today+300*365)
		})
	}
}
