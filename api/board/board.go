// Package board answers the pages of the board: made here, one stylesheet, no
// script, filled with the same structs that the API answers with.
package board

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/members"
)

// Board answers the pages.
type Board struct {
	*web.Kit
	app   *app.App
	build string
}

// New returns a Board; build is shown at the foot of its pages.
func New(kit *web.Kit, a *app.App, build string) *Board {
	return &Board{Kit: kit, app: a, build: build}
}

// The board is for people who would rather look than read: pages made here,
// one stylesheet, no script. What they show is what the API answers: each page
// is filled with the same structs.

//go:embed *.html *.css
var boardFiles embed.FS

// boardStyle is the stylesheet, charts included; its address changes with it.
var (
	boardStyle   = mustRead("colors.css") + mustRead("chart.css") + mustRead("style.css")
	boardVersion = strings.Trim(web.HashTag(boardStyle), `"`)
)

func mustRead(name string) string {
	text, err := boardFiles.ReadFile(name)
	if err != nil {
		panic(err) // it is embedded
	}
	return string(text)
}

var pageNames = []string{"signin", "invitation", "today", "listings", "charts", "wall", "listing", "confirm", "whatif", "finds", "imports", "import", "problem", "pieces", "piece", "newpiece", "settings", "keys"}

// pages are the templates in each currency that was used: amounts stand with
// their sign.
var pages sync.Map

func pagesIn(c service.Currency) map[string]*template.Template {
	if made, ok := pages.Load(c.Code); ok {
		return made.(map[string]*template.Template)
	}
	base := template.Must(template.New("frame.html").Funcs(funcsIn(c)).ParseFS(boardFiles, "frame.html", "cautions.html", "advice.html", "fields.html", "actions.html"))
	made := make(map[string]*template.Template)
	for _, name := range pageNames {
		made[name] = template.Must(template.Must(base.Clone()).ParseFS(boardFiles, name+".html"))
	}
	pages.Store(c.Code, made)
	return made
}

// boardFrame is what all pages show around their own part.
type boardFrame struct {
	Title  string
	Style  string // address of the stylesheet
	At     string // which entry of the menu this is
	Build  string
	Viewer *service.Actor // nil: not signed in
	IsFeed bool           // a wall screen: no links, no forms
	Page   any
}

const sessionCookie = "askwright_session"

// render writes a page. It is made in memory first, so that a failure can still
// become a page about it.
func (s *Board) render(c *gin.Context, status int, name string, f boardFrame) error {
	f.Style, f.Build = "/board/style.css?v="+boardVersion, s.build
	if f.Viewer != nil {
		f.IsFeed = f.IsFeed || !f.Viewer.Can(service.ScopeRead)
	}
	var currency service.Currency
	if f.Viewer != nil {
		currency = f.Viewer.Group.Currency
	}
	var out bytes.Buffer
	if err := pagesIn(currency)[name].ExecuteTemplate(&out, "frame.html", f); err != nil {
		return fmt.Errorf("write the page %s: %w", name, err)
	}
	c.Header("Content-Type", "text/html; charset=utf-8")
	c.Status(status)
	_, err := c.Writer.Write(out.Bytes())
	return err
}

// Page guards a page of the board and turns failures into pages. A feed key in
// the address opens those of the scope feed, a session all that its scope
// allows. Cross-site requests that write are refused.
func (s *Board) Page(scope string, h web.Handler) web.Handler {
	return func(c *gin.Context, _ *service.Actor) error {
		boardHeaders(c)
		err := http.NewCrossOriginProtection().Check(c.Request)
		if err != nil {
			return s.renderProblem(c, nil, web.Refuse(web.Forbidden, "this form was sent from another site; open the board itself"))
		}
		actor, err := s.boardActor(c, scope)
		if err == nil {
			err = s.take(c, actor, h)
		}
		switch {
		case err == nil:
			return nil
		case errors.Is(err, service.ErrUnauthenticated) && c.Request.Method != http.MethodPost && !c.Request.URL.Query().Has("key"):
			setSession(c, "", -time.Second)
			to := "/board/sign-in"
			if at := c.Request.URL.RequestURI(); at != "/board" {
				to += "?to=" + url.QueryEscape(at)
			}
			c.Redirect(http.StatusSeeOther, to)
			return nil
		}
		return s.renderProblem(c, actor, err)
	}
}

// boardWeight is what a page weighs that reviews all open listings.
const boardWeight = 5

var weightyPages = []string{"/board", "/board/listings", "/board/charts", "/board/wall"}

// take shows a page; one that weighs more when it has its turn.
func (s *Board) take(c *gin.Context, a *service.Actor, h web.Handler) error {
	if !slices.Contains(weightyPages, c.FullPath()) {
		return h(c, a)
	}
	end, err := s.Turn(c, a)
	if err != nil {
		return err
	}
	defer end()
	s.Owe(a, boardWeight-1)
	return h(c, a)
}

// boardHeaders are those of all pages.
func boardHeaders(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	h.Set("Vary", "Cookie, Accept-Encoding")
	if !c.Request.URL.Query().Has("key") {
		// Forms name their origin to this server, and nobody else learns it.
		h.Set("Referrer-Policy", "same-origin")
	}
}

func (s *Board) boardActor(c *gin.Context, scope string) (*service.Actor, error) {
	if scope == web.NoKey {
		return nil, nil
	}
	text, err := web.KeyOf(c.Request, scope == service.ScopeFeed)
	if err != nil {
		return nil, err
	}
	if !c.Request.URL.Query().Has("key") {
		text, _ = c.Cookie(sessionCookie)
	}
	if text == "" {
		return nil, &service.Error{Kind: service.ErrUnauthenticated, Detail: "sign in with a key"}
	}
	a, err := s.app.Members.Authenticate(c.Request.Context(), text)
	if err == nil && a.Session == c.Request.URL.Query().Has("key") {
		err = service.Refuse(service.ErrUnauthenticated, "sign in with the key: what the browser sent is no session")
	}
	if errors.Is(err, service.ErrUnauthenticated) {
		return nil, s.CountFailure(c, err)
	}
	if err != nil {
		return nil, err
	}
	note := web.NoteOf(c)
	note.Group, note.Key = a.Group.ID.String(), a.KeyID.String()
	if !a.Can(scope) {
		return a, web.Refuse(web.Forbidden, "this needs a key with the scope %s; you signed in with one that has %s", scope, a.Scope)
	}
	if c.Request.Method == http.MethodHead {
		return a, nil
	}
	return a, s.Limit(c, a, 1)
}

// problemPage is what went wrong.
type problemPage struct {
	web.Problem
	Back string
}

func (s *Board) renderProblem(c *gin.Context, a *service.Actor, err error) error {
	if c.Writer.Written() {
		return err
	}
	note := web.NoteOf(c)
	note.Cause = err
	p := web.ProblemOf(err)
	p.Instance, p.Detail = note.ID, web.Scrub(p.Detail)
	if p.Status == http.StatusServiceUnavailable {
		c.Header("Retry-After", web.RetryAfterSeconds)
	}
	c.Header("Cache-Control", "no-store")
	c.Writer.Header().Del("ETag")
	return s.render(c, p.Status, "problem", boardFrame{Title: p.Title, Viewer: a, Page: problemPage{Problem: p, Back: "/board"}})
}

// setSession gives or, with a negative time, takes the cookie. It is bound
// to TLS where the browser came over it; Origin says so also behind a proxy,
// and a client that lies in it weakens its own cookie only.
func setSession(c *gin.Context, text string, lasts time.Duration) {
	http.SetCookie(c.Writer, &http.Cookie{ //nolint:gosec // Secure where the browser came over TLS
		Name: sessionCookie, Value: text, Path: "/board", MaxAge: int(lasts.Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode,
		Secure: c.Request.TLS != nil || strings.HasPrefix(c.GetHeader("Origin"), "https://"),
	})
}

// signInPage asks for a key.
type signInPage struct {
	To     string // where to go then
	Reason string // why the last one was refused
	Days   int
}

// boardPath is an address on the board, or the board itself: nobody is sent
// elsewhere.
func boardPath(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.IsAbs() || u.Host != "" || (u.Path != "/board" && !strings.HasPrefix(u.Path, "/board/")) || strings.Contains(to, "\\") {
		return "/board"
	}
	return u.RequestURI()
}

// GetSignIn shows the form for a key.
//
//	@Summary	The board: sign in
//	@Tags		board
//	@Param		to	query	string	false	"where to go then"
//	@Produce	html
//	@Success	200
//	@Router		/board/sign-in [get]
func (s *Board) GetSignIn(c *gin.Context, _ *service.Actor) error {
	return s.render(c, http.StatusOK, "signin", boardFrame{Title: "Sign in", Page: signInPage{To: boardPath(c.Query("to")), Days: members.SessionDays}})
}

// PostSignIn opens a session with a key.
//
//	@Summary	The board: open a session
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		key	formData	string	true	"a key that can read"
//	@Param		to	formData	string	false	"where to go then"
//	@Produce	html
//	@Success	303	"signed in"
//	@Failure	401	"the key is not valid"
//	@Router		/board/sign-in [post]
func (s *Board) PostSignIn(c *gin.Context, _ *service.Actor) error {
	to := boardPath(c.PostForm("to"))
	text, err := s.openSession(c)
	if err == nil {
		setSession(c, text, members.SessionDays*24*time.Hour)
		c.Redirect(http.StatusSeeOther, to)
		return nil
	}
	if errors.Is(err, service.ErrUnauthenticated) {
		err = s.CountFailure(c, err)
	}
	p := web.ProblemOf(err)
	if p.Status != http.StatusUnauthorized && p.Status != http.StatusForbidden {
		return err
	}
	c.Header("WWW-Authenticate", `Bearer realm="askwright"`)
	return s.render(c, p.Status, "signin", boardFrame{Title: "Sign in", Page: signInPage{To: to, Reason: web.Scrub(p.Detail), Days: members.SessionDays}})
}

// signInWeight is what a sign-in weighs: it writes.
const signInWeight = 20

// openSession opens a session with the key of a form.
func (s *Board) openSession(c *gin.Context) (text string, err error) {
	a, err := s.app.Members.Authenticate(c.Request.Context(), strings.TrimSpace(c.PostForm("key")))
	if err != nil {
		return "", err
	}
	if err := s.Limit(c, a, signInWeight); err != nil {
		return "", err
	}
	return s.app.Members.OpenSession(c.Request.Context(), a)
}

// PostSignOut ends the session.
//
//	@Summary	The board: end the session
//	@Tags		board
//	@Produce	html
//	@Success	303	"signed out"
//	@Router		/board/sign-out [post]
func (s *Board) PostSignOut(c *gin.Context, a *service.Actor) error {
	if err := s.app.Members.SignOut(c.Request.Context(), a); err != nil {
		return err
	}
	setSession(c, "", -time.Second)
	c.Redirect(http.StatusSeeOther, "/board/sign-in")
	return nil
}

// GetBoardStyle answers with the stylesheet, which needs no key.
//
//	@Summary	The board: stylesheet
//	@Tags		board
//	@Param		v	query	string	false	"version"
//	@Produce	text/css
//	@Success	200
//	@Router		/board/style.css [get]
func (s *Board) GetBoardStyle(c *gin.Context, _ *service.Actor) error {
	c.Header("Cache-Control", "public, max-age=86400")
	if web.NotModified(c, `"`+boardVersion+`"`) {
		return nil
	}
	c.Data(http.StatusOK, "text/css; charset=utf-8", []byte(boardStyle))
	return nil
}

// boardIcon is a bar that has passed its mark.
const boardIcon = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16"><path d="M0 0H16V16H0Z" fill="#fff"/><path d="M1 6H9V10H1ZM9 3H15V13H9Z" fill="#15120d"/></svg>`

// GetBoardIcon answers with the sign of the pages.
//
//	@Summary	The board: icon
//	@Tags		board
//	@Produce	image/svg+xml
//	@Success	200
//	@Router		/board/icon.svg [get]
func (s *Board) GetBoardIcon(c *gin.Context, _ *service.Actor) error {
	c.Header("Cache-Control", "public, max-age=86400")
	c.Data(http.StatusOK, "image/svg+xml", []byte(boardIcon))
	return nil
}
