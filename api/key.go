package api

import (
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/members"
)

// Key is an API key without its secret.
type Key struct {
	ID         uuid.UUID  `json:"id" format:"uuid"`
	MemberID   uuid.UUID  `json:"member_id" format:"uuid"`
	Member     string     `json:"member,omitempty"`
	Scope      string     `json:"scope" enums:"feed,read,write,admin"`
	Label      string     `json:"label,omitempty"`
	CreatedAt  time.Time  `json:"created_at" format:"date-time"`
	ExpiresAt  *time.Time `json:"expires_at,omitempty" format:"date-time"`
	RevokedAt  *time.Time `json:"revoked_at,omitempty" format:"date-time"`
	LastUsedAt *time.Time `json:"last_used_at,omitempty" format:"date-time"` // to the minute
}

// KeyPage is a list of keys.
type KeyPage struct {
	Items []Key `json:"items"`
}

// CreatedKey is a new key with its secret, which is shown this once.
type CreatedKey struct {
	Key
	Secret string `json:"key"`
}

// NewKey asks for a key.
type NewKey struct {
	MemberID  uuid.UUID  `json:"member_id" format:"uuid"` // default: one's own; others' with an admin key
	Scope     string     `json:"scope" enums:"feed,read,write,admin"`
	Label     string     `json:"label" example:"spreadsheet"`
	ExpiresAt *time.Time `json:"expires_at" format:"date-time"` // default: never
}

func keyResource(k members.Key) Key {
	return Key{
		ID: k.ID, MemberID: k.MemberID, Member: k.Member, Scope: k.Scope, Label: k.Label, CreatedAt: k.CreatedAt.UTC(),
		ExpiresAt: optionalTime(k.ExpiresAt), RevokedAt: optionalTime(k.RevokedAt), LastUsedAt: optionalTime(k.LastUsedAt),
	}
}

// listKeys answers with one's own keys, with an admin key everybody's.
//
//	@Summary	List keys
//	@Tags		group
//	@Success	200		{object}	KeyPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [get]
func (s *Server) listKeys(c *gin.Context, a *service.Actor) error {
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	keys, err := s.service.Members.Keys(c.Request.Context(), a)
	if err != nil {
		return err
	}
	out := KeyPage{Items: make([]Key, len(keys))}
	for i, k := range keys {
		out.Items[i] = keyResource(k)
	}
	return answerTagged(c, out)
}

// createKey makes a key.
//
//	@Summary	Make a key
//	@Tags		group
//	@Param		key		body		NewKey	true	"scope, and what else is wanted"
//	@Success	201		{object}	CreatedKey
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys [post]
func (s *Server) createKey(c *gin.Context, a *service.Actor) error {
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	var body NewKey
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	wanted := members.NewKey{MemberID: body.MemberID, Scope: body.Scope, Label: body.Label}
	if body.ExpiresAt != nil {
		wanted.ExpiresAt = *body.ExpiresAt
	}
	key, secret, err := s.service.Members.CreateKey(c.Request.Context(), a, wanted)
	if err != nil {
		return withPointers(err)
	}
	kept, err := json.Marshal(keyResource(key))
	if err != nil {
		return err
	}
	c.Set(withoutSecretKey, kept)
	c.Header("Cache-Control", "no-store")
	return answer(c, http.StatusCreated, CreatedKey{Key: keyResource(key), Secret: secret})
}

// deleteKey revokes a key at once.
//
//	@Summary	Revoke a key
//	@Tags		group
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/keys/{id} [delete]
func (s *Server) deleteKey(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	if err := s.service.Members.RevokeKey(c.Request.Context(), a, id); err != nil {
		return err
	}
	return noContent(c)
}
