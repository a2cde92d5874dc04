package recording

import (
	"context"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// isTheirs reports whether a row names another member.
func (b *importer) isTheirs(n numberedRow) bool {
	name := strings.TrimSpace(n.Cells["member"])
	return name != "" && !strings.EqualFold(name, b.actor.Member)
}

// theirs finds the listings of the rows that name another member, by their ids.
func (b *importer) theirs(ctx context.Context, rows []numberedRow) (map[int]*service.Listing, error) {
	byID := make(map[uuid.UUID]int)
	for _, n := range rows {
		if id, err := uuid.Parse(strings.TrimSpace(n.Cells["id"])); err == nil && b.isTheirs(n) {
			byID[id] = n.Row
		}
	}
	if len(byID) == 0 {
		return nil, nil
	}
	found, err := b.writer.ListingsByID(ctx, slices.Collect(maps.Keys(byID)))
	byRow := make(map[int]*service.Listing, len(found))
	for _, l := range found {
		byRow[byID[l.ID]] = l
	}
	return byRow, err
}

// saysNothingNew reports whether a row of another member is as on file: a whole
// export can be sent again.
func (b *importer) saysNothingNew(n numberedRow, l *service.Listing) bool {
	cells := maps.Clone(n.Cells)
	delete(cells, "revision") // an older one is no conflict where nothing is written
	change, wrong := b.reader.Change(l, cells, service.ChangeOptions{})
	return wrong == nil && len(change.Events) == 0 && strings.EqualFold(strings.TrimSpace(n.Cells["member"]), l.Member)
}
