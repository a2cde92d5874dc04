package db

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/track"
)

// The suggestions k of a listing l: those kept for it, and those kept for its
// ref before it was on file. They are many to a listing, so that they are
// looked up from it, each kind by its index.
const (
	keptForIt  = "k.group_id = l.group_id and k.listing_id = l.listing_id"
	keptForRef = "k.group_id = l.group_id and k.member_id = l.member_id and k.ref = l.ref and k.listing_id is null"
)

// KeepSuggestions keeps what was shown; what was kept already stays as it is.
func (s *Store) KeepSuggestions(ctx context.Context, group uuid.UUID, kept []track.Shown) error {
	statements := make([]statement, len(kept))
	for i, k := range kept {
		row := keptRow{SuggestionID: k.ID, MemberID: k.MemberID, Ref: k.Ref, OnDate: k.On.Time(), Model: k.Model, MadeAt: k.At, Estimate: moneyArg(k.Estimate)}
		if r := k.SalePrice; r != nil {
			row.Likely, row.Low, row.High, row.Level = new(int64(r.Likely)), new(int64(r.Low)), new(int64(r.High)), &r.Level
		}
		if p := k.Promise; p != nil {
			text, err := json.Marshal(p.Prospects)
			if err != nil {
				return fmt.Errorf("the prospects of %s: %w", k.Ref, err)
			}
			row.Ask, row.WithinDays, row.Chance, row.Prospects = new(int64(p.Ask)), &p.WithinDays, &p.Chance, text
		}
		statements[i] = statement{
			// The listing may have been deleted since, or is being so now.
			sql: `insert into suggestion (group_id, suggestion_id, member_id, ref, listing_id, on_date, model, made_at, estimate,
					likely, low, high, level, ask, within_days, chance, prospects)
				values ($1, $2, $3, $4, (select listing_id from listing where group_id = $1 and listing_id = $5 for key share), $6, $7, $8, $9,
					$10, $11, $12, $13, $14, $15, $16, $17)
				on conflict do nothing`,
			args: []any{group, row.SuggestionID, row.MemberID, row.Ref, uuidArg(k.ListingID), row.OnDate, row.Model, row.MadeAt, row.Estimate,
				row.Likely, row.Low, row.High, row.Level, row.Ask, row.WithinDays, row.Chance, row.Prospects},
		}
	}
	return s.run(ctx, service.Tenant{Group: group}, statements...)
}

// keptRow is a row of suggestion; ListingID is the listing that it is judged by.
type keptRow struct {
	SuggestionID uuid.UUID
	MemberID     uuid.UUID
	Ref          string
	ListingID    *uuid.UUID
	OnDate       time.Time
	Model        string
	MadeAt       time.Time
	Estimate     *int64
	Likely       *int64
	Low          *int64
	High         *int64
	Level        *float64
	Ask          *int64
	WithinDays   *int
	Chance       *float64
	Prospects    []byte
}

func (r *keptRow) kept() (track.Shown, error) {
	k := track.Shown{
		ID: r.SuggestionID, MemberID: r.MemberID, Ref: r.Ref, ListingID: valueOf(r.ListingID), On: pricing.DateOf(r.OnDate),
		Model: r.Model, At: r.MadeAt, Estimate: service.Money(valueOf(r.Estimate)),
	}
	if r.Likely != nil {
		k.SalePrice = &track.ShownRange{
			Likely: service.Money(*r.Likely), Low: service.Money(valueOf(r.Low)), High: service.Money(valueOf(r.High)), Level: valueOf(r.Level),
		}
	}
	if r.Ask != nil {
		k.Promise = &track.ShownAsk{Ask: service.Money(*r.Ask), WithinDays: valueOf(r.WithinDays), Chance: valueOf(r.Chance)}
		if err := json.Unmarshal(r.Prospects, &k.Promise.Prospects); err != nil {
			return k, fmt.Errorf("suggestion %s: prospects: %w", r.SuggestionID, err)
		}
	}
	return k, nil
}

// scoredBefore and lastOf find, of the suggestions k of a listing l, the last
// one kept before its last ask was set: what it is scored by.
const (
	scoredBefore = ` and k.on_date <= l.ask_on[cardinality(l.ask_on)]
		and k.made_at <= (select max(e.at) from event e
			where e.group_id = l.group_id and e.listing_id = l.listing_id and e.kind in ('listed', 'ask') and e.voided_by is null)`
	lastOf  = " order by k.made_at desc, k.suggestion_id desc limit 1"
	firstOf = " order by k.made_at, k.suggestion_id limit 1"
)

// keptOf takes one of the suggestions of a listing l, of both kinds.
func keptOf(condition, order string) string {
	return "(select * from ((select k.* from suggestion k where " + keptForIt + condition + order +
		") union all (select k.* from suggestion k where " + keptForRef + condition + order + ")) k" + order + ")"
}

// LastKept returns, for each own listing that has one, the last suggestion
// kept before its last ask was set.
func (s *Store) LastKept(ctx context.Context, t service.Tenant) ([]track.Shown, error) {
	var found []track.Shown
	err := s.run(ctx, t, statement{
		sql: `select k.suggestion_id, k.member_id, k.ref, l.listing_id, k.on_date, k.model, k.made_at, k.estimate,
				k.likely, k.low, k.high, k.level, k.ask, k.within_days, k.chance, k.prospects
			from listing l cross join lateral ` + keptOf(scoredBefore, lastOf) + ` k
			where l.group_id = $1 and l.source = 'own' and l.listed_on is not null
			order by l.listing_id`,
		args: []any{t.Group}, read: collect(&found, (*keptRow).kept),
	})
	return found, err
}

// pricedFromSuggestion finds the listings l on a condition that a kept
// suggestion precedes.
func pricedFromSuggestion(condition string, byID map[uuid.UUID]*model.Recorded, args ...any) statement {
	const before = ` and k.on_date <= l.listed_on and k.made_at < (select min(e.at) from event e
		where e.group_id = l.group_id and e.listing_id = l.listing_id and e.kind = 'listed' and e.voided_by is null)`
	return statement{
		sql: `select l.listing_id from listing l
			where l.group_id = $1 and l.listed_on is not null and not l.estimate_counts` + condition + ` and (
				exists (select from suggestion k where ` + keptForIt + before + `) or
				exists (select from suggestion k where ` + keptForRef + before + `))`,
		args: args, read: func(rows pgx.Rows) error {
			var listing uuid.UUID
			_, err := pgx.ForEachRow(rows, []any{&listing}, func() error {
				if r := byID[listing]; r != nil {
					r.PricedFromSuggestion = true
				}
				return nil
			})
			return err
		},
	}
}

// EstimatesSeen returns, for each of the rows that a suggestion was kept for,
// the estimate that came with the first one; zero: none did.
func (w *writer) EstimatesSeen(ctx context.Context, rows []*service.Listing) (map[uuid.UUID]service.Money, error) {
	ids, members, refs := make([]uuid.UUID, len(rows)), make([]uuid.UUID, len(rows)), make([]string, len(rows))
	for i, l := range rows {
		ids[i], members[i], refs[i] = l.ID, l.MemberID, l.Ref
	}
	found, err := w.tx.Query(ctx, `
		select l.listing_id, k.estimate
		from unnest($2::uuid[], $3::uuid[], $4::text[]) as t (listing_id, member_id, ref)
		cross join lateral (select $1::uuid as group_id, t.*) l
		cross join lateral `+keptOf("", firstOf)+` k`, w.tenant.Group, ids, members, refs)
	if err != nil {
		return nil, translate(err)
	}
	seen := make(map[uuid.UUID]service.Money)
	var id uuid.UUID
	var estimate *int64
	_, err = pgx.ForEachRow(found, []any{&id, &estimate}, func() error {
		seen[id] = service.Money(valueOf(estimate))
		return nil
	})
	return seen, translate(err)
}

// PruneSuggestions deletes what nothing rests on any more. Of listings that
// ended before a day the first suggestion stays and the one that they are
// scored by; those of refs that are not on file go when they are old.
func (s *Store) PruneSuggestions(ctx context.Context, group uuid.UUID, endedBefore, describedBefore pricing.Date) (int, error) {
	dropped := 0
	count := func(rows pgx.Rows) error {
		var n int
		_, err := pgx.ForEachRow(rows, []any{&n}, func() error { dropped += n; return nil })
		return err
	}
	const counted = " returning 1) select count(*) from gone"
	err := s.run(ctx, service.Tenant{Group: group},
		statement{
			sql: `with gone as (delete from suggestion where group_id = $1 and suggestion_id in (
				select k.suggestion_id from listing l join suggestion k on ` + keptForIt + prunedOf + `
				union all select k.suggestion_id from listing l join suggestion k on ` + keptForRef + prunedOf + ")" + counted,
			args: []any{group, endedBefore.Time()}, read: count,
		},
		statement{
			sql: `with gone as (delete from suggestion k where k.group_id = $1 and k.listing_id is null and k.on_date < $2
				and not exists (select from listing l where l.group_id = $1 and l.member_id = k.member_id and l.ref = k.ref)` + counted,
			args: []any{group, describedBefore.Time()}, read: count,
		})
	return dropped, err
}

var prunedOf = ` where l.group_id = $1 and l.ended_on < $2
	and k.suggestion_id <> (select suggestion_id from ` + keptOf("", firstOf) + ` x)
	and k.suggestion_id is distinct from (select suggestion_id from ` + keptOf(scoredBefore, lastOf) + ` x)`
