package members

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// GroupStore keeps groups and members.
type GroupStore interface {
	// CreateGroup keeps a group with its first member.
	CreateGroup(ctx context.Context, g service.Group, first service.Member) error
	// GroupIDs lists all groups, for background work and the commands.
	GroupIDs(ctx context.Context) ([]uuid.UUID, error)
	// Group reads one. ErrNotFound.
	Group(ctx context.Context, t service.Tenant) (*service.Group, error)
	// HasAmounts reports whether any amount of money is on file.
	HasAmounts(ctx context.Context, t service.Tenant) (bool, error)
	// UpdateGroup changes the settings, with an audit row.
	UpdateGroup(ctx context.Context, t service.Tenant, g service.Group) error
	Members(ctx context.Context, t service.Tenant) ([]service.Member, error)
	// CreateMember adds one, with an audit row. ErrConflict: the name is taken.
	CreateMember(ctx context.Context, t service.Tenant, m service.Member) error
	// EndMembership revokes the member's keys and keeps the rows.
	EndMembership(ctx context.Context, t service.Tenant, member uuid.UUID, at time.Time) error
}

// CreateGroup makes a group, its first member and that member's admin key,
// whose text is returned.
func (s *Service) CreateGroup(ctx context.Context, g service.Group, member string) (*service.Group, string, error) {
	if g.ID == uuid.Nil {
		g.ID = service.NewID()
	}
	g.CreatedAt = s.now()
	if err := g.Validate(); err != nil {
		return nil, "", err
	}
	name, err := memberName(member)
	if err != nil {
		return nil, "", err
	}
	first := service.Member{ID: service.NewID(), Name: name, JoinedAt: g.CreatedAt}
	if err := s.store.CreateGroup(ctx, g, first); err != nil {
		return nil, "", fmt.Errorf("create the group: %w", err)
	}
	t := service.Tenant{Group: g.ID, Member: first.ID, At: g.CreatedAt}
	_, secret, err := s.issueKey(ctx, t, NewKey{member: first.ID, Scope: service.ScopeAdmin, Label: "first key"})
	return &g, secret, err
}

// Groups lists all groups, for the commands.
func (s *Service) Groups(ctx context.Context) ([]*service.Group, error) {
	ids, err := s.store.GroupIDs(ctx)
	if err != nil {
		return nil, fmt.Errorf("list the groups: %w", err)
	}
	groups := make([]*service.Group, len(ids))
	for i, id := range ids {
		if groups[i], err = s.store.Group(ctx, service.Tenant{Group: id}); err != nil {
			return nil, fmt.Errorf("read the group %s: %w", id, err)
		}
	}
	return groups, nil
}

// Operator acts for a member as whoever runs the program: with an admin's
// scope and no key. ErrNotFound: no such group or member.
func (s *Service) Operator(ctx context.Context, group uuid.UUID, member string) (*service.Actor, error) {
	g, err := s.store.Group(ctx, service.Tenant{Group: group})
	if service.IsNotFound(err) {
		return nil, service.Refuse(service.ErrNotFound, "there is no group with the id %s", group)
	}
	if err != nil {
		return nil, fmt.Errorf("read the group: %w", err)
	}
	members, err := s.store.Members(ctx, service.Tenant{Group: group})
	if err != nil {
		return nil, fmt.Errorf("read the members: %w", err)
	}
	names := make([]string, 0, len(members))
	for _, m := range members {
		if strings.EqualFold(m.Name, strings.TrimSpace(member)) {
			now := s.now()
			return &service.Actor{Group: g, MemberID: m.ID, Member: m.Name, Scope: service.ScopeAdmin, Now: now, Today: pricing.DateOf(now.In(g.Location()))}, nil
		}
		names = append(names, m.Name)
	}
	return nil, service.Refuse(service.ErrNotFound, "%s has no member named %q; it has %s", g.Name, member, strings.Join(names, ", "))
}

// Operators are whoever runs the program in the place of each member of a
// group. ErrNotFound: no such group.
func (s *Service) Operators(ctx context.Context, group uuid.UUID) ([]*service.Actor, error) {
	members, err := s.store.Members(ctx, service.Tenant{Group: group})
	if err != nil {
		return nil, fmt.Errorf("read the members: %w", err)
	}
	if len(members) == 0 {
		return nil, service.Refuse(service.ErrNotFound, "there is no group with the id %s", group)
	}
	actors := make([]*service.Actor, len(members))
	for i, m := range members {
		if actors[i], err = s.Operator(ctx, group, m.Name); err != nil {
			return nil, err
		}
	}
	return actors, nil
}

// UpdateGroup changes the group's settings: edit alters a copy of them.
func (s *Service) UpdateGroup(ctx context.Context, a *service.Actor, edit func(*service.Group) error) (*service.Group, error) {
	if !a.Can(service.ScopeAdmin) {
		return nil, service.Refuse(service.ErrForbidden, "changing the group needs an admin key")
	}
	g := *a.Group
	if err := edit(&g); err != nil {
		return nil, err
	}
	if err := g.Validate(); err != nil {
		return nil, err
	}
	if g.Currency != a.Group.Currency {
		has, err := s.store.HasAmounts(ctx, a.Tenant())
		if err != nil {
			return nil, fmt.Errorf("look for amounts: %w", err)
		}
		if has {
			return nil, service.Refuse(service.ErrConflict, "the currency cannot change: there are amounts in %s on file", a.Group.Currency.Code)
		}
	}
	if err := s.store.UpdateGroup(ctx, a.Tenant(), g); err != nil {
		return nil, fmt.Errorf("change the group: %w", err)
	}
	return s.store.Group(ctx, a.Tenant())
}

// Members lists the people of the group.
func (s *Service) Members(ctx context.Context, a *service.Actor) ([]service.Member, error) {
	return s.store.Members(ctx, a.Tenant())
}

// CreateMember adds a person.
func (s *Service) CreateMember(ctx context.Context, a *service.Actor, name string) (*service.Member, error) {
	if !a.Can(service.ScopeAdmin) {
		return nil, service.Refuse(service.ErrForbidden, "adding a member needs an admin key")
	}
	name, err := memberName(name)
	if err != nil {
		return nil, err
	}
	m := service.Member{ID: service.NewID(), Name: name, JoinedAt: s.now()}
	if err := s.store.CreateMember(ctx, a.Tenant(), m); err != nil {
		if errors.Is(err, service.ErrConflict) {
			return nil, service.Refuse(service.ErrConflict, "there is already a member named %s", name)
		}
		return nil, fmt.Errorf("add the member: %w", err)
	}
	return &m, nil
}

// EndMembership lets a member go: the rows stay, the keys and webhooks end.
func (s *Service) EndMembership(ctx context.Context, a *service.Actor, member uuid.UUID) error {
	if !a.Can(service.ScopeAdmin) {
		return service.Refuse(service.ErrForbidden, "ending a membership needs an admin key")
	}
	return s.store.EndMembership(ctx, a.Tenant(), member, s.now())
}

func memberName(name string) (string, error) {
	name = strings.TrimSpace(name)
	if name == "" || service.CheckText(name, 60) != nil {
		return "", service.Invalid("name", "give the member a name of at most 60 characters")
	}
	return name, nil
}
