package board

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/profit"
)

// listPage is the board itself.
type listPage struct {
	Open, Stale int
	Top         []wire.Review // the three that gain most
	Rows        []wire.Review // the most urgent first
	More        int           // that are not shown
	Mine        bool
	Tied        *wire.StockItem // what one's own unsold pieces have cost; nil: these are not one's own
	Scale       tape
	Quiet       *web.Number // messages of the whole group against usual, where it is quiet
	Bands       []ageBand
	States      []string
	Speeds      []wire.DaysToSell
	All         []wire.Review
	Record      string // how past advice did; empty: not known yet
	Currency    string
	Level       int // of the ranges, in percent
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

const (
	topRows    = 3
	boardRows  = 100 // more are a click away
	refreshAge = 300 // seconds until a wall screen looks again
)

// GetBoard shows the open listings and what to do about them. A feed key in the
// address opens it for a wall screen, which loads it again every five minutes;
// refresh=off stops that.
//
//	@Summary	The board
//	@Tags		board
//	@Param		key		query	string	false	"a feed key, for a wall screen"
//	@Param		refresh	query	string	false	"off: a wall screen stands still"	enums(off)
//	@Param		member	query	string	false	"me, an id or a name"
//	@Param		all		query	bool	false	"all rows instead of the first 100"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board [get]
func (s *Board) GetBoard(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	stands, all := p.OneOf("refresh", "off") == "off", p.Bool("all")
	member, err := s.MemberFilter(c, a, p)
	if err != nil {
		return err
	}
	if err := p.Done(); err != nil {
		return err
	}
	record := s.app.Track.Line(c.Request.Context(), a)
	if web.NotModified(c, web.HashTag(s.ListTag(c, a, boardVersion), record)) {
		return nil
	}
	page, err := s.listPage(c.Request.Context(), a, member, all)
	if err != nil {
		return err
	}
	page.Record = record
	if page.Mine && a.Can(service.ScopeRead) { // a feed key never sees a cost
		profit, err := s.app.Profit.Report(c.Request.Context(), a, profit.Query{})
		if err != nil {
			return err
		}
		page.Tied = new(wire.ViewerOf(a).Stock(profit.StockTotal))
	}
	f := boardFrame{Title: a.Group.Name, At: "board", Viewer: a, Page: page}
	if a.Scope == service.ScopeFeed && !stands {
		f.Refresh = refreshAge
	}
	return s.render(c, http.StatusOK, "board", f)
}

func (s *Board) listPage(ctx context.Context, a *service.Actor, member uuid.UUID, all bool) (*listPage, error) {
	found, err := s.app.Advice.Reviews(ctx, a, advice.ReviewQuery{Member: member})
	if err != nil {
		return nil, err
	}
	speeds, err := s.app.Advice.DaysToSell(ctx, a)
	if err != nil {
		return nil, err
	}
	v := wire.ViewerOf(a)
	page := &listPage{Open: len(found), Mine: member == a.MemberID, States: advice.ListingStates, Currency: a.Group.Currency.Code, Level: int(100 * wire.SurvivalLevel)}
	for _, r := range found {
		page.All = append(page.All, v.Review(r))
		if r.State == advice.ListingStates[0] {
			page.Stale++
		}
		if pricing.IsQuiet(r.GroupPulse) {
			page.Quiet = wire.Pulse(r.GroupPulse)
		}
	}
	page.Top = page.All[:min(topRows, page.Stale)]
	page.Rows = page.All
	if !all {
		page.Rows = page.All[:min(boardRows, len(page.All))]
	}
	page.More = len(page.All) - len(page.Rows)
	page.Scale = tapeFor(page.Rows)
	page.Bands = ageBands(page.All)
	for _, speed := range speeds {
		page.Speeds = append(page.Speeds, wire.DaysToSellOf(speed))
	}
	return page, nil
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
func (p *listPage) Charted() []wire.DaysToSell {
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
