package pricing

import (
	"math"

	"askwright/pricing/hedonic"
)

type (
	// Statistics are what a caller that adds and removes sales one at a time keeps.
	Statistics = hedonic.Statistics
	// SaleRow is a sale as they take it.
	SaleRow = hedonic.SaleRow
	// Term is one column of a row.
	Term = hedonic.Term
)

// NewSaleRow returns the row of a sold listing; false where it is not sold or
// its price is not known.
func NewSaleRow(l Listing) (SaleRow, bool) {
	if l.Outcome != Sold || !validPrice(l.SalePrice) {
		return SaleRow{}, false
	}
	return SaleRow{
		Listing: l.ID, Terms: hedonic.Terms(l.Attributes, l.EndedOn),
		Y:      math.Log(l.SalePrice),
		Weight: saleWeight(l),
		On:     l.EndedOn,
	}, true
}

// saleWeight is 1 for a sale price within a factor of two of the last ask and
// falls with the fourth power of the log ratio beyond it, so that the squared
// residual of a slip of the pen cannot grow without bound:
//
//	w = min(1, (log 2 / |log(price / ask)|)⁴)
//
// It depends on this row alone, so that rows can be added and removed in any order.
func saleWeight(l Listing) float64 {
	ask, ok := l.askOn(l.EndedOn)
	if !ok {
		return 1
	}
	r := math.Abs(math.Log(l.SalePrice / ask))
	if r <= trustedRatio {
		return 1
	}
	return math.Pow(trustedRatio/r, 4)
}

// NewStatistics collects the sales of a history that are known on day.
func NewStatistics(h History, day Date) *Statistics {
	s := &Statistics{}
	for _, row := range SaleRows(h, day) {
		s.Add(row)
	}
	return s
}

// SaleRows are the sales of a history that are known on day, by listing.
func SaleRows(h History, day Date) []SaleRow {
	var rows []SaleRow
	for _, l := range sorted(Cut(h, day)) {
		if row, ok := NewSaleRow(l); ok {
			rows = append(rows, row)
		}
	}
	return rows
}
