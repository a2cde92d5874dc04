package db_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/db"
	"askwright/service"
	"askwright/service/recording"
	"askwright/service/servicetest"
)

func TestEveryWriteTakesTheNextChangeNumber(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	admin := connect(t, f.DB.AdminDSN, "")
	last := f.Actor(t, "Wilda").Group.ChangeNo
	next := func(what string) {
		t.Helper()
		got := f.Actor(t, "Wilda").Group.ChangeNo
		if got != last+1 {
			t.Errorf("%s: change number %d, want %d", what, got, last+1)
		}
		last = got
	}
	importRows(t, f, "Wilda", someRows)
	next("an import")
	row := rowByRef(t, f, "Wilda", "R-1")
	if row.ChangeNo != last {
		t.Errorf("the row is stamped %d, want %d", row.ChangeNo, last)
	}
	if got := column[int64](t, admin, "select distinct change_no from event union select distinct change_no from cost_line"); len(got) != 1 || got[0] != last {
		t.Errorf("events and lines are stamped %v, want %d", got, last)
	}
	untouched := rowByRef(t, f, "Wilda", "R-2").ChangeNo
	if _, err := f.Recording.Patch(t.Context(), f.Actor(t, "Wilda"), row.ID, service.Cells{"ask": "280"}, nil); err != nil {
		t.Fatal(err)
	}
	next("a patch")
	if row = rowByRef(t, f, "Wilda", "R-1"); row.ChangeNo != last {
		t.Errorf("the row is stamped %d, want %d", row.ChangeNo, last)
	}
	if got := rowByRef(t, f, "Wilda", "R-2").ChangeNo; got != untouched {
		t.Errorf("a row that was not touched is stamped %d, want %d", got, untouched)
	}
	if _, err := f.Members.CreateMember(t.Context(), f.Actor(t, "Wilda"), "Tamsin"); err != nil {
		t.Fatal(err)
	}
	next("a member")
	first, _, _ := strings.Cut(someRows, "R-2")
	importRows(t, f, "Wilda", first) // R-1 as it was: a new ask
	next("an import of a change")
	importRows(t, f, "Wilda", someRows)
	if got := f.Actor(t, "Wilda").Group.ChangeNo; got != last {
		t.Errorf("an import that changes nothing: change number %d, want %d", got, last)
	}
}

func TestDeletionLeavesAnAuditRow(t *testing.T) {
	t.Parallel()
	f := filled(t)
	admin := connect(t, f.DB.AdminDSN, "")
	row := rowByRef(t, f, "Orrin", "R-1")
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Orrin"), row.ID, nil); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"listing", "event", "ledger", "cost_line"} {
		if n := value[int](t, admin, "select count(*) from "+table+" where listing_id = $1", row.ID); n != 0 {
			t.Errorf("%d rows of the listing are left in %s", n, table)
		}
	}
	if n := value[int](t, admin, "select count(*) from piece where piece_id = $1", row.PieceID); n != 0 {
		t.Error("the piece is left without a row")
	}
	var owner uuid.UUID
	var changeNo int64
	var detail string
	err := admin.QueryRow(t.Context(), "select owner_id, change_no, detail::text from audit where what = 'listing deleted' and subject = $1", row.ID).Scan(&owner, &changeNo, &detail)
	if err != nil {
		t.Fatal(err)
	}
	if a := f.Actor(t, "Orrin"); owner != a.MemberID || changeNo != a.Group.ChangeNo {
		t.Errorf("audit row of %s at %d, want the owner's %s at %d", owner, changeNo, a.MemberID, a.Group.ChangeNo)
	}
	if !strings.Contains(detail, "from a barn") || !strings.Contains(detail, "R-1") {
		t.Errorf("the audit keeps %s; want the whole row", detail)
	}
	if _, err := f.Recording.Listing(t.Context(), f.Actor(t, "Orrin"), row.ID); !errors.Is(err, service.ErrNotFound) {
		t.Errorf("reading it: %v, want not found", err)
	}
}

func TestAFailedWriteLeavesNothing(t *testing.T) {
	t.Parallel()
	f := filled(t)
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	admin := connect(t, f.DB.AdminDSN, "")
	all := tables(t, admin)
	before, changeNo := counts(t, admin, all), f.Actor(t, "Wilda").Group.ChangeNo
	a, row := f.Actor(t, "Wilda"), rowByRef(t, f, "Wilda", "R-1")

	boom := errors.New("boom")
	err = store.Write(t.Context(), a.Tenant(), func(w recording.Writer) error {
		if err := w.Delete(t.Context(), row); err != nil {
			return err
		}
		return boom
	})
	if !errors.Is(err, boom) {
		t.Errorf("error %v, want the one of the write", err)
	}
	// The second of two rows breaks a constraint.
	good, bad := *row, *row
	good.ID, good.PieceID, good.Ref, good.PieceRef = uuid.New(), uuid.New(), "R-8", "R-8"
	bad.ID, bad.PieceID, bad.Ref, bad.PieceRef = uuid.New(), uuid.New(), "R-1", "R-9"
	good.Ledger, bad.Ledger = service.Ledger{}, service.Ledger{}
	err = store.Write(t.Context(), a.Tenant(), func(w recording.Writer) error {
		return w.Save(t.Context(), []*service.Change{{New: &good, NewPiece: true}, {New: &bad, NewPiece: true}})
	})
	if !errors.Is(err, service.ErrConflict) || !strings.Contains(err.Error(), "ref is taken") {
		t.Errorf("a ref that is taken: %v, want a conflict that says so", err)
	}
	for table, n := range counts(t, admin, all) {
		if n != before[table] {
			t.Errorf("%s has %d rows, want the %d of before", table, n, before[table])
		}
	}
	if got := f.Actor(t, "Wilda").Group.ChangeNo; got != changeNo {
		t.Errorf("change number %d, want %d", got, changeNo)
	}
}

// Members who import at the same time both land, each in one change.
func TestWritersOfAGroupTakeTurns(t *testing.T) {
	t.Parallel()
	names := []string{"Wilda", "Orrin", "Tamsin", "Jory"}
	f := servicetest.New(t, names...)
	start := f.Actor(t, "Wilda").Group.ChangeNo
	const rows = 700 // more than one batch
	var group errgroup.Group
	for _, name := range names {
		actor := f.Actor(t, name)
		var b strings.Builder
		b.WriteString("ref,category,listed_on,ask\n")
		for i := range rows {
			fmt.Fprintf(&b, "%s-%d,desk,2026-03-01,%d\n", name, i, 100+i)
		}
		source := servicetest.Rows(t, b.String())
		group.Go(func() error {
			got, err := f.Recording.Import(t.Context(), actor, source, recording.ImportOptions{})
			if err == nil && got.Created != rows {
				err = fmt.Errorf("%s: %+v, want %d created", name, got, rows)
			}
			return err
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	admin := connect(t, f.DB.AdminDSN, "")
	got := column[int64](t, admin, "select distinct change_no from listing order by 1")
	if len(got) != len(names) || got[0] != start+1 || got[len(got)-1] != start+int64(len(names)) {
		t.Errorf("changes %v, want %d in a row after %d", got, len(names), start)
	}
	if n := value[int](t, admin, "select count(*) from listing"); n != rows*len(names) {
		t.Errorf("%d rows, want %d", n, rows*len(names))
	}
	if n := value[int](t, admin, "select count(*) from (select change_no from listing group by change_no having count(distinct member_id) > 1) mixed"); n != 0 {
		t.Error("a change holds rows of two members")
	}
}
