package board

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// listPage is the open listings.
type listPage struct {
	Open, Stale int
	Rows        []listRow // the most urgent first, where no other order was asked for
	More        int       // that are not shown
	Filter      listFilter
	Selects     []formField
	Scale       tape
	States      []string
	Query       string // of the address, to show all
}

// listRow is an open listing with its plan.
type listRow struct {
	wire.Review
	Places []string
	Wood   string
}

// listFilter is what the rows were searched for.
type listFilter struct {
	Search, Member, State, Category, Place, Sort string
}

// IsSet reports whether something was asked for.
func (f listFilter) IsSet() bool { return f != listFilter{} }

// chartsPage is the charts, each with its table.
type chartsPage struct {
	Bands  []ageBand
	States []string
	Speeds []wire.DaysToSell
	All    []wire.Review
	Record string // how past advice did; empty: not known yet
	Level  int    // of the ranges, in percent
}

// ageBand counts the open listings between two active days by state.
type ageBand struct {
	Name   string
	From   int
	States []stateCount
	Total  int
}

type stateCount struct {
	State string
	Count int
}

const boardRows = 100 // more are a click away

// GetBoardListings lists the open listings, to search, filter and sort.
//
//	@Summary	The board: open listings
//	@Tags		board
//	@Param		q			query	string	false	"words to look for"
//	@Param		member		query	string	false	"me, an id or a name"
//	@Param		state		query	string	false	"stale, slow, fresh or paused"
//	@Param		category	query	string	false	"what it is"
//	@Param		place		query	string	false	"where it is posted"
//	@Param		sort		query	string	false	"ask, days or ref; none: the most urgent first"
//	@Param		all			query	bool	false	"all rows instead of the first 100"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/listings [get]
func (s *Board) GetBoardListings(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	member, err := s.MemberFilter(c, a, p)
	if err != nil {
		return err
	}
	filter := listFilter{
		Search: strings.TrimSpace(p.Text("q")), Member: p.Text("member"), State: p.OneOf("state", append(slices.Clone(advice.ListingStates), "")...),
		Category: p.Text("category"), Place: p.Text("place"), Sort: p.OneOf("sort", "ask", "days", "ref", ""),
	}
	all := p.Bool("all")
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, boardVersion)) {
		return nil
	}
	found, err := s.app.Advice.Reviews(c.Request.Context(), a, advice.ReviewQuery{})
	if err != nil {
		return err
	}
	page := &listPage{Filter: filter, States: advice.ListingStates, Query: queryWith(c.Request.URL.Query(), "all", "true")}
	page.fill(wire.ViewerOf(a), found, member, all)
	return s.render(c, http.StatusOK, "listings", boardFrame{Title: "Listings", At: "listings", Viewer: a, Page: page})
}

func queryWith(q url.Values, name, value string) string {
	q.Set(name, value)
	return q.Encode()
}

// fill takes in the rows that the filter lets through, and what there is to
// filter by.
func (p *listPage) fill(v wire.Viewer, found []advice.Review, member uuid.UUID, all bool) {
	choices := map[string]map[string]bool{"member": {}, "category": {}, "place": {}}
	for _, r := range found {
		row := listRow{Review: v.Review(r), Places: placesOf(r.Row), Wood: r.Row.Wood}
		choices["member"][row.Member], choices["category"][row.Category] = true, true
		for _, place := range row.Places {
			choices["place"][place] = true
		}
		if (member == uuid.Nil || member == r.Row.MemberID) && p.Filter.takes(&row) {
			p.Rows = append(p.Rows, row)
			if row.State == advice.ListingStates[0] {
				p.Stale++
			}
		}
	}
	p.Open = len(p.Rows)
	p.sort()
	p.Scale = tapeFor(p.Rows)
	if !all {
		p.Rows = p.Rows[:min(boardRows, len(p.Rows))]
	}
	p.More = p.Open - len(p.Rows)
	for _, f := range []struct{ name, label, value string }{
		{"member", "Whose", p.Filter.Member}, {"category", "What", p.Filter.Category}, {"place", "Posted at", p.Filter.Place},
	} {
		words := slices.Sorted(maps.Keys(choices[f.name]))
		if f.name == "member" {
			words = slices.Insert(words, 0, "me")
		}
		if f.value != "" && !slices.Contains(words, f.value) {
			words = append(words, f.value)
		}
		p.Selects = append(p.Selects, formField{Name: f.name, Label: f.label, Value: f.value, Words: words})
	}
	p.Selects = append(p.Selects, formField{Name: "state", Label: "State", Value: p.Filter.State, Words: advice.ListingStates},
		formField{Name: "sort", Label: "Sort by", Value: p.Filter.Sort, Words: []string{"ask", "days", "ref"}})
}

func placesOf(row *service.Listing) (places []string) {
	for place := range strings.SplitSeq(row.Venue, ";") {
		if place = service.VenueName(place); place != "" {
			places = append(places, place)
		}
	}
	return places
}

// takes reports whether a row is what was searched for: each word stands in one
// of its texts.
func (f listFilter) takes(r *listRow) bool {
	text := strings.ToLower(strings.Join([]string{r.Ref, r.Member, inWords(r.Category), inWords(r.Wood), r.State, strings.Join(r.Places, " ")}, " "))
	for word := range strings.FieldsSeq(strings.ToLower(f.Search)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return (f.State == "" || f.State == r.State) && (f.Category == "" || f.Category == r.Category) && (f.Place == "" || slices.Contains(r.Places, f.Place))
}

func (p *listPage) sort() {
	ask := func(r listRow) float64 {
		if r.Ask == nil {
			return 0
		}
		return asFloat(*r.Ask)
	}
	switch p.Filter.Sort {
	case "ask":
		slices.SortStableFunc(p.Rows, func(x, y listRow) int { return cmp.Compare(ask(y), ask(x)) })
	case "days":
		slices.SortStableFunc(p.Rows, func(x, y listRow) int { return y.ActiveDays - x.ActiveDays })
	case "ref":
		slices.SortStableFunc(p.Rows, func(x, y listRow) int { return cmp.Compare(x.Ref, y.Ref) })
	}
}

// GetBoardCharts shows how old the listings are, how they are priced and how fast
// such pieces sell.
//
//	@Summary	The board: charts
//	@Tags		board
//	@Param		member	query	string	false	"me, an id or a name"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/charts [get]
func (s *Board) GetBoardCharts(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	member, err := s.MemberFilter(c, a, p)
	if err != nil {
		return err
	}
	if err := p.Done(); err != nil {
		return err
	}
	ctx := c.Request.Context()
	record := s.app.Track.Line(ctx, a)
	if web.NotModified(c, web.HashTag(s.ListTag(c, a, boardVersion), record)) {
		return nil
	}
	found, err := s.app.Advice.Reviews(ctx, a, advice.ReviewQuery{Member: member})
	if err != nil {
		return err
	}
	speeds, err := s.app.Advice.DaysToSell(ctx, a)
	if err != nil {
		return err
	}
	page := &chartsPage{States: advice.ListingStates, Record: record, Level: int(100 * wire.SurvivalLevel)}
	v := wire.ViewerOf(a)
	for _, r := range found {
		page.All = append(page.All, v.Review(r))
	}
	page.Bands = ageBands(page.All)
	for _, speed := range speeds {
		page.Speeds = append(page.Speeds, wire.DaysToSellOf(speed))
	}
	return s.render(c, http.StatusOK, "charts", boardFrame{Title: "Charts", At: "charts", Viewer: a, Page: page})
}

// ageBands counts reviews by active days and state.
func ageBands(reviews []wire.Review) []ageBand {
	starts := []int{0}
	for _, last := range advice.AgeBands {
		starts = append(starts, last+1)
	}
	bands := make([]ageBand, len(starts))
	for i, from := range starts {
		bands[i] = ageBand{Name: fmt.Sprintf("%d and up", from), From: from}
		if i+1 < len(starts) {
			bands[i].Name = fmt.Sprintf("%d–%d", from, starts[i+1]-1)
		}
		for _, state := range advice.ListingStates {
			bands[i].States = append(bands[i].States, stateCount{State: state})
		}
	}
	for _, r := range reviews {
		i, found := slices.BinarySearch(starts, r.ActiveDays)
		if !found {
			i--
		}
		bands[i].Total++
		bands[i].States[slices.Index(advice.ListingStates, r.State)].Count++
	}
	return bands
}

// Charted are all kinds together and the five with most sales.
func (p *chartsPage) Charted() []wire.DaysToSell {
	if len(p.Speeds) < 2 {
		return p.Speeds
	}
	kinds := slices.Clone(p.Speeds[1:])
	slices.SortStableFunc(kinds, func(x, y wire.DaysToSell) int { return y.Sold - x.Sold })
	const most = 5
	return append([]wire.DaysToSell{p.Speeds[0]}, kinds[:min(most, len(kinds))]...)
}

// aboveFair is how far the ask lies above the fair value, in points; "" where
// that is unknown.
func aboveFair(r wire.Review) web.Number {
	if r.Ask == nil || r.FairValue == nil {
		return ""
	}
	return web.Percentage(100 * (asFloat(*r.Ask)/asFloat(r.FairValue.Likely) - 1))
}
