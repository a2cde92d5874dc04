package pricing

import (
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"testing"
)

// tape reads values off fuzz data; at its end all are zero.
type tape []byte

func (t *tape) byte() int {
	if len(*t) == 0 {
		return 0
	}
	b := (*t)[0]
	*t = (*t)[1:]
	return int(b)
}

// number is any float64 one time in eight, else one of a few awkward or likely values.
func (t *tape) number() float64 {
	values := [...]float64{0, 1, 40, 200, 220.5, 1000, 99_999, 1e6, -5, 1e-9, 1e12, 1e300, math.Inf(1), math.NaN()}
	b := t.byte()
	if b%8 == 7 && len(*t) >= 8 {
		v := math.Float64frombits(binary.LittleEndian.Uint64(*t))
		*t = (*t)[8:]
		return v
	}
	return values[b%len(values)]
}

// date is near today, or anywhere.
func (t *tape) date() Date {
	switch b := t.byte(); b % 16 {
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

func (t *tape) word() string { return [...]string{"", "desk", "oak", "painted", "white"}[t.byte()%5] }

func (t *tape) attributes() Attributes {
	return Attributes{
		Category: t.word(), SetSize: t.byte() - 5, Width: t.number(), Depth: t.number(), Height: t.number(),
		Material: t.word(), Wood: t.word(), Condition: t.byte()%8 - 1, Finish: t.word(), Color: t.word(), Hardware: t.word(),
	}
}

func (t *tape) listing(i int) Listing {
	l := Listing{
		ID: fmt.Sprint(i % 7), Piece: t.word(), Attributes: t.attributes(), Observed: t.byte()%4 == 0,
		ListedOn: t.date(), Outcome: Outcome(t.byte() % 3), LastSeenOn: t.date(),
		SalePrice: t.number(), Estimate: t.number(), PricedFromSuggestion: t.byte()%2 == 0,
	}
	if l.Outcome != Open {
		l.EndedOn = t.date()
	}
	for range t.byte() % 3 {
		l.Asks = append(l.Asks, Ask{t.date(), t.number()})
	}
	for range t.byte() % 3 {
		l.Pauses = append(l.Pauses, Interval{t.date(), t.date()})
	}
	for range t.byte() % 3 {
		l.Messages = append(l.Messages, Reading{t.date(), t.byte() - 10})
		l.Views = append(l.Views, Reading{t.date(), 1000 * t.byte()})
	}
	return l
}

// nonFinite finds a number that is not finite anywhere in v.
func nonFinite(path string, v reflect.Value) string {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			return fmt.Sprintf("%s = %g", path, v.Float())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return nonFinite(path, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if found := nonFinite(path+"."+v.Type().Field(i).Name, v.Field(i)); found != "" {
				return found
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if found := nonFinite(fmt.Sprintf("%s[%d]", path, i), v.Index(i)); found != "" {
				return found
			}
		}
	}
	return ""
}

// wantFinite fails the test where an answer is neither finite nor refused.
func wantFinite(t *testing.T, h History, q Query, on Date) {
	t.Helper()
	m := Fit(h, on)
	s := DefaultSettings()
	s.HourValue = 18
	s.RefinishOptions = []RefinishOption{{Finish: "clear", Materials: 20, Hours: 3, DaysOut: 5}}
	got := m.Suggest(q, on, s, h.Listings)
	if got.Refusal == nil && !(got.Ask >= 1 && len(got.Choices) == 3) {
		t.Errorf("neither an ask nor a refusal: %+v", got)
	}
	answers := []any{got, m.Describe(), m.PurchaseLimits(PurchaseQuery{Attributes: q.Attributes, Estimate: q.Estimate, Hours: 2}, on, s)}
	for _, l := range h.Listings {
		st := Standing{Listing: l, Earlier: h.Listings[:len(h.Listings)/2]}
		answers = append(answers, m.Review(st, on, s))
		q.Standing = &st
		answers = append(answers, m.Suggest(q, on, s, nil))
	}
	for _, a := range answers {
		if found := nonFinite(reflect.TypeOf(a).Name(), reflect.ValueOf(a)); found != "" {
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
		read := tape(data)
		q := Query{Attributes: read.attributes(), Estimate: read.number(), WithinDays: read.byte() - 5}
		on := read.date()
		var h History
		for i := range int(n % 64) {
			h.Listings = append(h.Listings, read.listing(i))
		}
		wantFinite(t, h, q, on)
	})
}

func TestAnswersAreFiniteOrRefused(t *testing.T) {
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
