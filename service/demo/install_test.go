package demo_test

import (
	"log/slog"
	"os"
	"testing"
	"time"

	"github.com/google/uuid"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/demo"
)

func TestMain(m *testing.M) {
	code := m.Run()
	dbtest.Stop()
	os.Exit(code)
}

// installed is a service on an empty database, at a time that a test moves.
type installed struct {
	*app.App
	now time.Time
}

func newService(t *testing.T) *installed {
	t.Helper()
	store, err := db.Open(t.Context(), dbtest.New(t).DSN, db.Options{MaxConns: 4})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	s := &installed{now: time.Date(2026, time.March, 31, 18, 0, 0, 0, time.UTC)}
	s.App = app.New(app.Options{Store: store, Now: func() time.Time { return s.now }, Logger: slog.New(slog.DiscardHandler)})
	return s
}

func (s *installed) install(t *testing.T) (key string) {
	t.Helper()
	key, err := demo.Install(t.Context(), s.App, s.now)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func (s *installed) actor(t *testing.T, key string) *service.Actor {
	t.Helper()
	a, err := s.Members.Authenticate(t.Context(), key)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// rows returns the revision of every row.
func (s *installed) rows(t *testing.T, key string) map[uuid.UUID]int64 {
	t.Helper()
	found := map[uuid.UUID]int64{}
	err := s.Recording.EachListing(t.Context(), s.actor(t, key), service.Query{}, func(l *service.Listing) error {
		found[l.ID] = l.Revision
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestInstallMakesEveryGeneratedRow(t *testing.T) {
	t.Parallel()
	s := newService(t)
	key := s.install(t)
	a := s.actor(t, key)
	if a.Scope != service.ScopeAdmin || a.Group.Name != demo.GroupName {
		t.Errorf("the key is %s of %s, want admin of %s", a.Scope, a.Group.Name, demo.GroupName)
	}
	members := demo.Generate(a.Today, demo.Seed)
	want := 0
	for _, m := range members {
		want += len(m.Rows)
	}
	if got := len(s.rows(t, key)); got != want || want < 300 {
		t.Errorf("%d rows, want %d", got, want)
	}
	on, err := s.Members.Members(t.Context(), a)
	if err != nil || len(on) != len(members) {
		t.Errorf("%d members, %v; want %d", len(on), err, len(members))
	}
}

// A week later nothing is added and nothing that a visitor did is undone.
func TestInstallAgainLeavesRowsAlone(t *testing.T) {
	t.Parallel()
	s := newService(t)
	first := s.install(t)
	a := s.actor(t, first)
	open, _, err := s.Recording.Listings(t.Context(), a, service.Query{Member: a.MemberID, Words: map[string][]string{"outcome": {service.OutcomeOpen}}, Limit: 1})
	if err != nil || len(open) != 1 {
		t.Fatalf("%d open listings of the first member, %v", len(open), err)
	}
	if err := s.Recording.Delete(t.Context(), a, open[0].ID, nil); err != nil {
		t.Fatal(err)
	}
	before := s.rows(t, first)

	s.now = s.now.AddDate(0, 0, 7)
	second := s.install(t)
	after := s.rows(t, second)
	if len(after) != len(before) {
		t.Errorf("%d rows, want the %d of before", len(after), len(before))
	}
	for id, revision := range before {
		if after[id] != revision {
			t.Errorf("row %s is at revision %d, want %d", id, after[id], revision)
		}
	}
	if first == second {
		t.Error("the same key twice")
	}
	s.actor(t, first) // lives on
	s.now = s.now.AddDate(0, 0, 24)
	if _, err := s.Members.Authenticate(t.Context(), first); err == nil {
		t.Error("the first key is valid after 31 days, want 30")
	}
	s.actor(t, second)
}

// An installation that broke off is completed, with the dates of its first day.
func TestInstallCompletesWhatBrokeOff(t *testing.T) {
	t.Parallel()
	s := newService(t)
	key := s.install(t)
	a := s.actor(t, key)
	whole := len(s.rows(t, key))
	last := demo.Generate(a.Today, demo.Seed)
	name := last[len(last)-1].Name
	operator, err := s.Members.Operator(t.Context(), a.Group.ID, name)
	if err != nil {
		t.Fatal(err)
	}
	var ids []uuid.UUID
	var newest pricing.Date
	err = s.Recording.EachListing(t.Context(), operator, service.Query{Member: operator.MemberID}, func(l *service.Listing) error {
		ids = append(ids, l.ID)
		newest = max(newest, l.ListedOn)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range ids {
		if err := s.Recording.Delete(t.Context(), operator, id, nil); err != nil {
			t.Fatal(err)
		}
	}
	s.now = s.now.AddDate(0, 0, 3)
	key = s.install(t)
	if got := len(s.rows(t, key)); got != whole {
		t.Errorf("%d rows, want %d", got, whole)
	}
	err = s.Recording.EachListing(t.Context(), s.actor(t, key), service.Query{Member: operator.MemberID}, func(l *service.Listing) error {
		if l.ListedOn > newest {
			t.Errorf("%s was listed on %s, after the first day's newest %s", l.Ref, l.ListedOn, newest)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
