package board

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/members"
)

// invitationPage redeems an invitation.
type invitationPage struct {
	Invitation string // as it came
	Reason     string // why it was refused
	Key        string // the new key: this once
	Member     string
	Days       int // that the invitation lasts
}

// GetInvitation shows a button: a program that looks at links before a person
// does redeems nothing.
//
//	@Summary	The board: an invitation
//	@Tags		board
//	@Param		invitation	query	string	true	"the invitation"
//	@Produce	html
//	@Success	200
//	@Router		/board/invitation [get]
func (s *Board) GetInvitation(c *gin.Context, _ *service.Actor) error {
	c.Header("Cache-Control", "no-store")
	return s.renderInvitation(c, http.StatusOK, invitationPage{Invitation: strings.TrimSpace(c.Query("invitation"))})
}

// PostInvitation redeems an invitation, shows the key once, and opens a session
// with it.
//
//	@Summary	The board: redeem an invitation
//	@Tags		board
//	@Accept		x-www-form-urlencoded
//	@Param		invitation	formData	string	true	"the invitation"
//	@Produce	html
//	@Success	200	"the new key, shown once; signed in"
//	@Failure	401	"the invitation is not valid"
//	@Router		/board/invitation [post]
func (s *Board) PostInvitation(c *gin.Context, _ *service.Actor) error {
	c.Header("Cache-Control", "no-store")
	if err := s.CountFailure(c, nil); err != nil { // each may make a key
		return err
	}
	invitation := strings.TrimSpace(c.PostForm("invitation"))
	key, secret, err := s.app.Members.Redeem(c.Request.Context(), invitation)
	if err != nil {
		if !errors.Is(err, service.ErrUnauthenticated) && !errors.Is(err, service.ErrConflict) {
			return err
		}
		p := web.ProblemOf(err)
		if p.Status == http.StatusUnauthorized {
			c.Header("WWW-Authenticate", `Bearer realm="askwright"`)
		}
		return s.renderInvitation(c, p.Status, invitationPage{Invitation: invitation, Reason: web.Scrub(p.Detail)})
	}
	session, err := s.app.Members.OpenFirstSession(c.Request.Context(), key, secret)
	if err != nil {
		return err
	}
	setSession(c, session, members.SessionDays*24*time.Hour)
	return s.renderInvitation(c, http.StatusOK, invitationPage{Key: secret, Member: key.Member})
}

func (s *Board) renderInvitation(c *gin.Context, status int, p invitationPage) error {
	p.Days = members.InvitationDays
	return s.render(c, status, "invitation", boardFrame{Title: "Invitation", Page: p})
}
