package members

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"hash/crc32"
	"math/big"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// Key is an API key as it is on file: everything but the secret.
type Key struct {
	ID         uuid.UUID
	MemberID   uuid.UUID
	Member     string
	Scope      string
	Label      string
	MadeBy     string // the name of who made it; empty: who runs the server
	CreatedAt  time.Time
	ExpiresAt  time.Time // zero: never
	RevokedAt  time.Time
	LastUsedAt time.Time
	ParentID   uuid.UUID // of a session: the key that it was opened with, and ends with
	MadeByID   uuid.UUID
}

// KeyStore keeps the keys.
type KeyStore interface {
	// Authenticate finds the key with that hash, with its member and group,
	// and whether it is neither revoked nor expired at that time. ErrNotFound.
	Authenticate(ctx context.Context, group uuid.UUID, hash []byte, at time.Time) (*service.Actor, error)
	// TouchKey notes that the key was used.
	TouchKey(ctx context.Context, t service.Tenant, key uuid.UUID, at time.Time) error
	// CreateKey keeps the key under the hash of its secret, with an audit row.
	// ErrNotFound: the member has left. ErrConflict: the member has most valid
	// keys already; zero: any number. One with a parent is a session: it does
	// not outlive the parent, takes the place of the oldest beyond most, and
	// is not audited. ErrNotFound: the parent was revoked.
	CreateKey(ctx context.Context, t service.Tenant, k Key, most int, hash []byte) error
	// Keys lists those of one member, or all with a zero member.
	Keys(ctx context.Context, t service.Tenant, member uuid.UUID) ([]Key, error)
	// RevokeKey ends a key of that member (of any member when zero) and the keys
	// made from it, with an audit row. ErrNotFound.
	RevokeKey(ctx context.Context, t service.Tenant, key, member uuid.UUID, at time.Time) error
}

// The text of a key: prefix, letter of the scope, the group's UUID, 256 random
// bits, and a CRC-32 of all that, so that a typo is refused without a query.
const (
	groupDigits  = 22
	secretDigits = 43
	crcDigits    = 6
)

const base62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"

// invitationLetter stands in an invitation where a key has the letter of its
// scope.
const invitationLetter = "i"

// newSecret makes the text of a key, or of an invitation.
func newSecret(group uuid.UUID, letter string) string {
	var secret [32]byte
	rand.Read(secret[:]) // never fails
	text := service.KeyPrefix + letter + toBase62(group[:], groupDigits) + toBase62(secret[:], secretDigits)
	return text + checkDigits(text)
}

// groupOfKey reads the group from a key's text, or says that it is no key.
func groupOfKey(text string) (uuid.UUID, error) {
	if len(text) != secretLength || !strings.HasPrefix(text, service.KeyPrefix) {
		return uuid.Nil, service.Refuse(service.ErrUnauthenticated,
			"this is not a key: keys begin with %s and have %d characters", service.KeyPrefix, secretLength)
	}
	if text[len(service.KeyPrefix):][:1] == invitationLetter {
		return uuid.Nil, service.Refuse(service.ErrUnauthenticated,
			"this is an invitation: redeem it for a key, at /board/invitation or with POST /v1/invitation-redemptions")
	}
	return groupOf(text)
}

// secretLength is how long a key or an invitation is.
const secretLength = len(service.KeyPrefix) + 1 + groupDigits + secretDigits + crcDigits

// groupOf reads the group from a text of the right length.
func groupOf(text string) (uuid.UUID, error) {
	body, check := text[:secretLength-crcDigits], text[secretLength-crcDigits:]
	if checkDigits(body) != check {
		return uuid.Nil, service.Refuse(service.ErrUnauthenticated, "the key has a typing error: copy it again, whole")
	}
	var group uuid.UUID
	n, ok := fromBase62(body[len(service.KeyPrefix)+1 : len(service.KeyPrefix)+1+groupDigits])
	if !ok || n.BitLen() > len(group)*8 {
		return uuid.Nil, service.Refuse(service.ErrUnauthenticated, "this is not a key")
	}
	n.FillBytes(group[:])
	return group, nil
}

func checkDigits(text string) string {
	sum := crc32.ChecksumIEEE([]byte(text))
	return toBase62([]byte{byte(sum >> 24), byte(sum >> 16), byte(sum >> 8), byte(sum)}, crcDigits)
}

func toBase62(b []byte, digits int) string {
	n, base, digit := new(big.Int).SetBytes(b), big.NewInt(62), new(big.Int)
	out := make([]byte, digits)
	for i := digits - 1; i >= 0; i-- {
		n.DivMod(n, base, digit)
		out[i] = base62[digit.Int64()]
	}
	return string(out)
}

func fromBase62(s string) (*big.Int, bool) {
	n, base := new(big.Int), big.NewInt(62)
	for i := range len(s) {
		v := strings.IndexByte(base62, s[i])
		if v < 0 {
			return nil, false
		}
		n.Add(n.Mul(n, base), big.NewInt(int64(v)))
	}
	return n, true
}

func hashKey(text string) []byte {
	sum := sha256.Sum256([]byte(text))
	return sum[:]
}

// Authenticate finds who holds the key.
func (s *Service) Authenticate(ctx context.Context, text string) (*service.Actor, error) {
	group, err := groupOfKey(text)
	if err != nil {
		return nil, err
	}
	now := s.now()
	actor, err := s.store.Authenticate(ctx, group, hashKey(text), now)
	if err != nil {
		if service.IsNotFound(err) {
			return nil, service.Refuse(service.ErrUnauthenticated, "the key is not known, was revoked or has expired")
		}
		return nil, fmt.Errorf("authenticate: %w", err)
	}
	actor.Now, actor.Today = now, pricing.DateOf(now.In(actor.Group.Location()))
	s.touch(ctx, actor, now)
	return actor, nil
}

// touch notes the use of a key, at most once a minute and never at the
// request's expense.
func (s *Service) touch(ctx context.Context, a *service.Actor, now time.Time) {
	const every = time.Minute
	if !s.usedKeys.due(a.KeyID, now, every) {
		return
	}
	if err := s.store.TouchKey(ctx, a.Tenant(), a.KeyID, now); err != nil {
		s.logger.WarnContext(ctx, "the use of a key was not noted", "key", a.KeyID, "error", err)
	}
}

// NewKey asks for a key.
type NewKey struct {
	Scope     string
	Label     string
	ExpiresAt time.Time // zero: never

	member uuid.UUID // whose it is
	parent uuid.UUID // of a session
	madeBy uuid.UUID // zero: who runs the server
	most   int       // as KeyStore.CreateKey has it
}

// How many keys and sessions of a member are valid at once.
const (
	mostKeys     = 20
	mostSessions = 10
)

// CreateKey makes a key of the actor's own, up to the scope of theirs, and
// returns it with its secret text, which is shown this once. Nobody makes keys
// of others, who alone may see their ledgers.
func (s *Service) CreateKey(ctx context.Context, a *service.Actor, n NewKey) (Key, string, error) {
	n.member = a.MemberID
	switch {
	case service.ScopeLetters[n.Scope] == "":
		return Key{}, "", service.Invalid("scope", "%q is not one of read, write, admin, feed", service.Clip(n.Scope))
	case !a.Can(service.ScopeWrite), !a.Can(n.Scope):
		return Key{}, "", service.Refuse(service.ErrForbidden, "a %s key cannot make a %s key", a.Scope, n.Scope)
	case !n.ExpiresAt.IsZero() && n.ExpiresAt.Before(s.now()):
		return Key{}, "", service.Invalid("expires_at", "%s is in the past", n.ExpiresAt.Format(time.RFC3339))
	}
	if err := service.CheckText(n.Label, 100); err != nil {
		return Key{}, "", service.Invalid("label", "%v", err)
	}
	if a.KeyID != uuid.Nil {
		n.madeBy, n.most = a.MemberID, mostKeys
	}
	return s.issueKey(ctx, a.Tenant(), n)
}

func (s *Service) issueKey(ctx context.Context, t service.Tenant, n NewKey) (Key, string, error) {
	secret := newSecret(t.Group, service.ScopeLetters[n.Scope])
	key := Key{
		ID:        service.NewID(),
		MemberID:  n.member,
		Scope:     n.Scope,
		Label:     n.Label,
		CreatedAt: s.now(),
		ExpiresAt: n.ExpiresAt,
		ParentID:  n.parent,
		MadeByID:  n.madeBy,
	}
	if err := s.store.CreateKey(ctx, t, key, n.most, hashKey(secret)); err != nil {
		return Key{}, "", fmt.Errorf("keep the new key: %w", err)
	}
	return key, secret, nil
}

// Keys lists the actor's keys; with an admin key, the group's.
func (s *Service) Keys(ctx context.Context, a *service.Actor) ([]Key, error) {
	return s.store.Keys(ctx, a.Tenant(), a.OwnUnlessAdmin())
}

// RevokeKey ends a key at once.
func (s *Service) RevokeKey(ctx context.Context, a *service.Actor, key uuid.UUID) error {
	if !a.Can(service.ScopeWrite) {
		return service.Refuse(service.ErrForbidden, "a %s key cannot revoke keys", a.Scope)
	}
	return s.store.RevokeKey(ctx, a.Tenant(), key, a.OwnUnlessAdmin(), s.now())
}

// usedKeys remembers when the use of a key was last noted.
type usedKeys struct {
	mu sync.Mutex
	at map[uuid.UUID]time.Time
}

// due reports, once in each span, that the use of the key is to be noted.
func (u *usedKeys) due(key uuid.UUID, now time.Time, span time.Duration) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	if last, ok := u.at[key]; ok && now.Sub(last) < span {
		return false
	}
	const most = 10_000
	if len(u.at) >= most {
		clear(u.at)
	}
	u.at[key] = now
	return true
}
