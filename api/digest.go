package api

import (
	"bytes"
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// getDigest tells what to know in the morning, for a mail or a chat.
//
//	@Summary	The morning's digest
//	@Description	What is stale and what to do about it, what sold lately, what is paused for long, whether the whole group is quiet, and how the advice did. Only figures of the other answers.
//	@Tags		advice
//	@Param		query	query	wire.DigestQuery	false	"filters"
//	@Produce	json,text/plain,text/html,application/problem+json
//	@Success	200		{object}	wire.Digest
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/digest [get]
//	@Router		/v1/digest.txt [get]
//	@Router		/v1/digest.html [get]
func (s *Server) getDigest(c *gin.Context, a *service.Actor) error {
	form, err := wire.DigestForm(c)
	if err != nil {
		return err
	}
	var in wire.DigestQuery
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	member, err := s.MemberNamed(web.Request{Context: c, Actor: a}, in.Member)
	if err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	found, err := s.app.Advice.Digest(c.Request.Context(), a, member)
	if err != nil {
		return err
	}
	digest := wire.ViewerOf(a).Digest(found)
	var body bytes.Buffer
	switch form {
	case wire.FormText:
		c.Header("Content-Type", "text/plain; charset=utf-8")
		err = wire.DigestText.Execute(&body, digest)
	case wire.FormHTML:
		c.Header("Content-Type", "text/html; charset=utf-8")
		c.Header("Content-Security-Policy", wire.DigestPolicy)
		err = wire.DigestHTML.Execute(&body, digest)
	default:
		return web.Answer(c, http.StatusOK, digest)
	}
	if err != nil {
		return err
	}
	c.Status(http.StatusOK)
	_, err = body.WriteTo(c.Writer)
	return err
}
