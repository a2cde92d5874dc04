package board

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// wallPage is for a screen on the wall: it fits without scrolling, and turns.
type wallPage struct {
	Open, Stale int
	Rows        []wire.Review // the most urgent first
	Counts      []stateCount
	Page, Pages int
	At          string      // when it was made, on the group's clock
	Quiet       *web.Number // messages of the whole group against usual, where it is quiet
}

const (
	wallRows   = 8   // on a page
	wallPages  = 5   // that turn
	turnAge    = 30  // seconds that a page stands
	refreshAge = 300 // seconds until a single page looks again
)

// GetBoardWall shows what is most urgent to whoever passes: no links, no forms.
// It loads itself again, the next page when there are several.
//
//	@Summary	The board: for a screen on the wall
//	@Tags		board
//	@Param		key		query	string	false	"a feed key"
//	@Param		page	query	int		false	"which page"
//	@Param		member	query	string	false	"me, an id or a name"
//	@Param		refresh	query	string	false	"off: it stands still"	enums(off)
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/wall [get]
func (s *Board) GetBoardWall(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	stands, at := p.OneOf("refresh", "off") == "off", p.Count("page", 1, wallPages)
	member, err := s.MemberFilter(c, a, p)
	if err != nil {
		return err
	}
	if err := p.Done(); err != nil {
		return err
	}
	found, err := s.app.Advice.Reviews(c.Request.Context(), a, advice.ReviewQuery{Member: member})
	if err != nil {
		return err
	}
	page := wallOf(a, found, at)
	if !stands {
		turn(c, page)
	}
	return s.render(c, http.StatusOK, "wall", boardFrame{Title: a.Group.Name, Viewer: a, IsFeed: true, Page: page})
}

func wallOf(a *service.Actor, found []advice.Review, at int) *wallPage {
	page := &wallPage{Open: len(found), At: a.Now.In(a.Group.Location()).Format("3:04 PM")}
	for _, state := range advice.ListingStates {
		page.Counts = append(page.Counts, stateCount{State: state})
	}
	v := wire.ViewerOf(a)
	var urgent []wire.Review
	for _, r := range found {
		page.Counts[slices.Index(advice.ListingStates, r.State)].Count++
		if r.State == pricing.StateStale {
			page.Stale++
		}
		if r.State != pricing.StateFresh {
			urgent = append(urgent, v.Review(r))
		}
		if r.Quiet {
			page.Quiet = wire.Pulse(r.GroupPulse)
		}
	}
	page.Pages = min(wallPages, max(1, (len(urgent)+wallRows-1)/wallRows))
	page.Page = min(at, page.Pages)
	from := (page.Page - 1) * wallRows
	page.Rows = urgent[from:min(from+wallRows, len(urgent))]
	return page
}

// turn has the browser load the next page after a while.
func turn(c *gin.Context, page *wallPage) {
	if page.Pages == 1 {
		c.Header("Refresh", strconv.Itoa(refreshAge))
		return
	}
	q := c.Request.URL.Query()
	q.Set("page", strconv.Itoa(page.Page%page.Pages+1))
	c.Header("Refresh", fmt.Sprintf("%d; url=%s", turnAge, (&url.URL{Path: c.Request.URL.Path, RawQuery: q.Encode()}).String()))
}
