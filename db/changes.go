package db

import (
	"bytes"
	"cmp"
	"context"
	"slices"

	"askwright/service"
)

// What changed after a number and an id: $1 group, $2 number, $3 id, $4 how many.
// The indexes listing_changed and listing_deleted_since give the order.
var (
	selectChanged = rowsOf(`(select * from listing where group_id = $1 and (change_no, listing_id) > ($2::bigint, $3::uuid)
		order by change_no, listing_id limit $4)`)
	selectDeleted = `select listing_id, change_no from listing_deleted
		where group_id = $1 and (change_no, listing_id) > ($2::bigint, $3::uuid) order by change_no, listing_id limit $4`
)

var deletedFields = []field[service.RowChange]{
	{"listing_id", func(c *service.RowChange) any { return &c.ID }},
	{"change_no", func(c *service.RowChange) any { return &c.ChangeNo }},
}

// ListingChanges reads a page of listings that changed or were deleted, in the order of
// their change numbers, and whether there are more. What is written meanwhile has a
// greater number than all that the page shows: it comes with a later one.
func (s *Store) ListingChanges(ctx context.Context, t service.Tenant, q service.ChangeQuery) ([]service.RowChange, bool, error) {
	var rows []*service.Listing
	var found []service.RowChange
	args := []any{t.Group, q.After, q.AfterID, q.Limit + 1}
	err := s.run(ctx, t, byIndexAlone,
		statement{sql: selectDeleted, args: args, read: collect(&found, deletedFields)},
		statement{sql: selectChanged, args: args, read: collectListings(&rows)},
	)
	if err != nil {
		return nil, false, err
	}
	for _, l := range rows {
		found = append(found, service.RowChange{ID: l.ID, ChangeNo: l.ChangeNo, Listing: l})
	}
	slices.SortFunc(found, func(x, y service.RowChange) int {
		return cmp.Or(cmp.Compare(x.ChangeNo, y.ChangeNo), bytes.Compare(x.ID[:], y.ID[:]))
	})
	more := len(found) > q.Limit
	return found[:min(len(found), q.Limit)], more, nil
}
