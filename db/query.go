package db

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/watch"
)

// Listing reads one row.
func (s *Store) Listing(ctx context.Context, t service.Tenant, id uuid.UUID) (*service.Listing, error) {
	var found []*service.Listing
	err := s.run(ctx, t, statement{sql: selectListings + " and l.listing_id = $2", args: []any{t.Group, id}, read: collectListings(&found)})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 {
		return nil, service.ErrNotFound
	}
	return found[0], nil
}

// Listings returns a page of rows and whether there are more.
func (s *Store) Listings(ctx context.Context, t service.Tenant, q service.Query) ([]*service.Listing, bool, error) {
	sql, args, err := listingQuery(t, q, fmt.Sprintf(" limit %d", q.Limit+1))
	if err != nil {
		return nil, false, err
	}
	var found []*service.Listing
	if err := s.run(ctx, t, statement{sql: sql, args: args, read: collectListings(&found)}); err != nil {
		return nil, false, err
	}
	more := len(found) > q.Limit
	return found[:min(len(found), q.Limit)], more, nil
}

// EachListing streams all rows of a query.
func (s *Store) EachListing(ctx context.Context, t service.Tenant, q service.Query, yield func(*service.Listing) error) error {
	sql, args, err := listingQuery(t, q, "")
	if err != nil {
		return err
	}
	return s.run(ctx, t, statement{sql: sql, args: args, read: each(rowFields, yield)})
}

// sortExpressions give each sort column without NULLs and with its type, so
// that a position in the list is a plain comparison. Each has its index, named
// listing_order_..., on exactly this expression. It is no coalesce: the server
// takes that for a function that could show rows of other groups, and would
// apply no condition on it before it has read the row.
var sortExpressions = map[string]struct{ expr, kind string }{
	"ref":        {"l.ref", "text"},
	"category":   {"l.category", "text"},
	"listed_on":  {"case when l.listed_on is null then date '0001-01-01' else l.listed_on end", "date"},
	"ended_on":   {"case when l.ended_on is null then date '0001-01-01' else l.ended_on end", "date"},
	"ask":        {"case when l.ask is null then 0 else l.ask end", "bigint"},
	"sale_price": {"case when l.sale_price is null then 0 else l.sale_price end", "bigint"},
}

// conditionsBuilder gathers SQL conditions with their arguments.
type conditionsBuilder struct {
	sql  strings.Builder
	args []any
}

// arg keeps a value and returns its place in the statement.
func (b *conditionsBuilder) arg(v any) string {
	b.args = append(b.args, v)
	return fmt.Sprintf("$%d", len(b.args))
}

func (b *conditionsBuilder) and(format string, args ...any) {
	b.sql.WriteString(" and ")
	fmt.Fprintf(&b.sql, format, args...)
}

// listingQuery turns a query into a statement, which takes its rows from the
// listings alone before it joins to them what else they show. Column names come
// from the service's closed lists, values are arguments.
func listingQuery(t service.Tenant, q service.Query, limit string) (string, []any, error) {
	b := &conditionsBuilder{args: []any{t.Group}}
	for _, column := range slices.Sorted(maps.Keys(q.Words)) {
		if !slices.Contains(service.WordFilters, column) {
			return "", nil, fmt.Errorf("no filter by %s", column)
		}
		format := "l." + storedNames.onFile(column) + " = any(%s::text[])"
		switch column {
		case "piece_ref":
			format = "l.piece_id in (select piece_id from piece where group_id = $1 and ref = any(%s::text[]))"
		case "condition":
			format = "l.condition::text = any(%s::text[])"
		case "stage": // of what is still in the yard
			format = "case when l.let_go is null then l.stage end = any(%s::text[])"
		}
		b.and(format, b.arg(wordsOnFile(column, q.Words[column])))
	}
	for _, column := range service.DateFilters {
		stored := storedNames.onFile(column)
		indexed := cmp.Or(sortExpressions[column].expr, "l."+stored)
		if on, ok := q.From[column]; ok {
			b.and("l.%s is not null and %s >= %s::date", stored, indexed, b.arg(on))
		}
		if on, ok := q.To[column]; ok {
			b.and("l.%s is not null and %s <= %s::date", stored, indexed, b.arg(on))
		}
	}
	for _, column := range service.NumberFilters {
		stored := column
		if slices.Contains([]string{"width", "depth", "height"}, column) {
			stored += "_mm"
		}
		if low, ok := q.Min[column]; ok {
			b.and("l.%s >= %s::float8", stored, b.arg(low))
		}
		if high, ok := q.Max[column]; ok {
			b.and("l.%s <= %s::float8", stored, b.arg(high))
		}
	}
	if q.Member != uuid.Nil {
		b.and("l.member_id = %s", b.arg(q.Member))
	}
	if q.Piece != nil {
		b.and("l.piece_id = %s", b.arg(*q.Piece))
	}
	if q.InTheYard != nil {
		inTheYard := "l.listed_on is null and l.let_go is null" // as in the index listing_in_yard
		if !*q.InTheYard {
			inTheYard = "not (" + inTheYard + ")"
		}
		b.and("%s", inTheYard)
	}
	order, err := b.order(q)
	if err != nil {
		return "", nil, err
	}
	listings := "(select * from listing l where l.group_id = $1" + b.sql.String() + order + limit + ")"
	return rowsOf(listings) + order, b.args, nil
}

// wordsOnFile are the words of a filter as they are stored.
func wordsOnFile(column string, words []string) []string {
	if column == "stage" || column == "outcome" {
		return storedWords.allOnFile(words)
	}
	return words
}

// sortKey is a part of an order.
type sortKey struct {
	expr, kind string
	descending bool
	place      string // what it was in the last row seen
}

// than is the comparison with which the list goes on.
func (k sortKey) than() string {
	if k.descending {
		return "<"
	}
	return ">"
}

// order writes the order by clause and, after a position, the condition that
// continues from there. Ties are broken in the direction of the last column, so
// that one index serves it in both.
func (b *conditionsBuilder) order(q service.Query) (string, error) {
	var keys []sortKey
	tie := sortKey{expr: "l.listing_id", kind: "uuid"}
	for _, k := range q.Sort {
		e, ok := sortExpressions[k.Column]
		if !ok {
			return "", fmt.Errorf("no order by %s", k.Column)
		}
		keys = append(keys, sortKey{expr: e.expr, kind: e.kind, descending: k.Descending})
		tie.descending = k.Descending
	}
	keys = append(keys, tie)
	if q.AfterID != uuid.Nil {
		if len(q.After) != len(q.Sort) {
			return "", service.Invalid("cursor", "belongs to another list")
		}
		for i, value := range append(slices.Clone(q.After), q.AfterID.String()) {
			keys[i].place = b.arg(placeOf(keys[i].kind, value)) + "::text::" + keys[i].kind
		}
		b.and("%s", after(keys))
	}
	clause := make([]string, len(keys))
	for i, k := range keys {
		clause[i] = k.expr
		if k.descending {
			clause[i] += " desc"
		}
	}
	return " order by " + strings.Join(clause, ", "), nil
}

// placeOf is the text of a cursor's value in the database.
func placeOf(kind, value string) string {
	switch {
	case value == "" && kind == "date":
		return "0001-01-01"
	case value == "" && kind == "bigint":
		return "0"
	case kind == "bigint":
		return strings.Replace(value, ".", "", 1) // amounts are written with all their digits
	}
	return value
}

// after is the condition of all rows behind a place. Of one direction it is a
// comparison of rows, which an index answers; of several the first column's
// bound is.
func after(keys []sortKey) string {
	exprs, places := make([]string, len(keys)), make([]string, len(keys))
	uniform := true
	for i, k := range keys {
		exprs[i], places[i] = k.expr, k.place
		uniform = uniform && k.descending == keys[0].descending
	}
	if uniform {
		return "(" + strings.Join(exprs, ", ") + ") " + keys[0].than() + " (" + strings.Join(places, ", ") + ")"
	}
	var alternatives []string
	same := ""
	for _, k := range keys {
		alternatives = append(alternatives, same+k.expr+" "+k.than()+" "+k.place)
		same += k.expr + " = " + k.place + " and "
	}
	first := keys[0]
	return first.expr + " " + first.than() + "= " + first.place + " and (" + strings.Join(alternatives, " or ") + ")"
}

// Pieces returns a page of pieces in the order of their refs.
func (s *Store) Pieces(ctx context.Context, t service.Tenant, q service.PieceQuery) ([]*service.Piece, bool, error) {
	sql, args := pieceQuery(t, q)
	var found []*service.Listing
	if err := s.run(ctx, t, statement{sql: sql, args: args, read: collectListings(&found)}); err != nil {
		return nil, false, err
	}
	var pieces []*service.Piece
	for group := range slices.Values(chunksByPiece(found)) {
		pieces = append(pieces, service.PieceOf(group))
	}
	more := len(pieces) > q.Limit
	return pieces[:min(len(pieces), q.Limit)], more, nil
}

// pieceQuery turns a query into a statement of all rows of a page's pieces.
func pieceQuery(t service.Tenant, q service.PieceQuery) (string, []any) {
	b := &conditionsBuilder{args: []any{t.Group}}
	if q.Member != uuid.Nil {
		b.and("p.member_id = %s", b.arg(q.Member))
	}
	if q.Ref != "" {
		named := b.arg(q.Ref)
		b.and(`p.piece_id in (select piece_id from listing where group_id = $1 and ref = %s
			union select piece_id from piece where group_id = $1 and ref = %s)`, named, named)
	}
	if len(q.State) > 0 {
		// A piece stands where its newest row stands; one in the yard is newest.
		b.and(`(select case when let_go is null then coalesce(stage, outcome)
				when stage = 'found' then 'passed' else 'let_go' end from listing n
			where n.group_id = p.group_id and n.piece_id = p.piece_id
			order by n.listed_on desc nulls first, n.listing_id desc limit 1) = any(%s::text[])`, b.arg(storedWords.allOnFile(q.State)))
	}
	if q.AfterID != uuid.Nil {
		b.and("(p.ref, p.piece_id) > (%s::text, %s::uuid)", b.arg(q.AfterRef), b.arg(q.AfterID))
	}
	page := fmt.Sprintf("select group_id, piece_id from piece p where p.group_id = $1%s order by p.ref, p.piece_id limit %d", b.sql.String(), q.Limit+1)
	return rowsOf(`(select x.* from (`+page+`) paged cross join lateral
			(select * from listing x where x.group_id = paged.group_id and x.piece_id = paged.piece_id offset 0) x)`) + `
		order by p.ref, p.piece_id, l.listed_on nulls last, l.listing_id`, b.args
}

func chunksByPiece(rows []*service.Listing) [][]*service.Listing {
	var chunks [][]*service.Listing
	for i, l := range rows {
		if i == 0 || rows[i-1].PieceID != l.PieceID {
			chunks = append(chunks, nil)
		}
		last := len(chunks) - 1
		chunks[last] = append(chunks[last], l)
	}
	return chunks
}

// eventFields are those of an event with the name of who recorded it.
var eventFields = []field[service.Event]{
	{"e.event_id", func(e *service.Event) any { return &e.ID }},
	{"e.listing_id", func(e *service.Event) any { return &e.ListingID }},
	{"e.member_id", func(e *service.Event) any { return &e.MemberID }},
	{"m.name", func(e *service.Event) any { return &e.Member }},
	{"e.kind", func(e *service.Event) any { return storedWord{&e.Kind} }},
	{"e.on_date", func(e *service.Event) any { return &e.On }},
	{"e.at", func(e *service.Event) any { return &e.At }},
	{"e.change_no", func(e *service.Event) any { return &e.ChangeNo }},
	{"e.private", func(e *service.Event) any { return &e.Private }},
	{"e.changes", func(e *service.Event) any { return storedChanges{&e.Changes} }},
	{"case when e.owner_id = " + me + " then e.details || e.owner_details else e.details end", func(e *service.Event) any { return storedDetails{&e.Details} }},
	{"e.voids", func(e *service.Event) any { return blank(&e.Voids) }},
	{"e.voided_by", func(e *service.Event) any { return blank(&e.VoidedBy) }},
}

var selectEvents = "select " + expressions(eventFields) + " from event e join member m using (group_id, member_id) where e.group_id = $1"

var selectListingEvents = selectEvents + " and e.listing_id = $2 order by e.change_no, e.event_id"

// Events tells a listing's facts in the order they were recorded.
func (s *Store) Events(ctx context.Context, t service.Tenant, listing uuid.UUID) ([]service.Event, error) {
	var found []service.Event
	err := s.run(ctx, t, statement{
		sql: selectListingEvents, args: []any{t.Group, listing},
		read: collect(&found, eventFields),
	})
	return found, err
}

// OfferEvents tells the offers for a member's open listings since a day, and what
// was said to them.
func (s *Store) OfferEvents(ctx context.Context, t service.Tenant, since pricing.Date) (events []service.Event, err error) {
	err = s.run(ctx, t, statement{
		sql: selectEvents + ` and e.kind in ('offer', 'answer', 'hold') and e.voided_by is null and e.on_date >= $3
			and exists (select from listing l where l.group_id = e.group_id and l.listing_id = e.listing_id and l.member_id = $2 and l.outcome = 'open')
			order by e.change_no, e.event_id`,
		args: []any{t.Group, t.Member, since}, read: collect(&events, eventFields),
	})
	return events, err
}

// Lifetimes counts the own listings that were listed since a day, by their
// active days until the end, or until today.
func (s *Store) Lifetimes(ctx context.Context, t service.Tenant, since, today pricing.Date) ([]watch.Lifetime, error) {
	var lives []watch.Lifetime
	err := s.run(ctx, t, statement{
		// least takes no notice of a null: the end of a pause that goes on.
		sql: `select until - l.listed_on - paused.days as active_days, l.outcome = 'sold' as sold, count(*) as listings
			from listing l
			cross join lateral (select least(l.ended_on, $3::date) as until) ended
			cross join lateral (
				select coalesce(sum(greatest(0, least(upper(p), until) - lower(p))), 0)::integer as days from unnest(l.pauses) p) paused
			where l.group_id = $1 and l.source = 'own' and (` + sortExpressions["listed_on"].expr + `) between $2 and $3
			group by 1, 2 order by 1, 2`,
		args: []any{t.Group, since, today},
		read: collectByName(&lives),
	})
	return lives, err
}

// HoldEvents tells the holds of all listings and their releases up to a day,
// and which of these listings are sold.
func (s *Store) HoldEvents(ctx context.Context, t service.Tenant, until pricing.Date) (events []service.Event, sold []uuid.UUID, err error) {
	err = s.run(ctx, t,
		statement{
			sql: selectEvents + ` and e.kind in ('hold', 'release') and e.voided_by is null and e.on_date <= $2
				order by e.change_no, e.event_id`,
			args: []any{t.Group, until}, read: collect(&events, eventFields),
		},
		statement{
			sql: `select l.listing_id from listing l where l.group_id = $1 and l.outcome = 'sold' and exists (select from event e
				where e.group_id = l.group_id and e.listing_id = l.listing_id and e.kind = 'hold' and e.voided_by is null)`,
			args: []any{t.Group},
			read: func(rows pgx.Rows) (err error) {
				sold, err = pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
				return err
			},
		},
	)
	return events, sold, err
}
