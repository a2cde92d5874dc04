package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/members"
)

// Key is an API key without its secret.
type Key struct {
	ID         uuid.UUID  `json:"id" format:"uuid"`
	MemberID   uuid.UUID  `json:"member_id" format:"uuid"`
	Member     string     `json:"member,omitempty"`
	Scope      string     `json:"scope" enums:"feed,read,write,admin"`
	Label      string     `json:"label,omitempty"`
	MadeBy     string     `json:"made_by,omitempty"` // the member whose key it was made with, or who invited; none: who runs the server
	CreatedAt  time.Time  `json:"created_at" format:"date-time"`
	ExpiresAt  *time.Time `json:"expires_at,omitempty" format:"date-time"`
	RevokedAt  *time.Time `json:"revoked_at,omitempty" format:"date-time"`
	LastUsedAt *time.Time `json:"last_used_at,omitempty" format:"date-time"` // to the minute
}

// KeyPage is a list of keys.
type KeyPage struct {
	Items []Key   `json:"items"`
	Next  *string `json:"next"` // null: the list is whole
}

// CreatedKey is a new key with its secret, which is shown this once.
type CreatedKey struct {
	Key
	Secret string `json:"key,omitempty"` // shown once: not in the answer to a repeat
}

// KeyColumns are the columns of keys.
var KeyColumns = web.ColumnsOf[Key](`
	id member_id member scope label made_by created_at expires_at revoked_at last_used_at`)

// NewKey asks for a key of one's own.
type NewKey struct {
	Scope     string     `json:"scope" enums:"feed,read,write,admin"`
	Label     string     `json:"label" example:"spreadsheet"`
	ExpiresAt *time.Time `json:"expires_at" format:"date-time"` // default: never
}

// KeyResource shows a key without its secret.
func KeyResource(k members.Key) Key {
	return Key{
		ID:         k.ID,
		MemberID:   k.MemberID,
		Member:     k.Member,
		Scope:      k.Scope,
		Label:      k.Label,
		MadeBy:     k.MadeBy,
		CreatedAt:  k.CreatedAt.UTC(),
		ExpiresAt:  optionalTime(k.ExpiresAt),
		RevokedAt:  optionalTime(k.RevokedAt),
		LastUsedAt: optionalTime(k.LastUsedAt),
	}
}
