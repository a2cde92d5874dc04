package db

import (
	"fmt"
	"maps"
	"slices"

	"askwright/service"
	"askwright/service/model"
)

// ConstraintNames are the constraints for which translate has words.
func ConstraintNames() []string { return slices.Sorted(maps.Keys(constraintColumns)) }

// RowColumns are the columns of the listing row that are read, and the tables'.
func RowColumns() []string {
	names := make([]string, len(rowFields))
	for i, f := range rowFields {
		names[i] = f.sql
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

// The search for comparables of a known size: $1 group, $2 category, $3 volume.
var (
	NearestSold   = nearest(sameKind, ofSold, true, model.NearestSold)
	NearestUnsold = nearest(sameKind, ofUnsold, true, model.NearestUnsold)
	NearestOthers = nearest(" and l.category <> $2", ofSold, true, model.NearestSold)
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

// MaxWaiting is the length of a group's queue to write.
const MaxWaiting = maxWaiting
