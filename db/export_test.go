package db

import (
	"maps"
	"slices"

	"askwright/service/model"
)

// ConstraintNames are the constraints for which translate has words.
func ConstraintNames() []string { return slices.Sorted(maps.Keys(constraintColumns)) }

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

// MaxWaiting is the length of a group's queue to write.
const MaxWaiting = maxWaiting
