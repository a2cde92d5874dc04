package db

import (
	"fmt"
	"maps"
	"slices"

	"askwright/service"
)

// ConstraintNames are the constraints for which translate has words.
func ConstraintNames() []string { return slices.Sorted(maps.Keys(constraintColumns)) }

// RowColumns are the columns of the listing row that are read, and the tables'.
func RowColumns() []string {
	names := make([]string, len(rowFields))
	for i, f := range rowFields {
		names[i] = storedNames.today(f.sql)
	}
	return names
}

// Migrations returns the number of migrations of this program.
func Migrations() (int, error) {
	all, err := migrations()
	return len(all), err
}

// Translate is translate.
var Translate = translate

// The searches for comparables: $1 group, $2 categories, $3 log volumes, $4 pieces.
var (
	SearchSold   = searchSold
	SearchBoth   = searchBoth
	SearchOthers = searchOthers
	ByIndexAlone = byIndexAlone.sql
)

// ListingPage is the statement of a page of listings.
func ListingPage(t service.Tenant, q service.Query) (string, []any, error) {
	return listingQuery(t, q, fmt.Sprintf(" limit %d", q.Limit+1))
}

// PiecePage is the statement of a page of pieces.
var PiecePage = pieceQuery

// What the member's own pieces took since a change: $1 group, $2 member, $3 number.
var (
	SelectChangedOwn = selectChangedOwn
	SelectWorked     = selectWorked
)

// What changed after: $1 group, $2 number, $3 id, $4 how many.
var (
	SelectChanged = selectChanged
	SelectDeleted = selectDeleted
)

// MaxWaiting is the length of a group's queue to write.
const MaxWaiting = maxWaiting
