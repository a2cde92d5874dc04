package service

import (
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// OwnUnlessAdmin is the member whose keys the actor may see; zero: everybody's.
func (a *Actor) OwnUnlessAdmin() uuid.UUID {
	if a.Can(ScopeAdmin) {
		return uuid.Nil
	}
	return a.MemberID
}

// NeedOwner keeps offers to the owner, also from an admin key.
func (a *Actor) NeedOwner(l *Listing) error {
	if l.MemberID == a.MemberID {
		return nil
	}
	return Refuse(ErrForbidden, "offers for %s are for %s alone, also with an admin key", l.Ref, l.Member)
}

// MayWriteColumns keeps owner-only columns to the owner.
func (a *Actor) MayWriteColumns(l *Listing, cells Cells) error {
	if l.MemberID == a.MemberID {
		return nil
	}
	for name, cell := range cells {
		if c, ok := ColumnByName(name); ok && c.OwnerOnly && strings.TrimSpace(cell) != "" {
			return Invalid(name, "belongs to %s alone, also with an admin key", l.Member)
		}
	}
	return nil
}

// NeedWrite refuses keys that only read.
func (a *Actor) NeedWrite() error {
	if !a.Can(ScopeWrite) {
		return Refuse(ErrForbidden, "changing rows needs a key with the scope write; this one has %s", a.Scope)
	}
	return nil
}

// Tenant is whom a statement runs for: row-level security lets it see the
// group's rows and, of the owner-only tables, the member's.
type Tenant struct {
	Group  uuid.UUID
	Member uuid.UUID
	At     time.Time // when it was asked for: what the audit notes
}

// The scopes of keys. Each includes the one before it; a feed key reads feeds
// only.
const (
	ScopeFeed  = "feed"
	ScopeRead  = "read"
	ScopeWrite = "write"
	ScopeAdmin = "admin"
)

var scopeRank = map[string]int{ScopeFeed: 0, ScopeRead: 1, ScopeWrite: 2, ScopeAdmin: 3}

// Actor is who asks: a member of a group, through a key.
type Actor struct {
	Group    *Group
	MemberID uuid.UUID
	Member   string
	KeyID    uuid.UUID
	Session  bool // the key is a session of the board
	Scope    string
	Now      time.Time    // when it was asked
	Today    pricing.Date // the group's local day at that time
}

// Can reports whether the key's scope includes the wanted one.
func (a *Actor) Can(scope string) bool { return scopeRank[a.Scope] >= scopeRank[scope] }

// Tenant returns whom the actor's statements run for.
func (a *Actor) Tenant() Tenant { return Tenant{Group: a.Group.ID, Member: a.MemberID, At: a.Now} }

// Reader returns how the actor's rows are to be read.
func (a *Actor) Reader() *Reader {
	return &Reader{Currency: a.Group.Currency, Unit: a.Group.Unit, DateOrder: a.Group.DateOrder, Today: a.Today}
}

// NewID returns a UUIDv7 (RFC 9562): unique without coordination, in order of
// time.
func NewID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

// MaxSubjects bounds a batch.
const MaxSubjects = 500
