package db

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/service"
	"askwright/service/model"
)

// What separates the parts of a candidate, and candidates.
const (
	partEnd      = "\x1f"
	candidateEnd = "\x1e"
)

// ofSold and ofUnsold are the sides of the market, as their indexes have them.
const (
	ofSold   = " and l.outcome = 'sold' and l.sale_price is not null"
	ofUnsold = " and l.outcome in ('open', 'withdrawn')"
)

// side is an expression for some candidates of the subject w, as one text: those
// of the first rows in an order that an index has. Where many may stand before
// them that do not count, so many are looked at and no more.
func side(from, where, order string, n int) string {
	return "(select string_agg(found.one, E'\\x1e') from (select concat(l.listing_id, E'\\x1f', translate(l.category, E'\\x1e\\x1f', ''), E'\\x1f', l.ranked_by) as one from " +
		from + " l where l.group_id = $1" + where + " and l.piece_id is distinct from w.piece order by " + order +
		" limit " + strconv.Itoa(n) + ") found)"
}

const sameKind, otherKind = " and l.category = w.category", " and l.category <> w.category"

// nearest are the sides of a search that is by size where the subject's is known.
// They are searched by index alone: the rows that are not of a known size follow
// all others in it.
func nearest(kind, market string, n int) []string {
	const whereSized, whereNot = " and w.size is not null", " and w.size is null"
	sides := []string{
		side("listing", market+kind+" and l.log_volume >= w.size", "l.log_volume, l.listing_id", n/2),
		side("listing", market+kind+" and l.log_volume < w.size", "l.log_volume desc, l.listing_id desc", n/2),
	}
	if kind == otherKind {
		newest := "(select * from listing x where x.group_id = $1 order by " + endedOrder + " desc, x.listing_id desc limit " + strconv.Itoa(4*n) + ")"
		return append(sides, side(newest, market+kind+whereNot, "l.ended_on desc, l.listing_id desc", n))
	}
	sides = append(sides, side("listing", market+kind+" and l.log_volume is null"+whereSized, "l.log_volume desc, l.listing_id desc", n/10))
	if market == ofSold {
		return append(sides, side("listing", market+kind+whereNot, "l.ended_on desc, l.listing_id desc", n))
	}
	newest := "(select * from listing x where x.group_id = $1 and x.category = w.category order by x.listing_id desc limit " + strconv.Itoa(4*n) + ")"
	return append(sides, side(newest, market+whereNot, "l.listing_id desc", n))
}

// endedOrder is as in the index listing_order_ended_on.
const endedOrder = "(case when x.ended_on is null then date '0001-01-01' else x.ended_on end)"

// search selects, of each subject, candidates from some sides.
func search(sides ...[]string) string {
	var all []string
	for _, some := range sides {
		all = append(all, some...)
	}
	return "select concat_ws(E'\\x1e', " + strings.Join(all, ", ") + `)
		from unnest($2::text[], $3::float8[], $4::uuid[]) with ordinality w (category, size, piece, n) order by w.n`
}

// The searches for candidates.
var (
	searchSold   = search(nearest(sameKind, ofSold, model.NearestSold))
	searchBoth   = search(nearest(sameKind, ofSold, model.NearestSold), nearest(sameKind, ofUnsold, model.NearestUnsold))
	searchOthers = search(nearest(otherKind, ofSold, model.NearestSold))
)

// byIndexAlone has statements planned once and for all by the indexes that give
// their order, whatever the server takes a table for: just after a large import it
// knows nothing of it, and beside a huge group it takes a small one for that.
var byIndexAlone = statement{sql: `select set_config('plan_cache_mode', 'force_generic_plan', true),
	set_config('enable_sort', 'off', true), set_config('enable_seqscan', 'off', true), set_config('enable_bitmapscan', 'off', true)`}

// Nearest finds candidates for all subjects in one round trip, and in a second one
// over all categories for those with few.
func (s *Store) Nearest(ctx context.Context, t service.Tenant, subjects []model.CompQuery) ([][]pricing.Listing, error) {
	found := make([][]pricing.Listing, len(subjects))
	var sold, both, few []int
	for i, sub := range subjects {
		if sub.SoldOnly {
			sold = append(sold, i)
		} else {
			both = append(both, i)
		}
	}
	err := s.candidates(ctx, t, subjects, found, sold, searchSold)
	if err == nil {
		err = s.candidates(ctx, t, subjects, found, both, searchBoth)
	}
	if err != nil {
		return nil, err
	}
	for i, sub := range subjects {
		sales := 0
		for j := range found[i] {
			if found[i][j].Outcome == pricing.Sold {
				sales++
			}
		}
		if sales < sub.FewEnough {
			few = append(few, i)
		}
	}
	return found, s.candidates(ctx, t, subjects, found, few, searchOthers)
}

// candidates adds those of one search for some of the subjects.
func (s *Store) candidates(ctx context.Context, t service.Tenant, subjects []model.CompQuery, found [][]pricing.Listing, which []int, sql string) error {
	if len(which) == 0 {
		return nil
	}
	categories, sizes, pieces := make([]string, len(which)), make([]*float64, len(which)), make([]*uuid.UUID, len(which))
	for i, at := range which {
		categories[i] = subjects[at].Category
		if v := subjects[at].Volume; v > 0 {
			sizes[i] = new(math.Log(v))
		}
		if subjects[at].Piece != uuid.Nil {
			pieces[i] = &subjects[at].Piece
		}
	}
	var packed string
	next := 0
	return s.run(ctx, t, byIndexAlone, statement{
		sql: sql, args: []any{t.Group, categories, sizes, pieces}, read: func(rows pgx.Rows) error {
			_, err := pgx.ForEachRow(rows, []any{&packed}, func() (err error) {
				at := which[next]
				next++
				found[at], err = unpackCandidates(packed, found[at])
				return err
			})
			return err
		},
	})
}

// nearFields are what comparables are adjusted by and shown with: columns of the
// listing, and at the end whose it is.
var nearFields = append(fieldsNamed(listingFields, `listing_id piece_id member_id ref source last_seen_on category
	set_size items width depth height unit material wood style year_made condition finish color second_finish second_color
	topcoat sheen hardware drawers doors maker venue area listed_on ask_on ask_amount pauses outcome ended_on sale_price`),
	field[service.Listing]{"member", func(l *service.Listing) any { return &l.Member }})

// selectNear selects them of the listings with ids.
var selectNear = "select " + selected(nearFields[:len(nearFields)-1], false) + ", m.name as member from " +
	eachOf("$2::uuid[]", "listing", "x.listing_id = wanted.one") +
	" l join member m on m.group_id = l.group_id and m.member_id = l.member_id"

// NearRows reads candidates that were chosen as whole rows, but for what is the
// owner's alone.
func (s *Store) NearRows(ctx context.Context, t service.Tenant, ids []uuid.UUID) ([]*service.Listing, error) {
	var rows []*service.Listing
	err := s.run(ctx, t, byIndexAlone, statement{sql: selectNear, args: []any{t.Group, ids}, read: each(nearFields, func(l *service.Listing) error {
		rows = append(rows, l)
		return nil
	})})
	return rows, err
}

func unpackCandidates(packed string, into []pricing.Listing) ([]pricing.Listing, error) {
	if packed == "" {
		return into, nil
	}
	if into == nil {
		into = make([]pricing.Listing, 0, strings.Count(packed, candidateEnd)+1)
	}
	for one := range strings.SplitSeq(packed, candidateEnd) {
		c, err := unpackCandidate(one)
		if err != nil {
			return nil, fmt.Errorf("candidate %q: %w", one, err)
		}
		into = append(into, c)
	}
	return into, nil
}

// unpackCandidate reads what a candidate is ranked by, in the order of the column
// ranked_by. Its price is no matter, but that it has one.
func unpackCandidate(text string) (pricing.Listing, error) {
	p := parts{rest: text}
	l := pricing.Listing{ID: p.text(), Attributes: furniture.Attributes{Category: p.text(), SetSize: p.number()}}
	l.Items = p.items()
	width, depth, height, unit := p.decimal(), p.decimal(), p.decimal(), p.text()
	l.Width, l.Depth, l.Height = service.Centimetres(width, unit), service.Centimetres(depth, unit), service.Centimetres(height, unit)
	l.Material, l.Wood, l.Condition = p.text(), p.text(), p.number()
	l.Finish, l.Color, l.Hardware = p.text(), p.text(), p.text()
	if p.text() == service.OutcomeSold {
		l.Outcome, l.SalePrice = pricing.Sold, 1
	}
	l.Observed = p.text() != ""
	listed, lastAsk := p.day(), p.day()
	l.ListedOn, l.EndedOn, l.LastSeenOn = listed, p.day(), p.day()
	if !lastAsk.IsZero() {
		l.Asks = []pricing.Ask{{On: lastAsk, Amount: 1}}
	}
	return l, p.err
}

// parts reads the parts of a text one after another.
type parts struct {
	rest string
	err  error
}

func (p *parts) text() (part string) {
	part, p.rest, _ = strings.Cut(p.rest, partEnd)
	return part
}

func (p *parts) number() int {
	part := p.text()
	if part == "" {
		return 0
	}
	n, err := strconv.Atoi(part)
	p.note(err)
	return n
}

func (p *parts) decimal() float64 {
	part := p.text()
	if part == "" {
		return 0
	}
	f, err := strconv.ParseFloat(part, 64)
	p.note(err)
	return f
}

func (p *parts) day() pricing.Date {
	part := p.text()
	if part == "" {
		return 0
	}
	n, err := strconv.Atoi(part)
	p.note(err)
	return firstDay + pricing.Date(n)
}

func (p *parts) items() []furniture.Item {
	items, err := parseItems(p.text())
	p.note(err)
	return items
}

func (p *parts) note(err error) {
	if p.err == nil {
		p.err = err
	}
}

var firstDay = pricing.NewDate(1, 1, 1)
