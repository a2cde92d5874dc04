package members

import (
	"context"

	"askwright/service"
)

// SessionDays is how long a session lasts at most.
const SessionDays = 7

// OpenSession opens a session for the holder of a key: a key of its own that
// lasts for SessionDays, ends with the one that it was opened with, and can write
// but not administer. Its text is for a cookie. A feed key opens none, nor does
// another session; of too many, the oldest ends.
func (s *Service) OpenSession(ctx context.Context, a *service.Actor) (text string, err error) {
	if a.Session {
		return "", service.Refuse(service.ErrUnauthenticated, "this is no key but what a browser keeps of one: sign in with the key")
	}
	if !a.Can(service.ScopeRead) {
		return "", service.Refuse(service.ErrForbidden, "a feed key opens the board by its address only: /board?key=…")
	}
	scope := a.Scope
	if a.Can(service.ScopeWrite) {
		scope = service.ScopeWrite
	}
	_, text, err = s.issueKey(ctx, a.Tenant(), NewKey{
		member:    a.MemberID,
		Scope:     scope,
		Label:     "board session",
		ExpiresAt: a.Now.AddDate(0, 0, SessionDays),
		parent:    a.KeyID,
		madeBy:    a.MemberID,
		most:      mostSessions,
	})
	return text, err
}

// OpenFirstSession opens a session with a key that an invitation was redeemed
// for, which stays unused until the session is.
func (s *Service) OpenFirstSession(ctx context.Context, k Key, secret string) (text string, err error) {
	group, err := groupOfKey(secret)
	if err != nil {
		return "", err
	}
	return s.OpenSession(ctx, &service.Actor{
		Group: &service.Group{ID: group}, MemberID: k.MemberID, Member: k.Member, KeyID: k.ID, Scope: k.Scope, Now: s.now(),
	})
}

// SignOut ends the actor's session, and nothing but a session.
func (s *Service) SignOut(ctx context.Context, a *service.Actor) error {
	if !a.Session {
		return service.Refuse(service.ErrForbidden, "there is no session to end; a key is revoked with DELETE /v1/keys/{id}")
	}
	return s.store.RevokeKey(ctx, a.Tenant(), a.KeyID, a.MemberID, s.now())
}
