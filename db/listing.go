package db

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/service"
)

// listingFields are the stored columns.
var listingFields = []field[service.Listing]{
	{"listing_id", func(l *service.Listing) any { return &l.ID }},
	{"piece_id", func(l *service.Listing) any { return &l.PieceID }},
	{"member_id", func(l *service.Listing) any { return &l.MemberID }},
	{"revision", func(l *service.Listing) any { return &l.Revision }},
	{"change_no", func(l *service.Listing) any { return &l.ChangeNo }},
	{"ref", func(l *service.Listing) any { return &l.Ref }},
	{"source", func(l *service.Listing) any { return &l.Source }},
	{"last_seen_on", func(l *service.Listing) any { return &l.LastSeenOn }},
	{"stage", func(l *service.Listing) any { return storedWord{&l.Stage} }},
	{"category", func(l *service.Listing) any { return &l.Category }},
	{"set_size", func(l *service.Listing) any { return blank(&l.SetSize) }},
	{"items", func(l *service.Listing) any { return itemsText{&l.Items} }},
	{"width", func(l *service.Listing) any { return blank(&l.Width) }},
	{"depth", func(l *service.Listing) any { return blank(&l.Depth) }},
	{"height", func(l *service.Listing) any { return blank(&l.Height) }},
	{"unit", func(l *service.Listing) any { return &l.Unit }},
	{"material", func(l *service.Listing) any { return &l.Material }},
	{"wood", func(l *service.Listing) any { return &l.Wood }},
	{"style", func(l *service.Listing) any { return &l.Style }},
	{"year_made", func(l *service.Listing) any { return blank(&l.YearMade) }},
	{"condition", func(l *service.Listing) any { return blank(&l.Condition) }},
	{"finish", func(l *service.Listing) any { return &l.Finish }},
	{"color", func(l *service.Listing) any { return &l.Color }},
	{"second_finish", func(l *service.Listing) any { return &l.SecondFinish }},
	{"second_color", func(l *service.Listing) any { return &l.SecondColor }},
	{"topcoat", func(l *service.Listing) any { return &l.Topcoat }},
	{"sheen", func(l *service.Listing) any { return &l.Sheen }},
	{"hardware", func(l *service.Listing) any { return &l.Hardware }},
	{"drawers", func(l *service.Listing) any { return &l.Drawers }},
	{"doors", func(l *service.Listing) any { return &l.Doors }},
	{"maker", func(l *service.Listing) any { return &l.Maker }},
	{"flaws", func(l *service.Listing) any { return &l.Flaws }},
	{"smell", func(l *service.Listing) any { return &l.Smell }},
	{"venue", func(l *service.Listing) any { return &l.Venue }},
	{"sold_venue", func(l *service.Listing) any { return &l.SoldVenue }},
	{"area", func(l *service.Listing) any { return &l.Area }},
	{"listed_on", func(l *service.Listing) any { return &l.ListedOn }},
	{"ask_on", askDays},
	{"ask_amount", askAmounts},
	{"pauses", func(l *service.Listing) any { return pausesText{&l.Pauses} }},
	{"views", func(l *service.Listing) any { return &l.Views }},
	{"saves", func(l *service.Listing) any { return &l.Saves }},
	{"messages", func(l *service.Listing) any { return &l.Messages }},
	{"viewings", func(l *service.Listing) any { return &l.Showings }},
	{"outcome", func(l *service.Listing) any { return storedWord{&l.Outcome} }},
	{"ended_on", func(l *service.Listing) any { return &l.EndedOn }},
	{"sale_price", func(l *service.Listing) any { return blank(&l.SalePrice) }},
	{"estimate", func(l *service.Listing) any { return blank(&l.Estimate) }},
	{"estimate_counts", func(l *service.Listing) any { return &l.EstimateCounts }},
	{"seller_ask", func(l *service.Listing) any { return blank(&l.SellerAsk) }},
	{"let_go", func(l *service.Listing) any { return blank(&l.ClosedAs) }},
	{"let_go_on", func(l *service.Listing) any { return &l.ClosedOn }},
	{"let_go_note", func(l *service.Listing) any { return &l.ClosedNote }},
	{"planned_finish", func(l *service.Listing) any { return &l.PlannedFinish }},
	{"planned_color", func(l *service.Listing) any { return &l.PlannedColor }},
}

// joinedFields are what rowsOf and factsOf select of other tables, in their order.
var joinedFields = []field[service.Listing]{
	{"piece_ref", func(l *service.Listing) any { return &l.PieceRef }},
	{"member", func(l *service.Listing) any { return &l.Member }},
	{"bought_on", func(l *service.Listing) any { return &l.Ledger.BoughtOn }},
	{"bought_from", func(l *service.Listing) any { return blank(&l.Ledger.BoughtFrom) }},
	{"condition_found", func(l *service.Listing) any { return blank(&l.Ledger.ConditionFound) }},
	{"notes", func(l *service.Listing) any { return blank(&l.Ledger.Notes) }},
	{"costs", func(l *service.Listing) any { return &l.Ledger.Costs }},
}

var rowFields = slices.Concat(listingFields, joinedFields)

// collectListings reads whole rows.
func collectListings(into *[]*service.Listing) func(pgx.Rows) error {
	return each(rowFields, func(l *service.Listing) error {
		*into = append(*into, l)
		return nil
	})
}

// ownerColumns are hidden from other members in the statement itself.
var ownerColumns = []string{"estimate", "estimate_counts"}

const me = "nullif(current_setting('app.member_id', true), '')::uuid"

// The statements are put together from the one list of columns.
var (
	insertListing  = "insert into listing (group_id, " + expressions(listingFields) + ") values ($1, " + strings.Join(placeholders(2), ", ") + ")"
	updateListing  = listingUpdate()
	selectListings = rowsOf("listing") + " where l.group_id = $1"
	// selectFacts leaves the ledger out and keeps the estimate: for models.
	selectFacts = factsOf("listing") + " where l.group_id = $1"
)

// pieceOfEach finds each listing's piece by its key. The offset keeps it from
// being planned as a join: just after a large import the server takes a group
// for a handful of rows and would pass over all of them for each.
const pieceOfEach = "join lateral (select ref, piece_id from piece x where x.group_id = l.group_id and x.piece_id = l.piece_id offset 0) p on true"

// rowsOf selects whole rows, with the tenant's own ledger, from a table or
// subquery of listings.
func rowsOf(listings string) string {
	return "select " + selected(listingFields, true) + `, p.ref as piece_ref, m.name as member,
		g.bought_on, g.bought_from, g.condition_found, g.notes, c.costs
		from ` + listings + ` l
		` + pieceOfEach + `
		join member m on m.group_id = l.group_id and m.member_id = l.member_id
		left join lateral (
			select bought_on, bought_from, condition_found, notes from ledger x
			where x.group_id = l.group_id and x.listing_id = l.listing_id offset 0
		) g on true
		left join lateral (
			select jsonb_object_agg(kind, total) as costs from (
				select kind, sum(amount)::bigint as total from cost_line x
				where x.group_id = l.group_id and x.listing_id = l.listing_id group by kind` + somethingHolds + `) totals
		) c on true`
}

// somethingHolds leaves out kinds of which each line was undone: they are
// unknown again, not zero.
const somethingHolds = " having count(*) > 2 * count(voids)"

// factsOf selects from a table or subquery of listings.
func factsOf(listings string) string {
	return "select " + selected(listingFields, false) + `, p.ref as piece_ref, m.name as member,
		null::date as bought_on, null::text as bought_from, null::smallint as condition_found, null::text as notes, null::jsonb as costs
		from ` + listings + ` l
		` + pieceOfEach + `
		join member m on m.group_id = l.group_id and m.member_id = l.member_id`
}

// selected are fields of the listing l; what is the owner's alone may be hidden.
func selected(fields []field[service.Listing], hideOwners bool) string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = "l." + f.sql
		switch {
		case f.sql == "pauses":
			names[i] = "l.pauses::text as pauses"
		case hideOwners && f.sql == ownerColumns[0]:
			names[i] = "case when l.member_id = " + me + " then l.estimate end as estimate"
		case hideOwners && f.sql == ownerColumns[1]:
			names[i] = "l.member_id = " + me + " and l.estimate_counts as estimate_counts"
		}
	}
	return strings.Join(names, ", ")
}

func placeholders(from int) []string {
	marks := make([]string, len(listingFields))
	for i, f := range listingFields {
		marks[i] = "$" + strconv.Itoa(from+i)
		if f.sql == "pauses" {
			marks[i] += "::text::datemultirange"
		}
	}
	return marks
}

// listingUpdate sets every column; the owner's only when the owner writes,
// since nobody else could read them.
func listingUpdate() string {
	var sets, same []string
	for i, mark := range placeholders(3) {
		column := listingFields[i].sql
		switch column {
		case "listing_id", "member_id":
			same = append(same, column+" = "+mark)
			continue
		case ownerColumns[0], ownerColumns[1]:
			mark = "case when member_id = $2 then " + mark + " else " + column + " end"
		}
		sets = append(sets, column+" = "+mark)
	}
	return "update listing set " + strings.Join(sets, ", ") + " where group_id = $1 and " + strings.Join(same, " and ")
}

// pausesText and itemsText are places for columns that are read and written as text.
type (
	pausesText struct{ at *[]pricing.Interval }
	itemsText  struct{ at *[]furniture.Item }
)

// TextValue writes a datemultirange.
func (p pausesText) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: formatPauses(*p.at), Valid: true}, nil
}

// ScanText reads one.
func (p pausesText) ScanText(v pgtype.Text) (err error) {
	*p.at, err = parsePauses(v.String)
	return err
}

// TextValue writes items.
func (p itemsText) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: formatItems(*p.at), Valid: true}, nil
}

// ScanText reads them.
func (p itemsText) ScanText(v pgtype.Text) (err error) {
	*p.at, err = parseItems(v.String)
	return err
}

// asksArray is a place for one side of the asks, which are stored as two arrays.
type asksArray[T any] struct {
	asks *[]service.Ask
	side func(*service.Ask) *T
}

func askDays(l *service.Listing) any {
	return asksArray[pricing.Date]{&l.Asks, func(a *service.Ask) *pricing.Date { return &a.On }}
}

func askAmounts(l *service.Listing) any {
	return asksArray[service.Money]{&l.Asks, func(a *service.Ask) *service.Money { return &a.Amount }}
}

// Dimensions is one side of the asks as an argument, with Index and IndexType.
func (a asksArray[T]) Dimensions() []pgtype.ArrayDimension {
	if len(*a.asks) == 0 {
		return []pgtype.ArrayDimension{} // not NULL
	}
	return []pgtype.ArrayDimension{{Length: int32(len(*a.asks)), LowerBound: 1}}
}

// Index is one of them.
func (a asksArray[T]) Index(i int) any { return *a.side(&(*a.asks)[i]) }

// IndexType is that of each.
func (a asksArray[T]) IndexType() any { return *new(T) }

// SetDimensions makes room, once for both sides.
func (a asksArray[T]) SetDimensions(d []pgtype.ArrayDimension) error {
	n := 0
	if len(d) > 0 {
		n = int(d[0].Length)
	}
	if len(*a.asks) != n {
		*a.asks = make([]service.Ask, n)
	}
	return nil
}

// ScanIndex is the place of one of them.
func (a asksArray[T]) ScanIndex(i int) any { return a.side(&(*a.asks)[i]) }

// ScanIndexType is that of each.
func (a asksArray[T]) ScanIndexType() any { return new(T) }

// formatPauses writes a datemultirange: {[2026-03-05,2026-03-12),[2026-04-01,)}.
func formatPauses(pauses []pricing.Interval) string {
	ranges := make([]string, len(pauses))
	for i, p := range pauses {
		ranges[i] = "[" + p.From.String() + "," + p.To.String() + ")"
	}
	return "{" + strings.Join(ranges, ",") + "}"
}

func parsePauses(text string) ([]pricing.Interval, error) {
	var pauses []pricing.Interval
	for part := range strings.SplitSeq(strings.Trim(text, "{}"), "),") {
		part = strings.Trim(part, "[)")
		if part == "" {
			continue
		}
		from, to, _ := strings.Cut(part, ",")
		var p pricing.Interval
		var err error
		if p.From, err = pricing.ParseDate(from); err != nil {
			return nil, fmt.Errorf("pauses %s: %w", text, err)
		}
		if to != "" {
			if p.To, err = pricing.ParseDate(to); err != nil {
				return nil, fmt.Errorf("pauses %s: %w", text, err)
			}
		}
		pauses = append(pauses, p)
	}
	return pauses, nil
}

// formatItems writes items as in a row: dining_table:1;dining_chair:6.
func formatItems(items []furniture.Item) string {
	parts := make([]string, len(items))
	for i, item := range items {
		parts[i] = item.Category + ":" + strconv.Itoa(item.Count)
	}
	return strings.Join(parts, ";")
}

func parseItems(text string) ([]furniture.Item, error) {
	var items []furniture.Item
	for part := range strings.SplitSeq(text, ";") {
		if part == "" {
			continue
		}
		category, count, _ := strings.Cut(part, ":")
		n, err := strconv.Atoi(count)
		if err != nil {
			return nil, fmt.Errorf("items %q: %w", text, err)
		}
		items = append(items, furniture.Item{Category: category, Count: n})
	}
	return items, nil
}
