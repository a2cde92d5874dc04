// Package servicetest gives tests a service on a database of its own, with a
// clock that stands still. Only tests import it.
package servicetest

import (
	"bytes"
	"context"
	"encoding/csv"
	"log/slog"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/demo"
	"askwright/service/recording"
	"askwright/service/webhook"
)

// Today is the group's local day in tests, unless a test moves the clock.
var Today = pricing.NewDate(2026, time.March, 31)

// Fixture is a service with one group whose members hold a key each.
type Fixture struct {
	*app.App
	DB       dbtest.DB
	Clock    *Clock
	Registry *prometheus.Registry
	Keys     map[string]string // by member
	Post     webhook.Post      // what sends to webhooks: a test that has any sets it
}

// Clock is a clock that a test moves.
type Clock struct{ at time.Time }

// Now is the clock's time.
func (c *Clock) Now() time.Time { return c.at }

// AdvanceBy moves the clock by less than that.
func (c *Clock) AdvanceBy(d time.Duration) { c.at = c.at.Add(d) }

// Advance moves the clock by days.
func (c *Clock) Advance(days int) { c.at = c.at.AddDate(0, 0, days) }

// New returns a service and an empty group in USD, inches and Chicago, whose
// first member is the first name, with an admin key; the others get write keys.
func New(tb testing.TB, members ...string) *Fixture {
	tb.Helper()
	ctx := tb.Context()
	d := dbtest.New(tb)
	store, err := db.Open(ctx, d.DSN, db.Options{MaxConns: 4})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(store.Close)
	clock := &Clock{at: Today.Time().Add(18 * time.Hour)} // noon in Chicago
	registry := prometheus.NewRegistry()
	f := &Fixture{
		DB: d, Clock: clock, Registry: registry, Keys: map[string]string{},
	}
	f.App = app.New(app.Options{
		Store: store, Now: clock.Now, Logger: slog.New(slog.DiscardHandler), Registry: registry,
		Post: func(ctx context.Context, url string, headers map[string]string, body []byte) (webhook.PostAnswer, error) {
			return f.Post(ctx, url, headers, body)
		},
		Random: func() float64 { return 0.5 }, // no jitter
	})
	f.AddGroup(tb, members...)
	return f
}

// AddGroup makes a group and keys for its members; Keys of the same names are
// replaced.
func (f *Fixture) AddGroup(tb testing.TB, members ...string) {
	tb.Helper()
	usd, _ := service.CurrencyByCode("USD")
	g := service.NewGroup("Test group", usd)
	g.Unit, g.TimeZone = service.UnitInch, "America/Chicago"
	if len(members) == 0 {
		members = []string{"Wilda"}
	}
	_, admin, err := f.Members.CreateGroup(tb.Context(), g, members[0])
	if err != nil {
		tb.Fatal(err)
	}
	f.Keys[members[0]] = admin
	for _, name := range members[1:] {
		f.AddMember(tb, members[0], name)
	}
}

// AddMember takes somebody into the group of a member with an admin key.
func (f *Fixture) AddMember(tb testing.TB, by, name string) {
	tb.Helper()
	_, invitation, err := f.Members.Invite(tb.Context(), f.Actor(tb, by), name, service.ScopeWrite)
	if err != nil {
		tb.Fatal(err)
	}
	if _, f.Keys[name], err = f.Members.Redeem(tb.Context(), invitation); err != nil {
		tb.Fatal(err)
	}
}

// Actor authenticates a member afresh, as each request does.
func (f *Fixture) Actor(tb testing.TB, member string) *service.Actor {
	tb.Helper()
	a, err := f.Members.Authenticate(tb.Context(), f.Keys[member])
	if err != nil {
		tb.Fatal(err)
	}
	return a
}

// Select runs a query of one text column as a superuser, who sees all groups.
func (f *Fixture) Select(tb testing.TB, sql string) []string {
	tb.Helper()
	ctx := context.WithoutCancel(tb.Context())
	conn, err := pgx.Connect(ctx, f.DB.AdminDSN)
	if err != nil {
		tb.Fatal(err)
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, sql)
	if err != nil {
		tb.Fatal(err)
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

// Rows is a source of rows given as text: a CSV with a header.
func Rows(tb testing.TB, text string) recording.RowSource {
	tb.Helper()
	records, err := csv.NewReader(bytes.NewBufferString(text)).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	return func(yield func(recording.Row) error) error {
		for i, record := range records[1:] {
			cells := service.Cells{}
			for j, name := range records[0] {
				cells[name] = record[j]
			}
			if err := yield(recording.Row{Number: i + 1, Cells: cells}); err != nil {
				return err
			}
		}
		return nil
	}
}

// Demo returns a fixture with the demo group's rows on file.
func Demo(tb testing.TB) *Fixture {
	tb.Helper()
	generated := demo.Generate(Today, 1)
	names := make([]string, len(generated))
	for i, m := range generated {
		names[i] = m.Name
	}
	f := New(tb, names...)
	for _, m := range generated {
		result, err := f.Recording.Import(context.WithoutCancel(tb.Context()), f.Actor(tb, m.Name), demo.Source(m.Rows), recording.ImportOptions{})
		if err != nil {
			tb.Fatal(err)
		}
		if result.Rejected > 0 {
			tb.Fatalf("demo rows of %s were rejected: %+v", m.Name, result.Errors)
		}
	}
	return f
}
