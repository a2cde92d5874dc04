package db

import (
	"context"
	"maps"
	"slices"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
)

// History reads every listing of the group with its readings, as they were at
// one moment: at the change number that it returns.
func (s *Store) History(ctx context.Context, t service.Tenant) ([]*model.Recorded, int64, error) {
	var changeNo int64
	var rows []*service.Listing
	var out []*model.Recorded
	began := make(map[uuid.UUID]model.Began)
	err := s.atOneMoment(ctx, t, func(tx pgx.Tx) error {
		byID := make(map[uuid.UUID]*model.Recorded)
		return send(ctx, tx,
			statement{sql: "select change_no from groups where group_id = $1", args: []any{t.Group}, read: one(&changeNo)},
			statement{sql: selectFacts + " order by l.listing_id", args: []any{t.Group}, read: func(r pgx.Rows) (err error) {
				err = collectListings(&rows)(r)
				out = recorded(rows, byID)
				return err
			}},
			readingsOf("", byID, t.Group),
			pricedFromSuggestion("", byID, t.Group),
			recordingBegan(began, t.Group),
		)
	})
	model.SetRecordedFrom(out, began)
	return out, changeNo, err
}

// recordingBegan reads when each member began to record, by the group's calendar.
func recordingBegan(into map[uuid.UUID]model.Began, group uuid.UUID) statement {
	return statement{
		sql: `select m.member_id, m.recorded_from, (
				select (min(e.at) at time zone s.timezone)::date from event e
				where e.group_id = m.group_id and e.owner_id = m.member_id)
			from member m join group_settings s on s.group_id = m.group_id where m.group_id = $1`,
		args: []any{group}, read: func(rows pgx.Rows) error {
			var member uuid.UUID
			var b model.Began
			_, err := pgx.ForEachRow(rows, []any{&member, blank(&b.Said), blank(&b.First)}, func() error {
				into[member] = b
				return nil
			})
			return err
		},
	}
}

// Records reads the listings named, each with all others of its piece.
func (s *Store) Records(ctx context.Context, t service.Tenant, w model.Selection) ([]*model.Recorded, error) {
	pieces := "(select * from listing l where l.group_id = $1 and l.piece_id in (select piece_id from " +
		eachOf("$2::uuid[]", "listing", "x.listing_id = wanted.one") + " by_id union select piece_id from " +
		eachOf("$4::text[]", "listing", "x.member_id = $3 and x.ref = wanted.one") + ` by_ref union
		select piece_id from listing where group_id = $1 and $5 and outcome = 'open' and source = 'own'))`
	var rows []*service.Listing
	err := s.run(ctx, t, statement{
		sql: factsOf(pieces) + " order by l.listing_id", args: []any{t.Group, w.IDs, t.Member, w.Refs, w.Open},
		read: collectListings(&rows),
	})
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	byID := make(map[uuid.UUID]*model.Recorded, len(rows))
	out := recorded(rows, byID)
	ids := slices.Collect(maps.Keys(byID))
	const named = " and l.listing_id = any($2::uuid[])"
	read := []statement{readingsOf(named, byID, t.Group, ids), pricedFromSuggestion(named, byID, t.Group, ids)}
	return out, s.run(ctx, t, append(read, keptSteps(byID, t.Group, ids)...)...)
}

// recorded makes records of rows, without readings so far.
func recorded(rows []*service.Listing, byID map[uuid.UUID]*model.Recorded) []*model.Recorded {
	out := make([]*model.Recorded, len(rows))
	for i, l := range rows {
		out[i] = &model.Recorded{Listing: l}
		byID[l.ID] = out[i]
	}
	return out
}

// readingsOf reads the dated counts of listings l on a condition.
func readingsOf(condition string, byID map[uuid.UUID]*model.Recorded, args ...any) statement {
	return statement{
		sql: `select l.listing_id, l.on_date, (l.changes->'messages'->>'new'), (l.changes->'views'->>'new')
			from event l where l.group_id = $1 and l.kind = 'interest' and l.voided_by is null` + condition +
			" order by l.listing_id, l.on_date, l.change_no",
		args: args, read: func(r pgx.Rows) error { return readings(r, byID) },
	}
}

// readings adds dated counts to their listings.
func readings(rows pgx.Rows, byID map[uuid.UUID]*model.Recorded) error {
	var listing uuid.UUID
	var on pricing.Date
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

func withReading(sofar []pricing.Reading, on pricing.Date, count *string) []pricing.Reading {
	if count == nil || *count == "" {
		return sofar
	}
	var n int
	for _, digit := range *count { // written by the service: digits
		n = n*10 + int(digit-'0')
	}
	return append(sofar, pricing.Reading{On: on, Count: n})
}
