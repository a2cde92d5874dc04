package api

import (
	"askwright/api/web"
	"askwright/api/wire"
)

// getGroup answers with the group's settings.
//
//	@Summary	Read the group
//	@Tags		group
//	@Success	200		{object}	wire.Group
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/group [get]
func (s *Server) getGroup(r web.Request, _ struct{}) (wire.Group, error) {
	return wire.GroupOf(r.Actor.Group, r.Actor), nil
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
func (s *Server) patchGroup(r web.Request, in wire.GroupPatch) (out wire.Group, err error) {
	if sent := r.GetHeader("If-Match"); sent != "" && !web.TagMatches(sent, web.HashTag(wire.GroupOf(r.Actor.Group, r.Actor))) {
		return out, web.Refuse(web.Changed, "the group was changed in the meantime")
	}
	g, err := s.app.Members.UpdateGroup(r.Request.Context(), r.Actor, in.Apply)
	if err != nil {
		return out, err
	}
	out = wire.GroupOf(g, r.Actor)
	r.Header("ETag", web.HashTag(out))
	return out, nil
}

// listMembers answers with the people of the group.
//
//	@Summary	List members
//	@Tags		group
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.MemberPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/members [get]
//	@Router		/v1/members.csv [get]
func (s *Server) listMembers(r web.Request, _ web.TableQuery) ([]wire.Member, error) {
	found, err := s.app.Members.Members(r.Request.Context(), r.Actor)
	return web.Each(found, wire.MemberOf), err
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
func (s *Server) deleteMember(r web.Request) error {
	return s.app.Members.EndMembership(r.Request.Context(), r.Actor, r.ID)
}
