package db

import (
	"context"
	"database/sql/driver"
	"encoding/json"
	"strings"

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
	ofListing  = "k.group_id = l.group_id and k.member_id = l.member_id and k.category = l.category and k.ask = l.ask_amount[1]"
)

// shownFields are those of a suggestion; listing_id is the listing that it is judged by.
var shownFields = []field[track.Shown]{
	{"suggestion_id", func(k *track.Shown) any { return &k.ID }},
	{"member_id", func(k *track.Shown) any { return &k.MemberID }},
	{"ref", func(k *track.Shown) any { return &k.Ref }},
	{"listing_id", func(k *track.Shown) any { return blank(&k.ListingID) }},
	{"on_date", func(k *track.Shown) any { return &k.On }},
	{"model", func(k *track.Shown) any { return &k.Model }},
	{"made_at", func(k *track.Shown) any { return &k.At }},
	{"estimate", func(k *track.Shown) any { return blank(&k.Estimate) }},
	{"likely", ofSalePrice(func(r *track.ShownRange) *service.Money { return &r.Likely })},
	{"low", ofSalePrice(func(r *track.ShownRange) *service.Money { return &r.Low })},
	{"high", ofSalePrice(func(r *track.ShownRange) *service.Money { return &r.High })},
	{"level", ofSalePrice(func(r *track.ShownRange) *float64 { return &r.Level })},
	{"ask", ofPromise(func(p *track.ShownAsk) *service.Money { return &p.Ask })},
	{"within_days", ofPromise(func(p *track.ShownAsk) *int { return &p.WithinDays })},
	{"chance", ofPromise(func(p *track.ShownAsk) *float64 { return &p.Chance })},
	{"prospects", func(k *track.Shown) any { return prospects{&k.Promise} }},
}

func ofSalePrice[T any](part func(*track.ShownRange) *T) func(*track.Shown) any {
	return func(k *track.Shown) any { return partOr[track.ShownRange, T]{whole: &k.SalePrice, part: part} }
}

func ofPromise[T any](part func(*track.ShownAsk) *T) func(*track.Shown) any {
	return func(k *track.Shown) any { return partOr[track.ShownAsk, T]{whole: &k.Promise, part: part} }
}

// prospects is a place for those of a promise, if there is one.
type prospects struct{ of **track.ShownAsk }

// Value writes them.
func (p prospects) Value() (driver.Value, error) {
	if *p.of == nil {
		return nil, nil
	}
	return json.Marshal((*p.of).Prospects)
}

// ScanBytes reads them; the ask that is promised was read before.
func (p prospects) ScanBytes(text []byte) error {
	if text == nil || *p.of == nil {
		return nil
	}
	return json.Unmarshal(text, &(*p.of).Prospects)
}

// KeepSuggestions keeps what was shown; what was kept already stays as it is. Of
// a ref and day stay the first, the last, and the last one before each ask.
func (s *Store) KeepSuggestions(ctx context.Context, group uuid.UUID, kept []track.Shown) error {
	statements := make([]statement, 0, 2*len(kept)+1)
	members, refs, days := make([]uuid.UUID, len(kept)), make([]string, len(kept)), make([]pricing.Date, len(kept))
	for i := range kept {
		members[i], refs[i], days[i] = kept[i].MemberID, kept[i].Ref, kept[i].On
		if k := &kept[i]; len(k.Asks) > 0 {
			statements = append(statements, statement{
				sql: `insert into suggested_ask (group_id, member_id, category, ask, on_date, made_at)
					select $1, $2, $3, ask, $5, $6 from unnest($4::bigint[]) ask on conflict do nothing`,
				args: []any{group, k.MemberID, k.Category, k.Asks, k.On, k.At},
			})
		}
		if kept[i].Ref == "" {
			continue
		}
		statements = append(statements, statement{
			// The listing may have been deleted since, or is being so now.
			sql: "insert into suggestion (group_id, " + expressions(shownFields) + `) values ($1, $2, $3, $4,
				(select listing_id from listing where group_id = $1 and listing_id = $5 for key share), ` +
				parameters(6, len(shownFields)-4) + ") on conflict do nothing",
			args: append([]any{group}, places(shownFields, &kept[i])...),
		})
	}
	statements = append(statements, statement{
		sql: `delete from suggestion k using (select distinct * from unnest($2::uuid[], $3::text[], $4::date[]) as x (member_id, ref, on_date)) t
			where k.group_id = $1 and k.member_id = t.member_id and k.ref = t.ref and k.on_date = t.on_date` +
			replaced("o.member_id = k.member_id and o.ref = k.ref and o.on_date = k.on_date"),
		args: []any{group, members, refs, days},
	})
	return s.run(ctx, service.Tenant{Group: group}, statements...)
}

// replaced finds the suggestions k on which nothing rests: of the others o there
// is an earlier one, and a later one before any ask that may have followed k.
func replaced(others string) string {
	const byTime = "(k.made_at, k.suggestion_id)"
	from := " exists (select from suggestion o where o.group_id = k.group_id and " + others + " and (o.made_at, o.suggestion_id) "
	return " and" + from + "< " + byTime + ") and" + from + "> " + byTime + `
		and not exists (select from listing l join event e on e.group_id = l.group_id and e.listing_id = l.listing_id
			where l.group_id = k.group_id and (l.listing_id = k.listing_id or (l.member_id = k.member_id and l.ref = k.ref))
			and e.kind in ('listed', 'ask') and e.at between k.made_at and o.made_at))`
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
		sql: "select " + strings.Replace(expressions(prefixed("k.", shownFields)), "k.listing_id", "l.listing_id", 1) + `
			from listing l cross join lateral ` + keptOf(scoredBefore, lastOf) + ` k
			where l.group_id = $1 and l.source = 'own' and l.listed_on is not null
			order by l.listing_id`,
		args: []any{t.Group}, read: collect(&found, shownFields),
	})
	return found, err
}

// pricedFromSuggestion finds the listings l on a condition that a kept
// suggestion precedes, or whose first ask is one that their owner was told for
// such a piece in the two months before, with a ref or without one.
func pricedFromSuggestion(condition string, byID map[uuid.UUID]*model.Recorded, args ...any) statement {
	const before = ` and k.on_date <= l.listed_on and k.made_at < (select min(e.at) from event e
		where e.group_id = l.group_id and e.listing_id = l.listing_id and e.kind = 'listed' and e.voided_by is null)`
	const told = "select from suggested_ask k where " + ofListing + before + " and k.on_date >= l.listed_on - 60"
	return statement{
		sql: `select l.listing_id from listing l
			where l.group_id = $1 and l.listed_on is not null and not l.estimate_counts` + condition + ` and (
				exists (select from suggestion k where ` + keptForIt + before + `) or
				exists (select from suggestion k where ` + keptForRef + before + `) or
				exists (` + told + `))`,
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
	var estimate service.Money
	_, err = pgx.ForEachRow(found, []any{&id, blank(&estimate)}, func() error {
		seen[id] = estimate
		return nil
	})
	return seen, translate(err)
}

// PruneSuggestions deletes what nothing rests on any more. Of listings that
// ended before a day the first suggestion stays and the one that they are
// scored by; of what was shown before a day for those on offer, the first and
// the last before each ask; those of refs that are not on file go when they are
// old.
func (s *Store) PruneSuggestions(ctx context.Context, group uuid.UUID, endedBefore, openBefore, describedBefore pricing.Date) (int, error) {
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
			args: []any{group, endedBefore}, read: count,
		},
		statement{
			sql: `with gone as (delete from suggestion k using listing w
				where w.group_id = $1 and w.ended_on is null and k.group_id = $1 and k.listing_id = w.listing_id and k.on_date < $2` +
				replaced("o.listing_id = k.listing_id") + counted,
			args: []any{group, openBefore}, read: count,
		},
		statement{
			sql: `with gone as (delete from suggestion k where k.group_id = $1 and k.listing_id is null and k.on_date < $2
				and not exists (select from listing l where l.group_id = $1 and l.member_id = k.member_id and l.ref = k.ref)` + counted,
			args: []any{group, describedBefore}, read: count,
		},
		statement{
			sql: `with gone as (delete from suggested_ask k where k.group_id = $1 and k.on_date < $2
				and not exists (select from listing l where l.group_id = $1 and ` + ofListing + ` and l.listed_on >= k.on_date)` + counted,
			args: []any{group, endedBefore}, read: count,
		})
	return dropped, err
}

var prunedOf = ` where l.group_id = $1 and l.ended_on < $2
	and k.suggestion_id <> (select suggestion_id from ` + keptOf("", firstOf) + ` x)
	and k.suggestion_id is distinct from (select suggestion_id from ` + keptOf(scoredBefore, lastOf) + ` x)`
