package members

import (
	"context"

	"askwright/service"
)

// SessionDays is how long a session lasts at most.
const SessionDays = 7

// SignIn opens a session for the holder of a key: a key of its own that lasts
// for SessionDays, ends with the one that it was opened with, and can write
// but not administer. Its text is for a cookie. A feed key opens none.
func (s *Service) SignIn(ctx context.Context, key string) (text string, err error) {
	a, err := s.Authenticate(ctx, key)
	if err != nil {
		return "", err
	}
	if !a.Can(service.ScopeRead) {
		return "", service.Refuse(service.ErrForbidden, "a feed key opens the board by its address only: /board?key=…")
	}
	scope := a.Scope
	if a.Can(service.ScopeWrite) {
		scope = service.ScopeWrite
	}
	_, text, err = s.issueKey(ctx, a.Tenant(), NewKey{MemberID: a.MemberID, Scope: scope, Label: "board session", ExpiresAt: a.Now.AddDate(0, 0, SessionDays), parent: a.KeyID})
	return text, err
}

// SignOut ends the actor's own key, which is a session.
func (s *Service) SignOut(ctx context.Context, a *service.Actor) error {
	return s.store.RevokeKey(ctx, a.Tenant(), a.KeyID, a.MemberID, s.now())
}
