package pricing

import (
	"fmt"
	"testing"

	"askwright/pricing/refinish"
)

func BenchmarkFit(b *testing.B) {
	for _, n := range []int{300, 5000} {
		h := syntheticMarket(n, 1)
		b.Run(fmt.Sprintf("listings=%d", n), func(b *testing.B) {
			for b.Loop() {
				Fit(h, today)
			}
		})
	}
}

func BenchmarkNewModel(b *testing.B) {
	h := syntheticMarket(5000, 1)
	s := NewStatistics(h, today)
	rows := SaleRows(h, today)
	r := FitRates(s, rows, h, today)
	for b.Loop() {
		NewModel(s, rows, r)
	}
}

func BenchmarkSuggest(b *testing.B) {
	h := syntheticMarket(5000, 1)
	m := Fit(h, today)
	q := Query{Attributes: probes[1], Estimate: 600}
	for b.Loop() {
		m.Suggest(q, today, DefaultSettings(), h.Listings[:130])
	}
}

func BenchmarkReview(b *testing.B) {
	m := Fit(syntheticMarket(5000, 1), today)
	s := DefaultSettings()
	s.HourValue = 18
	s.RefinishOptions = []refinish.Option{{Finish: "clear", Materials: 20, Hours: 6, DaysOut: 9}, {Finish: "painted", Color: "green", Materials: 30, Hours: 8, DaysOut: 9}}
	l := unsold(3)
	for b.Loop() {
		m.Review(Standing{Listing: l}, today, s)
	}
}
