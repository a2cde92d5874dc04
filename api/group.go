package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// getGroup answers with the group's settings.
//
//	@Summary	Read the group
//	@Tags		group
//	@Success	200		{object}	wire.Group
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/group [get]
func (s *Server) getGroup(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	return web.AnswerTagged(c, wire.GroupOf(a.Group, a))
}

// patchGroup changes settings.
//
//	@Summary	Change the group
//	@Tags		group
//	@Param		settings	body		wire.GroupPatch	true	"the settings to change"
//	@Success	200			{object}	wire.Group
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/group [patch]
func (s *Server) patchGroup(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if sent := c.GetHeader("If-Match"); sent != "" && !web.TagMatches(sent, web.HashTag(wire.GroupOf(a.Group, a))) {
		return web.Refuse(web.Changed, "the group was changed in the meantime")
	}
	var body wire.GroupPatch
	if err := web.ReadPatch(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	g, err := s.app.Members.UpdateGroup(c.Request.Context(), a, body.Apply)
	if err != nil {
		return web.WithPointers(err)
	}
	shown := wire.GroupOf(g, a)
	c.Header("ETag", web.HashTag(shown))
	return web.Answer(c, http.StatusOK, shown)
}

// listMembers answers with the people of the group.
//
//	@Summary	List members
//	@Tags		group
//	@Success	200		{object}	wire.MemberPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/members [get]
func (s *Server) listMembers(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	members, err := s.app.Members.Members(c.Request.Context(), a)
	if err != nil {
		return err
	}
	out := wire.MemberPage{Items: make([]wire.Member, len(members))}
	for i, m := range members {
		out.Items[i] = wire.MemberOf(m)
	}
	return web.AnswerTagged(c, out)
}

// createMember adds a person.
//
//	@Summary	Add a member
//	@Tags		group
//	@Param		member	body		wire.NewMember	true	"who"
//	@Success	201		{object}	wire.Member
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/members [post]
func (s *Server) createMember(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.NewMember
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	m, err := s.app.Members.CreateMember(c.Request.Context(), a, body.Name)
	if err != nil {
		return web.WithPointers(err)
	}
	return web.Answer(c, http.StatusCreated, wire.MemberOf(*m))
}

// deleteMember lets a member go: the rows stay, the keys end.
//
//	@Summary	End a membership
//	@Tags		group
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/members/{id} [delete]
func (s *Server) deleteMember(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if err := s.app.Members.EndMembership(c.Request.Context(), a, id); err != nil {
		return err
	}
	return web.NoContent(c)
}
