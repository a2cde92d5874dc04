package board

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/recording"
)

// The page for the curb: what to pay for a find at most, and the finds that are
// kept.
var (
	findFields = []string{"category", "width", "material", "condition", "planned_finish", "seller_ask"}
	findMore   = []string{"planned_color", "planned_condition", "depth", "height", "wood", "set_size", "drawers", "doors", "flaws", "smell", "own_price", "hours", "materials", "transport"}
)

// findsPage is a find with its limits, and the list of those kept.
type findsPage struct {
	Fields, More []formField
	Wrong        []string // what belongs to no field
	Limit        *wire.PurchaseLimit
	Name         string  // for keeping it; empty: the key cannot write
	Kept         string  // ref of what was just kept
	Finds        []find  // the best first
	Last         []asked // about lately, on this device
	Token        string
	Unit         string
	Currency     string
}

// MoreFilled reports whether one of the fields that are folded away has a value.
func (p *findsPage) MoreFilled() bool { return anyFilled(p.More) }

// Told are the fields that have a value, to send them again.
func (p *findsPage) Told() (told []formField) {
	for _, f := range slices.Concat(p.Fields, p.More) {
		if f.Value != "" {
			told = append(told, f)
		}
	}
	return told
}

// find is a find that was kept, with its limits of today.
type find struct {
	Row   *service.Listing
	Limit wire.PurchaseLimit
}

// Asked is what they ask for it; nil: nobody told.
func (f find) Asked() *web.Number {
	if f.Limit.AtSellerAsk == nil {
		return nil
	}
	return &f.Limit.AtSellerAsk.Price
}

const findsMost = 100 // of the kept ones that are shown

// GetBoardFinds answers what to pay for a find at most, and lists the finds that
// the member keeps.
//
//	@Summary	The board: what to pay for a find
//	@Tags		board
//	@Param		category		query	string	false	"with the other columns of a find, named as for purchase limits"
//	@Param		planned_finish	query	string	false	"the look that it is to be given"
//	@Param		seller_ask		query	string	false	"what they ask for it"
//	@Param		kept			query	string	false	"ref of the find just kept"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/finds [get]
func (s *Board) GetBoardFinds(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	sent := url.Values{}
	for _, name := range slices.Concat(findFields, findMore) {
		sent.Set(name, p.Text(name))
	}
	kept := p.Text("kept")
	if err := p.Done(); err != nil {
		return err
	}
	page, status, err := s.findsPage(c.Request.Context(), a, sent)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(page.Finds, func(f find) bool { return f.Row.Ref == kept }) {
		page.Kept = kept // not just any text of an address
	}
	page.Last = s.lastFinds(c.Request.Context(), c, a)
	if page.Limit != nil {
		remember(c, filled(slices.Concat(findFields, findMore), "", sent))
	} else if len(page.Last) > 0 && status == http.StatusOK {
		page.again(page.Last[0].Cells)
	}
	return s.render(c, status, "finds", boardFrame{Title: "Finds", At: "finds", Viewer: a, Page: page})
}

// again fills in what the last find had that the next one mostly has, too.
func (p *findsPage) again(last service.Cells) {
	given := map[string]string{}
	for _, name := range []string{"material", "condition", "planned_finish"} {
		given[name] = last[name]
	}
	fill(p.Fields, given)
}

func (s *Board) findsPage(ctx context.Context, a *service.Actor, sent url.Values) (*findsPage, int, error) {
	page := &findsPage{
		Token:  service.NewID().String(),
		Fields: formFields(findFields, "", sent), More: formFields(findMore, "", sent), Unit: lengthsIn(a.Group.Unit), Currency: a.Group.Currency.Code,
	}
	page.Fields[0].Required = true
	cells := filled(slices.Concat(findFields, findMore), "", sent)
	status := http.StatusOK
	if len(cells) > 0 {
		found, err := s.app.Advice.PurchaseLimits(ctx, a, []service.Cells{cells}, advice.PurchaseTarget{})
		var wrong *service.InvalidError
		switch {
		case errors.As(err, &wrong):
			status = http.StatusUnprocessableEntity
			page.Wrong = blame(wrong.Fields, func(column string) *formField { return fieldNamed(column, page.Fields, page.More) })
		case err != nil:
			return nil, 0, err
		default:
			limit := wire.ViewerOf(a).PurchaseLimit(found.Limits[0])
			page.Limit = &limit
			if a.Can(service.ScopeWrite) {
				page.Name = recording.NewFindName(a)
			}
		}
	}
	var err error
	page.Finds, err = s.keptFinds(ctx, a)
	return page, status, err
}

// keptFinds are the member's own finds that were neither bought nor passed
// over, the best first.
func (s *Board) keptFinds(ctx context.Context, a *service.Actor) ([]find, error) {
	rows, err := s.app.Recording.OpenFinds(ctx, a)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	subjects := make([]service.Cells, len(rows))
	for i, l := range rows {
		subjects[i] = service.Cells{"id": l.ID.String()}
	}
	found, err := s.app.Advice.PurchaseLimits(ctx, a, subjects, advice.PurchaseTarget{})
	if err != nil {
		return nil, err
	}
	finds := make([]find, len(rows))
	for i, l := range rows {
		finds[i] = find{Row: l, Limit: wire.ViewerOf(a).PurchaseLimit(found.Limits[i])}
	}
	slices.SortStableFunc(finds, func(x, y find) int { return rankOf(x) - rankOf(y) })
	return finds[:min(findsMost, len(finds))], nil
}

func rankOf(f find) int {
	if f.Limit.Rank == nil {
		return service.MaxSubjects + 1
	}
	return *f.Limit.Rank
}

// PostBoardFind keeps a find as it was described.
//
//	@Summary	The board: keep a find
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		ref			formData	string	true	"its name, a new one"
//	@Param		category	formData	string	true	"with the other columns of a row"
//	@Produce	html
//	@Success	303	"kept"
//	@Failure	409	"there is a row of that name"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/finds [post]
func (s *Board) PostBoardFind(c *gin.Context, a *service.Actor) error {
	ctx, sent := c.Request.Context(), c.Request.PostForm
	ref := strings.TrimSpace(sent.Get("ref"))
	find := filled(slices.Concat(findFields, findMore), "", sent)
	find["ref"] = ref
	err := s.once(c, a, func(ctx context.Context) (string, error) {
		_, err := s.app.Recording.KeepFind(ctx, a, find)
		return "/board/finds?kept=" + url.QueryEscape(ref) + "#finds", err
	})
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		page, _, err := s.findsPage(ctx, a, sent)
		if err != nil {
			return err
		}
		page.Wrong = append(page.Wrong, blame(wrong.Fields, func(column string) *formField { return fieldNamed(column, page.Fields, page.More) })...)
		return s.render(c, http.StatusUnprocessableEntity, "finds", boardFrame{Title: "Finds", At: "finds", Viewer: a, Page: page})
	}
	return err
}
