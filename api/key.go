package api

import (
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/members"
)

// listKeys answers with one's own keys, with an admin key everybody's.
//
//	@Summary	List keys
//	@Tags		group
//	@Success	200		{object}	wire.KeyPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [get]
func (s *Server) listKeys(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	keys, err := s.app.Members.Keys(c.Request.Context(), a)
	if err != nil {
		return err
	}
	out := wire.KeyPage{Items: make([]wire.Key, len(keys))}
	for i, k := range keys {
		out.Items[i] = wire.KeyResource(k)
	}
	return web.AnswerTagged(c, out)
}

// createKey makes a key.
//
//	@Summary	Make a key
//	@Tags		group
//	@Param		key		body		wire.NewKey	true	"scope, and what else is wanted"
//	@Success	201		{object}	wire.CreatedKey
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [post]
func (s *Server) createKey(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.NewKey
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	wanted := members.NewKey{MemberID: body.MemberID, Scope: body.Scope, Label: body.Label}
	if body.ExpiresAt != nil {
		wanted.ExpiresAt = *body.ExpiresAt
	}
	key, secret, err := s.app.Members.CreateKey(c.Request.Context(), a, wanted)
	if err != nil {
		return web.WithPointers(err)
	}
	kept, err := json.Marshal(wire.KeyResource(key))
	if err != nil {
		return err
	}
	c.Set(web.WithoutSecretKey, kept)
	c.Header("Cache-Control", "no-store")
	return web.Answer(c, http.StatusCreated, wire.CreatedKey{Key: wire.KeyResource(key), Secret: secret})
}

// deleteKey revokes a key at once.
//
//	@Summary	Revoke a key
//	@Tags		group
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys/{id} [delete]
func (s *Server) deleteKey(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if err := s.app.Members.RevokeKey(c.Request.Context(), a, id); err != nil {
		return err
	}
	return web.NoContent(c)
}
