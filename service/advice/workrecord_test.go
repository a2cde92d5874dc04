package advice_test

import (
	"fmt"
	"log/slog"
	"slices"
	"testing"

	"askwright/db"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/servicetest"
)

// What a member's pieces took is read once and then followed: after whatever
// change, a program that was just started learns the same to the last bit.
func TestLearnedRatiosFollowWhatChanges(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	before := refinish.Ratio{}
	check := func(what string, pieces int) {
		t.Helper()
		fresh := app.New(app.Options{Store: store, Now: f.Clock.Now, Logger: slog.New(slog.DiscardHandler)})
		want, err := fresh.Advice.Workshop(t.Context(), f.Actor(t, "Wilda"))
		if err != nil {
			t.Fatal(err)
		}
		got := servicetest.Workshop(t, f, "Wilda")
		if got.Hours != want.Hours || got.Materials != want.Materials || got.Hours.Pieces != pieces || got.Hours == before {
			t.Errorf("%s: %+v and %+v of %d pieces, afresh %+v and %+v", what, got.Hours, got.Materials, pieces, want.Hours, want.Materials)
		}
		before = got.Hours
	}
	for i := range 7 {
		importAll(t, f, "Wilda", finished(1, fmt.Sprintf("W%d", i), float64(5+3*i), float64(8+i)))
	}
	check("seven pieces", 7)
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "W2-0", "category": "nightstand", "hours": "40"})
	check("more hours of one", 7)
	a := f.Actor(t, "Wilda")
	rows, _, err := f.Recording.Listings(t.Context(), a, service.Query{Member: a.MemberID, Limit: 9})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(rows, func(l *service.Listing) bool { return l.Ref == "W4-0" })
	if err := f.Recording.Delete(t.Context(), a, rows[i].ID, nil); err != nil {
		t.Fatal(err)
	}
	check("one deleted", 6)
	importAll(t, f, "Orrin", finished(3, "O", 50, 90))
	importAll(t, f, "Wilda", finished(2, "Y", 31, 9))
	check("two more beside another's", 8)
	_, err = f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error {
		g.MaterialPrices = []service.MaterialPrice{{Product: "paint", Price: 9900, Size: 1, Unit: "qt"}}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	materials := servicetest.Workshop(t, f, "Wilda").Materials
	before = refinish.Ratio{} // prices change no hours
	check("dearer paint", 8)
	if again := servicetest.Workshop(t, f, "Wilda").Materials; again != materials {
		t.Errorf("materials %+v, then %+v", materials, again)
	}
}
