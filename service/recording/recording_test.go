package recording_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/members"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

const someRows = `ref,piece_ref,category,listed_on,ask,outcome,ended_on,sale_price,purchase_cost,own_price
B-1,,sideboard,2026-01-05,480,sold,2026-02-01,450,80,500
B-2,,desk,2026-02-01,200,,,,40,210
B-3,B-2,desk,2026-02-20,220,,,,,
B-4,,desk,2026-02-30,220,,,,,
,,,,,,,,,
B-1,,desk,2026-02-03,220,,,,,
B-6,,dresser,,,,,,55,
`

func TestImportRejectsBadRowsAndKeepsTheGood(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	rows := servicetest.Rows(t, someRows)
	dry, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), rows, recording.ImportOptions{DryRun: true})
	if err != nil {
		t.Fatal(err)
	}
	got, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), rows, recording.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Received != 6 || got.Created != 2 || got.Rejected != 4 || got.NothingLanded {
		t.Errorf("result %+v; want 6 received, 2 created, 4 rejected", got)
	}
	if dry.Received != got.Received || dry.Created != got.Created || dry.Rejected != got.Rejected {
		t.Errorf("dry run %+v differs from %+v", dry, got)
	}
	want := []struct {
		row    int
		column string
		reason string
	}{{3, "piece_ref", "still offered as B-2"}, {4, "listed_on", "calendar"}, {6, "ref", "row 1"}, {7, "stage", "missing"}}
	for i, w := range want {
		if i >= len(got.Errors) || got.Errors[i].Row != w.row || got.Errors[i].Column != w.column || !strings.Contains(got.Errors[i].Reason, w.reason) {
			t.Errorf("errors %+v; want %+v at %d", got.Errors, w, i)
		}
	}
	again, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), servicetest.Rows(t, strings.Join(strings.SplitAfter(someRows, "\n")[:3], "")), recording.ImportOptions{})
	if err != nil || again.Unchanged != 2 || again.Created+again.Updated+again.Rejected != 0 {
		t.Errorf("sent again: %+v, %v; want both unchanged", again, err)
	}
}

func TestAtomicImportIsAllOrNothing(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	got, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), servicetest.Rows(t, someRows), recording.ImportOptions{Atomic: true})
	if err != nil || got.Created != 0 || got.Rejected != 4 || !got.NothingLanded {
		t.Fatalf("result %+v, %v; want nothing landed", got, err)
	}
	rows, _, err := f.Recording.Listings(t.Context(), f.Actor(t, "Wilda"), service.Query{Limit: 10})
	if err != nil || len(rows) != 0 {
		t.Errorf("%d rows on file, %v; want none", len(rows), err)
	}
}

func TestARelistingMayStandBeforeTheEndInOneFile(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	got, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), servicetest.Rows(t, `ref,piece_ref,category,listed_on,ask,outcome,ended_on
B-1-2,B-1,desk,2026-03-20,280,,
B-1,,desk,2026-03-01,300,pulled,2026-03-18
`), recording.ImportOptions{})
	if err != nil || got.Created != 1 || got.Updated != 1 {
		t.Fatalf("result %+v, %v; want one created, one updated", got, err)
	}
}

func TestEventsChangeTheRowAndCanBeUndone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	id := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1")).ID
	act := func(e service.NewEvent) *service.Change {
		t.Helper()
		change, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), id, e, nil)
		if err != nil {
			t.Fatalf("%+v: %v", e, err)
		}
		return change
	}
	act(service.NewEvent{Kind: "ask", On: "2026-03-10", Fields: map[string]string{"ask": "270"}})
	act(service.NewEvent{Kind: "pause", On: "2026-03-12"})
	act(service.NewEvent{Kind: "resume", On: "2026-03-15"})
	act(service.NewEvent{Kind: "interest", On: "2026-03-16", Fields: map[string]string{"messages": "4"}})
	act(service.NewEvent{Kind: "offer", Fields: map[string]string{"amount": "200", "note": "can come today"}})
	sold := act(service.NewEvent{Kind: "sold", On: "2026-03-20", Fields: map[string]string{"sale_price": "255"}})
	if l := sold.New; l.Outcome != service.OutcomeSold || l.SalePrice != 25500 || l.CurrentAsk() != 27000 || len(l.Pauses) != 1 || *l.Messages != 4 {
		t.Fatalf("row after the events: %+v", l)
	}
	if _, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), id, service.NewEvent{Kind: "ask", Fields: map[string]string{"ask": "1"}}, nil); !errors.Is(err, service.ErrConflict) {
		t.Errorf("an ask on a sold listing: %v, want a conflict", err)
	}
	events, err := f.Recording.Events(t.Context(), f.Actor(t, "Wilda"), id)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	var soldID uuid.UUID
	for _, e := range events {
		kinds = append(kinds, e.Kind)
		if e.Kind == service.EventSold {
			soldID = e.ID
		}
	}
	if want := []string{"listed", "ask", "pause", "pause", "interest", "offer", "sold"}; !slices.Equal(kinds, want) {
		t.Errorf("events %v, want %v", kinds, want)
	}
	undone := act(service.NewEvent{Kind: "void", Voids: soldID})
	if l := undone.New; l.Outcome != service.OutcomeOpen || l.SalePrice != 0 || !l.EndedOn.IsZero() {
		t.Errorf("row after the undo: %+v", l)
	}
	if _, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), id, service.NewEvent{Kind: "void", Voids: soldID}, nil); !errors.Is(err, service.ErrConflict) {
		t.Errorf("undone twice: %v, want a conflict", err)
	}
}

func TestOwnersColumnsStayTheirs(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	row := servicetest.Record(t, f, "Orrin", servicetest.OpenDesk("B-1"))
	ctx, admin := t.Context(), f.Actor(t, "Wilda")

	seen, err := f.Recording.Listing(ctx, admin, row.ID)
	if err != nil || seen.Estimate != 0 || len(seen.Ledger.Costs) != 0 {
		t.Fatalf("another member sees %+v, %v", seen, err)
	}
	if _, err := f.Recording.Patch(ctx, admin, row.ID, service.Cells{"purchase_cost": "1"}, nil); err == nil {
		t.Error("an admin key wrote another member's ledger")
	}
	if _, err := f.Recording.Patch(ctx, admin, row.ID, service.Cells{"finish": "painted"}, nil); err != nil {
		t.Errorf("an admin key may correct a shared column: %v", err)
	}
	own, err := f.Recording.Listing(ctx, f.Actor(t, "Orrin"), row.ID)
	if err != nil || own.Estimate != 32000 || own.Ledger.Costs[service.CostPurchase] != 5000 || own.Finish != "painted" {
		t.Errorf("after the correction the owner has %+v, %v", own, err)
	}
	if _, err := f.Recording.Patch(ctx, f.Actor(t, "Orrin"), servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1")).ID, service.Cells{"finish": "raw"}, nil); !errors.Is(err, service.ErrForbidden) {
		t.Errorf("a write key changed another member's row: %v", err)
	}
}

func TestGroupsNeverMeet(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	row := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	f.AddGroup(t, "Orrin")
	a := f.Actor(t, "Orrin")
	if _, err := f.Recording.Listing(t.Context(), a, row.ID); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("another group's row: %v, want not found", err)
	}
	if err := f.Recording.Delete(t.Context(), a, row.ID, nil); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("deleting another group's row: %v, want not found", err)
	}
	if rows, _, err := f.Recording.Listings(t.Context(), a, service.Query{Limit: 10}); err != nil || len(rows) != 0 {
		t.Errorf("sees %d rows of another group, %v", len(rows), err)
	}
}

func TestKeysEndAtOnce(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	a := f.Actor(t, "Orrin")
	if _, _, err := f.Members.CreateKey(t.Context(), a, members.NewKey{Scope: service.ScopeAdmin}); !errors.Is(err, service.ErrForbidden) {
		t.Errorf("a write key made an admin key: %v", err)
	}
	if err := f.Members.RevokeKey(t.Context(), a, a.KeyID); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Members.Authenticate(t.Context(), f.Keys["Orrin"]); !errors.Is(err, service.ErrUnauthenticated) {
		t.Errorf("a revoked key: %v", err)
	}
}

func TestARevisionGuardsAgainstOverwriting(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	row := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	seen := row.Revision
	if _, err := f.Recording.Patch(t.Context(), f.Actor(t, "Wilda"), row.ID, service.Cells{"ask": "290"}, &seen); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Recording.Patch(t.Context(), f.Actor(t, "Wilda"), row.ID, service.Cells{"ask": "280"}, &seen); !errors.Is(err, service.ErrStale) {
		t.Errorf("a second change from the same revision: %v, want stale", err)
	}
	got, err := f.Recording.Import(t.Context(), f.Actor(t, "Wilda"), servicetest.Rows(t, "ref,category,ask,revision\nB-1,desk,270,1\n"), recording.ImportOptions{})
	if err != nil || got.Rejected != 1 || got.Errors[0].Column != "revision" {
		t.Errorf("a row with an old revision: %+v, %v", got, err)
	}
}

func TestCurrencyIsFixedByTheFirstAmount(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	toEuro := func(g *service.Group) error { g.Currency, _ = service.CurrencyByCode("EUR"); return nil }
	servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	if _, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), toEuro); !errors.Is(err, service.ErrConflict) {
		t.Errorf("the currency changed although there are amounts: %v", err)
	}
}

func TestPagesMeetWithoutGapsOrRepeats(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	a := f.Actor(t, servicetest.FirstMember(f))
	for _, sort := range [][]service.SortKey{nil, {{Column: "listed_on", Descending: true}}, {{Column: "sale_price"}, {Column: "ref", Descending: true}}} {
		q := service.Query{Sort: sort, Limit: 37}
		seen := map[uuid.UUID]bool{}
		for {
			rows, more, err := f.Recording.Listings(t.Context(), a, q)
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range rows {
				if seen[l.ID] {
					t.Fatalf("%v: %s twice", sort, l.Ref)
				}
				seen[l.ID] = true
			}
			if !more {
				break
			}
			last := rows[len(rows)-1]
			q.AfterID, q.After = last.ID, nil
			for _, k := range sort {
				c, _ := service.ColumnByName(k.Column)
				q.After = append(q.After, c.Value(last, a.Group.Currency))
			}
		}
		all := 0
		if err := f.Recording.EachListing(t.Context(), a, service.Query{}, func(*service.Listing) error { all++; return nil }); err != nil {
			t.Fatal(err)
		}
		if len(seen) != all || all < 300 {
			t.Errorf("%v: pages hold %d of %d rows", sort, len(seen), all)
		}
	}
}

// An admin key cannot read the owner's ledger, so no audit could keep it.
func TestOnlyTheOwnerDeletesARow(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	row := servicetest.Record(t, f, "Orrin", servicetest.OpenDesk("B-1"))
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Wilda"), row.ID, nil); !errors.Is(err, service.ErrForbidden) {
		t.Errorf("an admin key deleted another member's row: %v", err)
	}
	own, err := f.Recording.Listing(t.Context(), f.Actor(t, "Orrin"), row.ID)
	if err != nil || own.Ledger.Costs[service.CostPurchase] != 5000 {
		t.Errorf("the owner has %+v, %v", own, err)
	}
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Orrin"), row.ID, nil); err != nil {
		t.Errorf("the owner's own: %v", err)
	}
}

func TestAReviewOfAnEarlierDayShowsThatDaysAsk(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	cells := servicetest.OpenDesk("B-1")
	cells["ask"], cells["ask_history"] = "250", "2026-03-01:300;2026-03-20:250"
	servicetest.Record(t, f, "Wilda", cells)
	for day, want := range map[int]service.Money{10: 30000, 19: 30000, 20: 25000, 31: 25000} {
		reviews, err := f.Advice.Reviews(t.Context(), f.Actor(t, "Wilda"), advice.ReviewQuery{AsOf: pricing.NewDate(2026, time.March, day)})
		if err != nil || len(reviews) != 1 || reviews[0].Ask != want {
			t.Errorf("on March %d: %+v, %v; want the ask %d", day, reviews, err, want)
		}
	}
}
