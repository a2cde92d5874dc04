package api

import (
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/members"
)

// listKeys answers with one's own keys, with an admin key everybody's.
//
//	@Summary	List keys
//	@Tags		group
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.KeyPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [get]
//	@Router		/v1/keys.csv [get]
func (s *Server) listKeys(r web.Request, _ web.TableQuery) ([]wire.Key, error) {
	keys, err := s.app.Members.Keys(r.Request.Context(), r.Actor)
	return web.Each(keys, wire.KeyResource), err
}

// createKey makes a key of one's own.
//
//	@Summary	Make a key
//	@Tags		group
//	@Param		key		body		wire.NewKey	true	"scope, and what else is wanted"
//	@Success	201		{object}	wire.CreatedKey
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [post]
func (s *Server) createKey(r web.Request, in wire.NewKey) (out wire.CreatedKey, err error) {
	wanted := members.NewKey{Scope: in.Scope, Label: in.Label}
	if in.ExpiresAt != nil {
		wanted.ExpiresAt = *in.ExpiresAt
	}
	key, secret, err := s.app.Members.CreateKey(r.Request.Context(), r.Actor, wanted)
	if err != nil {
		return out, err
	}
	out = wire.CreatedKey{Key: wire.KeyResource(key), Secret: secret}
	return out, r.ShowOnce(out.Key)
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
func (s *Server) deleteKey(r web.Request) error {
	return s.app.Members.RevokeKey(r.Request.Context(), r.Actor, r.ID)
}
