package members

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/service"
)

// Invitation lets somebody become a member of the group. Its text is shown to
// whoever invites; the key that it is redeemed for only to whoever redeems it.
type Invitation struct {
	ID         uuid.UUID
	Name       string // of the member that it makes
	Scope      string // of the key that it is redeemed for
	MadeBy     string // the name of who invites; empty: who runs the server
	MadeByID   uuid.UUID
	CreatedAt  time.Time
	ExpiresAt  time.Time
	RevokedAt  time.Time
	RedeemedAt time.Time
	KeyID      uuid.UUID // that it was redeemed for
	MemberID   uuid.UUID // who redeemed it
}

// The states of an invitation.
const (
	InvitationOpen     = "open"
	InvitationRedeemed = "redeemed"
	InvitationRevoked  = "revoked"
	InvitationExpired  = "expired"
)

// State tells whether the invitation can still be redeemed.
func (i Invitation) State(now time.Time) string {
	switch {
	case !i.RevokedAt.IsZero():
		return InvitationRevoked
	case !i.RedeemedAt.IsZero():
		return InvitationRedeemed
	case !now.Before(i.ExpiresAt):
		return InvitationExpired
	}
	return InvitationOpen
}

const (
	// InvitationDays is how long an invitation can be redeemed.
	InvitationDays = 7
	// mostInvitations are open at once in a group.
	mostInvitations = 50
	// invitationKept is how long one is listed after it expired.
	invitationKept = 90 * 24 * time.Hour
)

// InvitationStore keeps the invitations.
type InvitationStore interface {
	// CreateInvitation keeps one under the hash of its text, with an audit row,
	// and drops those that expired before a time. ErrConflict: a member has that
	// name, or so many are open already.
	CreateInvitation(ctx context.Context, t service.Tenant, i Invitation, most int, expiredBefore time.Time, hash []byte) error
	// Invitations lists them, the newest first.
	Invitations(ctx context.Context, t service.Tenant) ([]Invitation, error)
	// RevokeInvitation ends one that is not redeemed, with an audit row.
	// ErrNotFound. ErrConflict: it is redeemed.
	RevokeInvitation(ctx context.Context, t service.Tenant, id uuid.UUID, at time.Time) error
	// RedeemInvitation makes the member and the key that issue gives for the
	// invitation, with audit rows; again, as long as that key was not used: another
	// key in its place. ErrNotFound: there is none that can be redeemed.
	// ErrConflict: a member has that name.
	RedeemInvitation(ctx context.Context, t service.Tenant, invited []byte, issue func(Invitation) (Key, []byte)) error
}

// Invite makes an invitation and returns it with its text, which is shown this
// once. An invitation is for somebody new only: nobody gets a key of a member
// who has rows.
func (s *Service) Invite(ctx context.Context, a *service.Actor, name, scope string) (Invitation, string, error) {
	if !a.Can(service.ScopeAdmin) {
		return Invitation{}, "", service.Refuse(service.ErrForbidden, "inviting somebody needs an admin key")
	}
	name, err := memberName(name)
	if err != nil {
		return Invitation{}, "", err
	}
	if scope != service.ScopeRead && scope != service.ScopeWrite && scope != service.ScopeAdmin {
		return Invitation{}, "", service.Invalid("scope", "%q is not one of read, write, admin", service.Clip(scope))
	}
	now := s.now()
	i := Invitation{ID: service.NewID(), Name: name, Scope: scope, CreatedAt: now, ExpiresAt: now.AddDate(0, 0, InvitationDays)}
	if a.KeyID != uuid.Nil {
		i.MadeBy, i.MadeByID = a.Member, a.MemberID
	}
	text := newSecret(a.Group.ID, invitationLetter)
	err = s.store.CreateInvitation(ctx, a.Tenant(), i, mostInvitations, now.Add(-invitationKept), hashKey(text))
	if err != nil {
		return Invitation{}, "", fmt.Errorf("invite: %w", err)
	}
	return i, text, nil
}

// Invitations lists those of the group, the newest first.
func (s *Service) Invitations(ctx context.Context, a *service.Actor) ([]Invitation, error) {
	return s.store.Invitations(ctx, a.Tenant())
}

// RevokeInvitation ends an invitation that was not redeemed.
func (s *Service) RevokeInvitation(ctx context.Context, a *service.Actor, id uuid.UUID) error {
	if !a.Can(service.ScopeAdmin) {
		return service.Refuse(service.ErrForbidden, "revoking an invitation needs an admin key")
	}
	return s.store.RevokeInvitation(ctx, a.Tenant(), id, s.now())
}

// Redeem makes whoever holds an invitation a member, and returns their first key
// with its text. Where the answer was lost on its way the invitation can be
// redeemed again, until the key is used.
func (s *Service) Redeem(ctx context.Context, invitation string) (key Key, secret string, err error) {
	isOne := len(invitation) == secretLength && strings.HasPrefix(invitation, service.KeyPrefix+invitationLetter)
	var group uuid.UUID
	if isOne {
		group, err = groupOf(invitation)
	}
	if !isOne || err != nil {
		return Key{}, "", service.Refuse(service.ErrUnauthenticated,
			"this is not an invitation: copy it again, whole; it begins with %s%s", service.KeyPrefix, invitationLetter)
	}
	t := service.Tenant{Group: group, Member: service.NewID(), At: s.now()}
	err = s.store.RedeemInvitation(ctx, t, hashKey(invitation), func(i Invitation) (Key, []byte) {
		secret = newSecret(group, service.ScopeLetters[i.Scope])
		key = Key{ID: service.NewID(), MemberID: i.MemberID, Member: i.Name, Scope: i.Scope, Label: "by invitation",
			CreatedAt: t.At, MadeBy: i.MadeBy, MadeByID: i.MadeByID}
		return key, hashKey(secret)
	})
	switch {
	case service.IsNotFound(err):
		return Key{}, "", service.Refuse(service.ErrUnauthenticated,
			"the invitation is not known, was used, was revoked or has expired: ask for another one")
	case errors.Is(err, service.ErrConflict):
		return Key{}, "", service.Refuse(service.ErrConflict,
			"there is already a member of that name: ask for an invitation with another one")
	case err != nil:
		return Key{}, "", fmt.Errorf("redeem the invitation: %w", err)
	}
	return key, secret, nil
}
