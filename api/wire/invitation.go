package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/members"
)

// Invitation lets somebody become a member of the group.
type Invitation struct {
	ID         uuid.UUID  `json:"id" format:"uuid"`
	Name       string     `json:"name"` // of the member that it makes
	Scope      string     `json:"scope" enums:"read,write,admin"`
	State      string     `json:"state" enums:"open,redeemed,revoked,expired"`
	MadeBy     *string    `json:"made_by"`                 // the member who invites; null: who runs the server
	MemberID   *uuid.UUID `json:"member_id" format:"uuid"` // who redeemed it
	CreatedAt  time.Time  `json:"created_at" format:"date-time"`
	ExpiresAt  time.Time  `json:"expires_at" format:"date-time"`
	RevokedAt  *time.Time `json:"revoked_at" format:"date-time"`
	RedeemedAt *time.Time `json:"redeemed_at" format:"date-time"`
}

// InvitationPage is the group's invitations, the newest first.
type InvitationPage struct {
	Items []Invitation `json:"items"`
	Next  *string      `json:"next"` // null: the list is whole
}

// CreatedInvitation is a new invitation with its text and the page of the board
// that redeems it, which are shown this once.
type CreatedInvitation struct {
	Invitation
	Secret string `json:"secret"`
	Page   string `json:"page" example:"/board/invitation?invitation=ask_i…"` // on this server
}

// NewInvitation asks for an invitation.
type NewInvitation struct {
	Name  string `json:"name"`
	Scope string `json:"scope" enums:"read,write,admin"` // default: write
}

// Redemption asks for the key that an invitation is for.
type Redemption struct {
	Invitation string `json:"invitation"`
}

// InvitationResource shows an invitation without its text.
func InvitationResource(i members.Invitation, now time.Time) Invitation {
	out := Invitation{
		ID: i.ID, Name: i.Name, Scope: i.Scope, State: i.State(now), CreatedAt: i.CreatedAt.UTC(), ExpiresAt: i.ExpiresAt.UTC(),
		RevokedAt: optionalTime(i.RevokedAt), RedeemedAt: optionalTime(i.RedeemedAt),
	}
	if i.MadeBy != "" {
		out.MadeBy = &i.MadeBy
	}
	if i.MemberID != uuid.Nil {
		out.MemberID = &i.MemberID
	}
	return out
}

// InvitationPath is the page of the board that redeems an invitation.
func InvitationPath(text string) string { return "/board/invitation?invitation=" + text }

// InvitationColumns are the columns of invitations.
var InvitationColumns = web.ColumnsOf[Invitation](`
	id name scope state made_by member_id created_at expires_at revoked_at redeemed_at`)
