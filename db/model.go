package db

import (
	"context"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
)

// History reads every listing of the group with its readings.
func (s *Store) History(ctx context.Context, t service.Tenant) ([]*service.Recorded, int64, error) {
	var changeNo int64
	var rows []*service.Listing
	byID := make(map[uuid.UUID]*service.Recorded)
	var out []*service.Recorded
	err := s.run(ctx, t,
		// Read first: what commits in between is read, and read again later.
		statement{sql: "select change_no from groups where group_id = $1", args: []any{t.Group}, read: one(&changeNo)},
		statement{sql: selectFacts + " order by l.listing_id", args: []any{t.Group}, read: func(r pgx.Rows) error {
			if err := collect(&rows, (*listingRow).listing)(r); err != nil {
				return err
			}
			for _, l := range rows {
				recorded := &service.Recorded{Listing: l}
				byID[l.ID] = recorded
				out = append(out, recorded)
			}
			return nil
		}},
		statement{
			sql: `select listing_id, on_date, (changes->'messages'->>'new'), (changes->'views'->>'new')
				from event where group_id = $1 and kind = 'interest' and voided_by is null order by listing_id, on_date, change_no`,
			args: []any{t.Group}, read: func(r pgx.Rows) error { return readings(r, byID) },
		},
		pricedFromSuggestion(t.Group, byID),
	)
	return out, changeNo, err
}

// readings adds dated counts to their listings.
func readings(rows pgx.Rows, byID map[uuid.UUID]*service.Recorded) error {
	var listing uuid.UUID
	var on time.Time
	var messages, views *string
	_, err := pgx.ForEachRow(rows, []any{&listing, &on, &messages, &views}, func() error {
		if r := byID[listing]; r != nil {
			r.MessagesRead = withReading(r.MessagesRead, on, messages)
			r.ViewsRead = withReading(r.ViewsRead, on, views)
		}
		return nil
	})
	return err
}

func withReading(sofar []pricing.Reading, on time.Time, count *string) []pricing.Reading {
	if count == nil || *count == "" {
		return sofar
	}
	var n int
	for _, digit := range *count { // written by the service: digits
		n = n*10 + int(digit-'0')
	}
	return append(sofar, pricing.Reading{On: pricing.DateOf(on), Count: n})
}

// The nearest listings of a category on each side of a size, by the index
// (group_id, category, log_volume); of an unknown size the newest.
const (
	ofSold    = " and l.outcome = 'sold' and l.sale_price is not null"
	ofUnsold  = " and l.outcome in ('open', 'withdrawn')"
	sameKind  = " and l.category = $2"
	logVolume = "ln($3::float8)"
)

// nearest writes one side of the search after another as one statement. Each
// takes its few rows from the index before names are joined to them.
func nearest(kind, condition string, sized bool, n int) string {
	side := func(where, order string, n int) string {
		return factsOf("(select * from listing l where l.group_id = $1" + kind + condition + where +
			" order by " + order + " limit " + strconv.Itoa(n) + ")")
	}
	const newest = "l.ended_on desc nulls last, l.listing_id desc"
	if !sized {
		return side(" and ($3::float8 is null)", newest, n)
	}
	return side(" and l.log_volume >= "+logVolume, "l.log_volume, l.listing_id", n/2) + " union all " +
		side(" and l.log_volume < "+logVolume, "l.log_volume desc, l.listing_id", n/2) + " union all " +
		side(" and l.log_volume is null", newest, n/10)
}

// Nearest finds comparables for each subject in one round trip, and in a
// second one over all categories for those with few.
func (s *Store) Nearest(ctx context.Context, t service.Tenant, subjects []service.Near) ([][]*service.Listing, error) {
	found := make([][]*service.Listing, len(subjects))
	var statements []statement
	for i, sub := range subjects {
		for _, search := range []struct {
			condition string
			n         int
		}{{ofSold, service.NearestSold}, {ofUnsold, service.NearestUnsold}} {
			statements = append(statements, statement{
				sql:  nearest(sameKind, search.condition, sub.Volume > 0, search.n),
				args: []any{t.Group, sub.Category, numberArg(sub.Volume)}, read: collect(&found[i], (*listingRow).listing),
			})
		}
	}
	if err := s.run(ctx, t, statements...); err != nil {
		return nil, err
	}
	statements = statements[:0]
	for i, sub := range subjects {
		if countSold(found[i]) < sub.FewEnough {
			statements = append(statements, statement{
				sql:  nearest(" and l.category <> $2", ofSold, sub.Volume > 0, service.NearestSold),
				args: []any{t.Group, sub.Category, numberArg(sub.Volume)}, read: collect(&found[i], (*listingRow).listing),
			})
		}
	}
	if len(statements) == 0 {
		return found, nil
	}
	return found, s.run(ctx, t, statements...)
}

func countSold(rows []*service.Listing) (n int) {
	for _, l := range rows {
		if l.Outcome == service.OutcomeSold {
			n++
		}
	}
	return n
}
