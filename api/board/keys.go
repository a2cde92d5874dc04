package board

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/members"
)

// keysPage is one's own keys that are valid, and the form for another.
type keysPage struct {
	Keys   []members.Key
	Fields []formField
	Wrong  []string
	Made   string // the new key, shown this once
	Wall   string // the address for a screen on the wall, of a feed key
	Token  string
}

// Uses are what a key is for, on the form.
const (
	useWall  = "a screen on the wall"
	useSheet = "a spreadsheet that reads"
	useWrite = "a spreadsheet that reads and writes"
)

var scopesOf = map[string]string{useWall: service.ScopeFeed, useSheet: service.ScopeRead, useWrite: service.ScopeWrite}

// Use says what a key is good for.
func (p *keysPage) Use(k members.Key) string {
	return map[string]string{
		service.ScopeFeed: "wall screens and feeds", service.ScopeRead: "reads", service.ScopeWrite: "reads and writes", service.ScopeAdmin: "everything, settings too",
	}[k.Scope]
}

func (s *Board) keysPage(c *gin.Context, a *service.Actor, sent url.Values) (*keysPage, error) {
	all, err := s.app.Members.Keys(c.Request.Context(), a)
	if err != nil {
		return nil, err
	}
	page := &keysPage{Token: service.NewID().String(), Fields: []formField{
		{Name: "use", Label: "For", Words: []string{useWall, useSheet, useWrite}, Required: true, Value: sent.Get("use")},
		{Name: "label", Label: "Name it", Value: sent.Get("label")},
	}}
	for _, k := range all {
		isValid := k.RevokedAt.IsZero() && (k.ExpiresAt.IsZero() || k.ExpiresAt.After(a.Now))
		if isValid && k.MemberID == a.MemberID {
			page.Keys = append(page.Keys, k)
		}
	}
	return page, nil
}

// GetBoardKeys lists one's own keys.
//
//	@Summary	The board: keys
//	@Tags		board
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Router		/board/keys [get]
func (s *Board) GetBoardKeys(c *gin.Context, a *service.Actor) error {
	page, err := s.keysPage(c, a, url.Values{})
	if err != nil {
		return err
	}
	return s.renderKeys(c, a, http.StatusOK, page)
}

func (s *Board) renderKeys(c *gin.Context, a *service.Actor, status int, page *keysPage) error {
	return s.render(c, status, "keys", boardFrame{Title: "Keys", At: "settings", Viewer: a, Page: page})
}

// PostBoardKey makes a key, which is shown this once, or ends one.
//
//	@Summary	The board: make or end a key
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		use		formData	string	false	"what it is for"
//	@Param		label	formData	string	false	"its name"
//	@Param		end		formData	string	false	"id of a key that ends"
//	@Produce	html
//	@Success	200	"the new key"
//	@Success	303	"it has ended"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/keys [post]
func (s *Board) PostBoardKey(c *gin.Context, a *service.Actor) error {
	sent, ctx := c.Request.PostForm, c.Request.Context()
	if end := sent.Get("end"); end != "" {
		id, err := web.ParseID(end)
		if err != nil {
			return web.Refuse(web.Malformed, "the form names no key")
		}
		if err := s.app.Members.RevokeKey(ctx, a, id); err != nil {
			return err
		}
		c.Redirect(http.StatusSeeOther, "/board/keys")
		return nil
	}
	_, secret, err := s.app.Members.CreateKey(ctx, a, members.NewKey{Scope: scopesOf[sent.Get("use")], Label: strings.TrimSpace(sent.Get("label"))})
	page, pageErr := s.keysPage(c, a, sent)
	if pageErr != nil {
		return pageErr
	}
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		page.Wrong = blame(wrong.Fields, func(column string) *formField {
			if column == "scope" {
				column = "use"
			}
			return fieldNamed(column, page.Fields)
		})
		return s.renderKeys(c, a, http.StatusUnprocessableEntity, page)
	}
	if err != nil {
		return err
	}
	page.Made = secret
	if sent.Get("use") == useWall {
		page.Wall = originOf(c) + "/board/wall?key=" + secret
	}
	c.Header("Cache-Control", "no-store")
	return s.renderKeys(c, a, http.StatusOK, page)
}

// originOf is the address of this server as the browser has it.
func originOf(c *gin.Context) string {
	if origin := c.GetHeader("Origin"); strings.HasPrefix(origin, "http") {
		return origin
	}
	return "http://" + c.Request.Host
}

// DayOf is the day of an instant on the group's clock.
func (p *keysPage) DayOf(a *service.Actor, at time.Time) pricing.Date {
	if at.IsZero() {
		return 0
	}
	return pricing.DateOf(at.In(a.Group.Location()))
}
