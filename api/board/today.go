package board

import (
	"context"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/profit"
	"askwright/service/prose"
)

// todayPage is what to do today, one line and one button each.
type todayPage struct {
	Items  []todayItem
	Counts []stateCount // of one's own open listings
	Open   int
	Next   *nextStep       // the next one that is not due yet
	Quiet  *web.Number     // messages of the whole group against usual, where it is quiet
	Tied   *wire.StockItem // what one's own unsold pieces have cost
	Bench  []benchPiece    // on the bench, to log hours
}

// todayItem is one thing to do.
type todayItem struct {
	Row      *service.Listing
	Do, Why  string
	Button   string
	To       string
	Gain     *web.Number
	MayWrite bool
}

// nextStep is a step of a plan that comes later.
type nextStep struct {
	Ref string
	On  string
}

// GetBoard shows what to do today. With a feed key it is the wall screen.
//
//	@Summary	The board: today
//	@Tags		board
//	@Param		key		query	string	false	"a feed key, for a wall screen"
//	@Param		refresh	query	string	false	"off: a wall screen stands still"	enums(off)
//	@Param		page	query	int		false	"of a wall screen"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board [get]
func (s *Board) GetBoard(c *gin.Context, a *service.Actor) error {
	if a.Scope == service.ScopeFeed {
		return s.GetBoardWall(c, a)
	}
	if q := c.Request.URL.Query(); q.Has("member") || q.Has("all") { // where the list was before
		c.Redirect(http.StatusMovedPermanently, "/board/listings?"+q.Encode())
		return nil
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, boardVersion)) {
		return nil
	}
	page, err := s.today(c.Request.Context(), a)
	if err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "today", boardFrame{Title: "Today", At: "today", Viewer: a, Page: page})
}

func (s *Board) today(ctx context.Context, a *service.Actor) (*todayPage, error) {
	found, err := s.app.Advice.Reviews(ctx, a, advice.ReviewQuery{Member: a.MemberID})
	if err != nil {
		return nil, err
	}
	offers, err := s.app.Advice.Unanswered(ctx, a)
	if err != nil {
		return nil, err
	}
	bench, err := s.unlisted(ctx, a, service.StageBought, service.StageOnBench)
	if err != nil {
		return nil, err
	}
	stock, err := s.app.Profit.Report(ctx, a, profit.Query{})
	if err != nil {
		return nil, err
	}
	page := &todayPage{Open: len(found), Tied: new(wire.ViewerOf(a).Stock(stock.StockTotal))}
	for _, state := range advice.ListingStates {
		page.Counts = append(page.Counts, stateCount{State: state})
	}
	page.answer(a, found, offers)
	for _, r := range found {
		page.Counts[slices.Index(advice.ListingStates, r.State)].Count++
		if r.Quiet {
			page.Quiet = wire.Pulse(r.GroupPulse)
		}
		page.review(a, r)
		if on := r.NextStepOn; on > a.Today && (page.Next == nil || on.String() < page.Next.On) {
			page.Next = &nextStep{r.Row.Ref, on.String()}
		}
	}
	for _, p := range bench {
		if p.Step() == stageReady {
			page.add(p.Row, "List it", "Its planned hours are worked.", service.EventListed, "List it", "")
			continue
		}
		page.Bench = append(page.Bench, p)
	}
	for i := range page.Items {
		page.Items[i].MayWrite = a.Can(service.ScopeWrite)
	}
	return page, nil
}

func (p *todayPage) add(row *service.Listing, do, why, kind, button, query string) *todayItem {
	to := "/board/listings/" + row.ID.String()
	if kind != "" {
		to += "/confirm?kind=" + kind + query
	}
	p.Items = append(p.Items, todayItem{Row: row, Do: do, Why: why, Button: button, To: to})
	return &p.Items[len(p.Items)-1]
}

// answer takes in the offers that nothing was said to.
func (p *todayPage) answer(a *service.Actor, found []advice.Review, offers []service.Event) {
	for i := range slices.Backward(offers) {
		e := &offers[i]
		at := slices.IndexFunc(found, func(r advice.Review) bool { return r.Row.ID == e.ListingID })
		if at < 0 {
			continue
		}
		offer, err := service.OfferOf(a, found[at].Row, e)
		if err != nil {
			continue // its page tells what cannot be read
		}
		voice := prose.In(a.Group.Currency)
		p.add(found[at].Row, "Answer the offer of "+voice.Amount(offer.Amount.Major(a.Group.Currency)),
			"Offered "+prose.Day(offer.On, a.Today)+"; it asks "+voice.Amount(found[at].Ask.Major(a.Group.Currency))+".", "", "Answer", "")
	}
}

// review takes in what is due for an open listing.
func (p *todayPage) review(a *service.Actor, r advice.Review) {
	review := wire.ViewerOf(a).Review(r)
	switch {
	case r.Held != nil && r.Held.IsOver(a.Today-1):
		if r.Held.IsOver(a.Today) {
			p.add(r.Row, "Sold? If not, release it", r.Held.Sentence(a.Today), service.EventRelease, "Release", "")
			return
		}
		p.add(r.Row, "The buyer comes today", r.Held.Sentence(a.Today), service.EventSold, "Sold", "")
	case r.State == pricing.StateStale && r.Action == pricing.ActionCheck:
		p.add(r.Row, review.Todo(), prose.Causes[r.Reason]+".", "", "Look", "").Gain = &review.Gain
	case r.State == pricing.StateStale && len(review.Remedies) > 0:
		best := review.Best()
		kind, button, query := "", "Look", ""
		switch best.Action {
		case pricing.ActionReprice:
			kind, button, query = service.EventAsk, "Change ask", "&ask="+wire.Trimmed(0, best.Ask.Text())
		case pricing.ActionRefinish:
			kind, button = service.EventRefinish, "Refinish"
		case pricing.ActionWithdraw:
			kind, button = service.EventPulled, "Pull"
		}
		p.add(r.Row, best.Text, prose.Causes[r.Reason]+".", kind, button, query).Gain = &review.Gain
	}
}
