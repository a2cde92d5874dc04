package api

import (
	"cmp"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/members"
)

// listInvitations answers with the group's invitations, the newest first.
//
//	@Summary	List invitations
//	@Tags		group
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.InvitationPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/invitations [get]
//	@Router		/v1/invitations.csv [get]
func (s *Server) listInvitations(r web.Request, _ web.TableQuery) ([]wire.Invitation, error) {
	found, err := s.app.Members.Invitations(r.Request.Context(), r.Actor)
	return web.Each(found, func(i members.Invitation) wire.Invitation {
		return wire.InvitationResource(i, r.Actor.Now)
	}), err
}

// createInvitation invites somebody.
//
//	@Summary		Invite a member
//	@Description	Pass the secret on, or the page with this server's address before it. Who redeems it becomes a member and alone sees their key.
//	@Tags			group
//	@Param			invitation	body		wire.NewInvitation	true	"who"
//	@Success		201			{object}	wire.CreatedInvitation
//	@Failure		default		{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/invitations [post]
func (s *Server) createInvitation(r web.Request, in wire.NewInvitation) (out wire.CreatedInvitation, err error) {
	i, text, err := s.app.Members.Invite(r.Request.Context(), r.Actor, in.Name, cmp.Or(in.Scope, service.ScopeWrite))
	if err != nil {
		return out, err
	}
	out = wire.CreatedInvitation{Invitation: wire.InvitationResource(i, r.Actor.Now), Secret: text, Page: wire.InvitationPath(text)}
	return out, r.ShowOnce(out.Invitation)
}

// deleteInvitation revokes an invitation.
//
//	@Summary	Revoke an invitation
//	@Tags		group
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/invitations/{id} [delete]
func (s *Server) deleteInvitation(r web.Request) error {
	return s.app.Members.RevokeInvitation(r.Request.Context(), r.Actor, r.ID)
}

// redeemInvitation makes a member of whoever holds an invitation.
//
//	@Summary		Redeem an invitation
//	@Description	The answer holds the new member's key, which nobody else sees. Where it was lost on its way, redeem again: until the key is used.
//	@Tags			group
//	@Param			redemption	body		wire.Redemption	true	"the invitation"
//	@Success		201			{object}	wire.CreatedKey
//	@Failure		default		{object}	web.Problem	"RFC 9457 problem"
//	@Router			/v1/invitation-redemptions [post]
func (s *Server) redeemInvitation(r web.Request, in wire.Redemption) (out wire.CreatedKey, err error) {
	if err := s.CountFailure(r.Context, nil); err != nil { // each may make a key
		return out, err
	}
	key, secret, err := s.app.Members.Redeem(r.Request.Context(), in.Invitation)
	if err != nil {
		return out, err
	}
	r.Header("Cache-Control", "no-store")
	return wire.CreatedKey{Key: wire.KeyResource(key), Secret: secret}, nil
}
