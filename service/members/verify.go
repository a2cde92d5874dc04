package members

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/service"
)

// VerifyStore looks for rows that contradict each other, and removes groups.
type VerifyStore interface {
	// Counts counts the tenant's rows by kind; of what is owner-only, the
	// member's.
	Counts(ctx context.Context, t service.Tenant) (Counts, error)
	// Contradictions tells which of the tenant's rows do not agree, in words.
	Contradictions(ctx context.Context, t service.Tenant) ([]string, error)
	// Unguarded tells what of the schema does not keep groups apart, is not
	// checked, or is not as the migrations make it.
	Unguarded(ctx context.Context) ([]string, error)
	// EachEvent streams the events of the member's own listings, those of a
	// listing together and in the order they were recorded.
	EachEvent(ctx context.Context, t service.Tenant, yield func(service.Event) error) error
	// DeleteGroup removes the tenant's group with all that belongs to it.
	DeleteGroup(ctx context.Context, t service.Tenant) error
}

// Counts are how many there are of each.
type Counts struct {
	Members, Keys, Pieces, Listings, Events, CostLines, Suggestions int
}

// Verified is what was found in one group.
type Verified struct {
	Group  *service.Group // nil: the schema, not a group
	Counts Counts
	Faults []string
}

// Verify checks what no constraint of one row can: that rows of several tables
// agree, and that each listing's events lead to the row as it stands.
func (s *Service) Verify(ctx context.Context) ([]Verified, error) {
	unguarded, err := s.store.Unguarded(ctx)
	if err != nil {
		return nil, fmt.Errorf("look at the schema: %w", err)
	}
	all := []Verified{{Faults: unguarded}}
	groups, err := s.Groups(ctx)
	if err != nil {
		return nil, err
	}
	for _, g := range groups {
		found, err := s.verifyGroup(ctx, g)
		if err != nil {
			return nil, fmt.Errorf("verify %s: %w", g.Name, err)
		}
		all = append(all, *found)
	}
	return all, nil
}

func (s *Service) verifyGroup(ctx context.Context, g *service.Group) (*Verified, error) {
	found := &Verified{Group: g}
	members, err := s.store.Members(ctx, service.Tenant{Group: g.ID})
	if err != nil {
		return nil, err
	}
	for _, m := range members {
		t := service.Tenant{Group: g.ID, Member: m.ID}
		counts, err := s.store.Counts(ctx, t)
		if err != nil {
			return nil, err
		}
		counts.Events += found.Counts.Events // of own listings only, as the lines
		counts.CostLines += found.Counts.CostLines
		found.Counts = counts
		faults, err := s.store.Contradictions(ctx, t)
		if err != nil {
			return nil, err
		}
		for _, fault := range faults { // what is not owner-only is found by each
			if !slices.Contains(found.Faults, fault) {
				found.Faults = append(found.Faults, fault)
			}
		}
		faults, err = s.replayEvents(ctx, g, t)
		if err != nil {
			return nil, err
		}
		found.Faults = append(found.Faults, faults...)
	}
	return found, nil
}

// replayEvents goes back from each of the member's rows through its events:
// what an event says came of it must be what the next one, or the row, has.
func (s *Service) replayEvents(ctx context.Context, g *service.Group, t service.Tenant) ([]string, error) {
	events := make(map[uuid.UUID][]service.Event)
	err := s.store.EachEvent(ctx, t, func(e service.Event) error {
		events[e.ListingID] = append(events[e.ListingID], e)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var faults []string
	err = s.store.EachListing(ctx, t, service.Query{Member: t.Member, Sort: []service.SortKey{{Column: "ref"}}}, func(l *service.Listing) error {
		for _, fault := range replayRow(l, events[l.ID], g.Currency) {
			faults = append(faults, fmt.Sprintf("%s %s: %s", l.Member, l.Ref, fault))
		}
		return nil
	})
	return faults, err
}

// replayRow tells where the events, from the last to the first, do not lead to
// the row.
func replayRow(l *service.Listing, events []service.Event, c service.Currency) (faults []string) {
	if len(events) == 0 || (events[0].Kind != service.EventListed && events[0].Kind != service.EventRecorded) {
		return []string{"no event put it on file"}
	}
	now := make(map[string]string)
	for _, e := range slices.Backward(events) {
		for name, v := range e.Changes {
			column, ok := service.ColumnByName(name)
			if !ok {
				faults = append(faults, fmt.Sprintf("the event %s of %s changed %s, which is no column", e.Kind, e.On, name))
				continue
			}
			after, later := now[name]
			if !later {
				after = column.Recorded(l, c)
			}
			if after != v.New {
				faults = append(faults, fmt.Sprintf("%s was %q after the event %s of %s, but %q follows", name, v.New, e.Kind, e.On, after))
			}
			now[name] = v.Old
		}
	}
	slices.Sort(faults)
	return faults
}

// DeleteGroup removes a group for good, for the command.
func (s *Service) DeleteGroup(ctx context.Context, group uuid.UUID) error {
	if err := s.store.DeleteGroup(ctx, service.Tenant{Group: group}); err != nil {
		return fmt.Errorf("delete the group: %w", err)
	}
	return nil
}
