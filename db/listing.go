package db

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/service"
)

// listingRow is a row of listing with its names and the owner's columns.
type listingRow struct {
	ListingID      uuid.UUID
	PieceID        uuid.UUID
	MemberID       uuid.UUID
	Revision       int64
	ChangeNo       int64
	Ref            string
	Source         string
	LastSeenOn     *time.Time
	Stage          *string
	Category       string
	SetSize        *int
	Items          string
	Width          *float64
	Depth          *float64
	Height         *float64
	Unit           string
	Material       string
	Wood           string
	Style          string
	YearMade       *int
	Condition      *int
	Finish         string
	Color          string
	SecondFinish   string
	SecondColor    string
	Topcoat        string
	Sheen          string
	Hardware       string
	Drawers        *int
	Doors          *int
	Maker          string
	Flaws          string
	Smell          string
	Venue          string
	SoldVenue      string
	Area           string
	ListedOn       *time.Time
	AskOn          []time.Time
	AskAmount      []int64
	Pauses         string
	Views          *int
	Saves          *int
	Messages       *int
	Viewings       *int
	Outcome        *string
	EndedOn        *time.Time
	SalePrice      *int64
	Estimate       *int64
	EstimateCounts bool
	SellerAsk      *int64
	LetGo          *string
	LetGoOn        *time.Time
	LetGoNote      string
	PlannedFinish  string
	PlannedColor   string

	PieceRef       string
	Member         string
	BoughtOn       *time.Time
	BoughtFrom     *string
	ConditionFound *int
	Notes          *string
	Costs          []byte
}

// listingColumns are the stored columns in the order of listingRow.values.
var listingColumns = strings.Fields(`listing_id piece_id member_id revision change_no ref source last_seen_on stage
	category set_size items width depth height unit material wood style year_made condition finish color second_finish
	second_color topcoat sheen hardware drawers doors maker flaws smell venue sold_venue area listed_on ask_on
	ask_amount pauses views saves messages viewings outcome ended_on sale_price estimate estimate_counts
	seller_ask let_go let_go_on let_go_note planned_finish planned_color`)

func (r *listingRow) values() []any {
	return []any{r.ListingID, r.PieceID, r.MemberID, r.Revision, r.ChangeNo, r.Ref, r.Source, r.LastSeenOn, r.Stage,
		r.Category, r.SetSize, r.Items, r.Width, r.Depth, r.Height, r.Unit, r.Material, r.Wood, r.Style, r.YearMade, r.Condition, r.Finish, r.Color, r.SecondFinish,
		r.SecondColor, r.Topcoat, r.Sheen, r.Hardware, r.Drawers, r.Doors, r.Maker, r.Flaws, r.Smell, r.Venue, r.SoldVenue, r.Area, r.ListedOn, r.AskOn,
		r.AskAmount, r.Pauses, r.Views, r.Saves, r.Messages, r.Viewings, r.Outcome, r.EndedOn, r.SalePrice, r.Estimate, r.EstimateCounts,
		r.SellerAsk, r.LetGo, r.LetGoOn, r.LetGoNote, r.PlannedFinish, r.PlannedColor}
}

// ownerColumns are hidden from other members in the statement itself.
var ownerColumns = []string{"estimate", "estimate_counts"}

const me = "nullif(current_setting('app.member_id', true), '')::uuid"

// The statements are put together from the one list of columns.
var (
	insertListing  = "insert into listing (group_id, " + strings.Join(listingColumns, ", ") + ") values ($1, " + placeholders(2) + ")"
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
	return "select " + selected(true) + `, p.ref as piece_ref, m.name as member,
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
	return "select " + selected(false) + `, p.ref as piece_ref, m.name as member,
		null::date as bought_on, null::text as bought_from, null::smallint as condition_found, null::text as notes, null::jsonb as costs
		from ` + listings + ` l
		` + pieceOfEach + `
		join member m on m.group_id = l.group_id and m.member_id = l.member_id`
}

func selected(hideOwners bool) string {
	names := make([]string, len(listingColumns))
	for i, c := range listingColumns {
		names[i] = "l." + c
		switch {
		case c == "pauses":
			names[i] = "l.pauses::text as pauses"
		case hideOwners && c == ownerColumns[0]:
			names[i] = "case when l.member_id = " + me + " then l.estimate end as estimate"
		case hideOwners && c == ownerColumns[1]:
			names[i] = "l.member_id = " + me + " and l.estimate_counts as estimate_counts"
		}
	}
	return strings.Join(names, ", ")
}

func placeholders(from int) string {
	marks := make([]string, len(listingColumns))
	for i, c := range listingColumns {
		marks[i] = "$" + strconv.Itoa(from+i)
		if c == "pauses" {
			marks[i] += "::text::datemultirange"
		}
	}
	return strings.Join(marks, ", ")
}

// listingUpdate sets every column; the owner's only when the owner writes,
// since nobody else could read them.
func listingUpdate() string {
	marks := strings.Split(placeholders(3), ", ")
	var sets []string
	for i, c := range listingColumns {
		switch c {
		case "listing_id", "member_id":
			continue
		case ownerColumns[0], ownerColumns[1]:
			marks[i] = "case when member_id = $2 then " + marks[i] + " else " + c + " end"
		}
		sets = append(sets, c+" = "+marks[i])
	}
	return "update listing set " + strings.Join(sets, ", ") + " where group_id = $1 and listing_id = $3 and member_id = $5"
}

func rowOf(l *service.Listing) *listingRow {
	r := &listingRow{
		ListingID: l.ID, PieceID: l.PieceID, MemberID: l.MemberID, Revision: l.Revision, ChangeNo: l.ChangeNo, Ref: l.Ref,
		Source: l.Source, LastSeenOn: dateArg(l.LastSeenOn), Stage: textArg(l.Stage), Category: l.Category, SetSize: intArg(l.SetSize),
		Items: formatItems(l.Items), Width: numberArg(l.Width), Depth: numberArg(l.Depth), Height: numberArg(l.Height), Unit: l.Unit,
		Material: l.Material, Wood: l.Wood, Style: l.Style, YearMade: intArg(l.YearMade), Condition: intArg(l.Condition), Finish: l.Finish,
		Color: l.Color, SecondFinish: l.SecondFinish, SecondColor: l.SecondColor, Topcoat: l.Topcoat, Sheen: l.Sheen, Hardware: l.Hardware,
		Drawers: l.Drawers, Doors: l.Doors, Maker: l.Maker, Flaws: l.Flaws, Smell: l.Smell, Venue: l.Venue, SoldVenue: l.SoldVenue, Area: l.Area,
		ListedOn: dateArg(l.ListedOn), AskOn: []time.Time{}, AskAmount: []int64{}, Pauses: formatPauses(l.Pauses), Views: l.Views, Saves: l.Saves,
		Messages: l.Messages, Viewings: l.Viewings, Outcome: textArg(l.Outcome), EndedOn: dateArg(l.EndedOn), SalePrice: moneyArg(l.SalePrice),
		Estimate: moneyArg(l.Estimate), EstimateCounts: l.EstimateCounts,
		SellerAsk: moneyArg(l.SellerAsk), LetGo: textArg(l.LetGo), LetGoOn: dateArg(l.LetGoOn), LetGoNote: l.LetGoNote,
		PlannedFinish: l.PlannedFinish, PlannedColor: l.PlannedColor,
	}
	for _, a := range l.Asks {
		r.AskOn, r.AskAmount = append(r.AskOn, a.On.Time()), append(r.AskAmount, int64(a.Amount))
	}
	return r
}

func (r *listingRow) listing() (*service.Listing, error) {
	l := &service.Listing{
		ID: r.ListingID, PieceID: r.PieceID, MemberID: r.MemberID, Member: r.Member, Revision: r.Revision, ChangeNo: r.ChangeNo, Ref: r.Ref,
		PieceRef: r.PieceRef, Source: r.Source, LastSeenOn: dateOf(r.LastSeenOn), Stage: valueOf(r.Stage), Category: r.Category,
		SetSize: valueOf(r.SetSize), Width: valueOf(r.Width), Depth: valueOf(r.Depth), Height: valueOf(r.Height), Unit: r.Unit,
		Material: r.Material, Wood: r.Wood, Style: r.Style, YearMade: valueOf(r.YearMade), Condition: valueOf(r.Condition), Finish: r.Finish,
		Color: r.Color, SecondFinish: r.SecondFinish, SecondColor: r.SecondColor, Topcoat: r.Topcoat, Sheen: r.Sheen, Hardware: r.Hardware,
		Drawers: r.Drawers, Doors: r.Doors, Maker: r.Maker, Flaws: r.Flaws, Smell: r.Smell, Venue: r.Venue, SoldVenue: r.SoldVenue, Area: r.Area,
		ListedOn: dateOf(r.ListedOn), Views: r.Views, Saves: r.Saves, Messages: r.Messages, Viewings: r.Viewings, Outcome: valueOf(r.Outcome),
		EndedOn: dateOf(r.EndedOn), SalePrice: service.Money(valueOf(r.SalePrice)), Estimate: service.Money(valueOf(r.Estimate)),
		EstimateCounts: r.EstimateCounts, SellerAsk: service.Money(valueOf(r.SellerAsk)), LetGo: valueOf(r.LetGo), LetGoOn: dateOf(r.LetGoOn), LetGoNote: r.LetGoNote,
		PlannedFinish: r.PlannedFinish, PlannedColor: r.PlannedColor,
		Ledger: service.Ledger{BoughtOn: dateOf(r.BoughtOn), BoughtFrom: valueOf(r.BoughtFrom), ConditionFound: valueOf(r.ConditionFound), Notes: valueOf(r.Notes)},
	}
	for i := range r.AskOn {
		l.Asks = append(l.Asks, service.Ask{On: pricing.DateOf(r.AskOn[i]), Amount: service.Money(r.AskAmount[i])})
	}
	var err error
	if l.Items, err = parseItems(r.Items); err != nil {
		return nil, fmt.Errorf("listing %s: %w", r.ListingID, err)
	}
	if l.Pauses, err = parsePauses(r.Pauses); err != nil {
		return nil, fmt.Errorf("listing %s: %w", r.ListingID, err)
	}
	if len(r.Costs) > 0 {
		if err := json.Unmarshal(r.Costs, &l.Ledger.Costs); err != nil {
			return nil, fmt.Errorf("listing %s: costs: %w", r.ListingID, err)
		}
	}
	return l, nil
}

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

func valueOf[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

func textArg(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func numberArg(f float64) *float64 {
	if f == 0 {
		return nil
	}
	return &f
}

func moneyArg(m service.Money) *int64 {
	if m == 0 {
		return nil
	}
	n := int64(m)
	return &n
}
