package wire

import (
	"slices"
	"strconv"

	"askwright/api/web"
	"askwright/service/advice"
)

// CursorAfter is the position after a review. It is its place in the order, so that
// a page goes on from there though reviews have changed meanwhile.
func CursorAfter(p advice.ReviewPlace) *web.Cursor {
	return &web.Cursor{ID: p.ID, After: []string{
		p.State, strconv.FormatFloat(p.Gain, 'g', -1, 64), strconv.Itoa(p.ActiveDays),
	}}
}

// ReviewPlace reads such a position.
func ReviewPlace(k web.Cursor) (p advice.ReviewPlace, err error) {
	if len(k.After) != 3 || !slices.Contains(advice.ListingStates, k.After[0]) {
		return p, web.BadCursor()
	}
	p.State, p.ID = k.After[0], k.ID
	var faults [2]error
	p.Gain, faults[0] = strconv.ParseFloat(k.After[1], 64)
	p.ActiveDays, faults[1] = strconv.Atoi(k.After[2])
	if faults != [2]error{} {
		return p, web.BadCursor()
	}
	return p, nil
}
