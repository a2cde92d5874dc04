package recording_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"askwright/service"
	"askwright/service/servicetest"
)

func rowsOfPiece(t *testing.T, f *servicetest.Fixture, of *service.Listing) (rows []string) {
	t.Helper()
	piece, err := f.Recording.Piece(t.Context(), f.Actor(t, of.Member), of.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range piece.Listings {
		rows = append(rows, strings.TrimSpace(fmt.Sprintf("%s %s%s %s %s %s", l.Ref, l.Stage, l.Outcome, l.Finish, l.EndedOn, l.ListedOn)))
	}
	return rows
}

func TestRefinishPutsThePieceToWorkOrOnOffer(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	desk := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	fields := map[string]string{"finish": "clear", "legs": "shortened", "own_price": "390"}
	for _, wantMade := range []bool{true, false, false} { // the same again changes nothing
		made, err := servicetest.Refinish(f, t, "Wilda", desk, "2026-03-20", fields)
		if err != nil || made != wantMade {
			t.Errorf("made %v, %v; want %v", made, err, wantMade)
		}
	}
	if got, want := rowsOfPiece(t, f, desk), []string{"B-1 pulled  2026-03-20 2026-03-01", "B-1-2 on_bench clear"}; !slices.Equal(got, want) {
		t.Errorf("rows %q, want %q", got, want)
	}
	_, err := servicetest.Refinish(f, t, "Wilda", desk, "", map[string]string{"finish": "painted"})
	if !errors.Is(err, service.ErrConflict) || !strings.Contains(err.Error(), "B-1-2 is in the yard") {
		t.Errorf("refinished while at work: %v", err)
	}

	trunk := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-2", "category": "trunk", "finish": "painted", "listed_on": "2026-03-01", "ask": "200", "venues": "porch sale board", "area": "Otterford"})
	servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-2-2")) // takes the next ref
	atOnce := map[string]string{"finish": "waxed", "listed_on": "2026-03-28", "ask": "260", "own_price": "250"}
	if _, err := servicetest.Refinish(f, t, "Wilda", trunk, "2026-03-20", atOnce); err != nil {
		t.Fatal(err)
	}
	if got, want := rowsOfPiece(t, f, trunk), []string{"B-2 pulled painted 2026-03-20 2026-03-01", "B-2-3 open waxed  2026-03-28"}; !slices.Equal(got, want) {
		t.Errorf("rows %q, want %q", got, want)
	}
	piece, err := f.Recording.Piece(t.Context(), f.Actor(t, "Wilda"), trunk.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	if l := piece.Listings[1]; l.Estimate != 25000 || !l.EstimateCounts || l.Venue != "porch sale board" || l.Area != "Otterford" || l.Category != "trunk" {
		t.Errorf("the next listing is %+v", l)
	}
	if made, err := servicetest.Refinish(f, t, "Wilda", trunk, "", atOnce); made || err != nil {
		t.Errorf("the same again a day later: made %v, %v", made, err)
	}
}

// What fails leaves nothing behind: neither half of a refinish is on file.
func TestRefinishIsRefusedWithAReason(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	sold := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "S-1", "category": "desk", "listed_on": "2026-03-01", "ask": "300", "outcome": "sold", "ended_on": "2026-03-05", "sale_price": "280"})
	found := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "F-1", "category": "desk", "stage": "found"})
	work := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "W-1", "category": "desk", "stage": "on_bench"})
	seen := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "O-1", "category": "desk", "source": "observed", "listed_on": "2026-03-01", "ask": "300"})
	open := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	strip := map[string]string{"finish": "clear"}
	for _, test := range []struct {
		of     *service.Listing
		on     string
		fields map[string]string
		kind   error
		want   string
	}{
		{sold, "", strip, service.ErrConflict, "S-1 was sold on 2026-03-05 for 280.00"},
		{found, "", strip, service.ErrConflict, "F-1 is only found"},
		{work, "", strip, service.ErrConflict, "W-1 is in the yard (on_bench)"},
		{seen, "", strip, service.ErrConflict, "O-1 is someone else's"},
		{open, "2026-02-20", strip, nil, "on: 2026-02-20 is before B-1 was listed"},
		{open, "2026-04-20", strip, nil, "on: 2026-04-20 is in the future"},
		{open, "", nil, nil, "finish: says nothing that changes"},
		{open, "", map[string]string{"finish": " ", "legs": ""}, nil, "says nothing that changes"},
		{open, "", map[string]string{"finish": "clear", "ref": "S-1"}, service.ErrConflict, "already a row with the ref S-1"},
		{open, "2026-03-20", map[string]string{"finish": "clear", "listed_on": "2026-03-10", "ask": "1"}, nil, "listed_on: 2026-03-10 is before the refinish"},
		{open, "2026-03-20", map[string]string{"finish": "clear", "ask": "330"}, nil, "listed_on: is missing"},
		{open, "2026-03-20", map[string]string{"finish": "clear", "listed_on": "2026-03-21"}, nil, "ask: is missing"},
		{open, "2026-03-20", map[string]string{"finish": "clear", "width": "30"}, nil, "width: is not a field"},
	} {
		_, err := servicetest.Refinish(f, t, "Wilda", test.of, test.on, test.fields)
		var invalid *service.InvalidError
		ok := errors.As(err, &invalid)
		if test.kind != nil {
			ok = errors.Is(err, test.kind)
		}
		if !ok || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s %q %v: %v, want %q", test.of.Ref, test.on, test.fields, err, test.want)
		}
	}
	if _, err := servicetest.Refinish(f, t, "Orrin", open, "", strip); !errors.Is(err, service.ErrForbidden) {
		t.Errorf("another member's: %v, want forbidden", err)
	}
	if got, want := rowsOfPiece(t, f, open), []string{"B-1 open   2026-03-01"}; !slices.Equal(got, want) {
		t.Errorf("after the refusals %q, want %q", got, want)
	}
}

func TestRefinishOfAWithdrawnListingIsUndoneFromTheEnd(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	cells := servicetest.OpenDesk("B-1")
	cells["outcome"], cells["ended_on"] = "pulled", "2026-03-10"
	row := servicetest.Record(t, f, "Wilda", cells)
	if made, err := servicetest.Refinish(f, t, "Wilda", row, "2026-03-15", map[string]string{"hardware": "replaced"}); err != nil || !made {
		t.Fatal(made, err)
	}
	a := f.Actor(t, "Wilda")
	piece, err := f.Recording.Piece(t.Context(), a, row.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	events, err := f.Recording.Events(t.Context(), a, row.ID)
	if err != nil {
		t.Fatal(err)
	}
	last := events[len(events)-1]
	if last.Kind != service.EventRefinish || piece.Listings[0].EndedOn.String() != "2026-03-10" {
		t.Fatalf("the last event is %+v, ended on %s", last, piece.Listings[0].EndedOn)
	}
	undo := service.NewEvent{Kind: "void", Voids: last.ID}
	if _, err := f.Recording.AddEvent(t.Context(), a, row.ID, undo, nil); !errors.Is(err, service.ErrConflict) || !strings.Contains(err.Error(), "B-1-2") {
		t.Errorf("undone while the next row stands: %v", err)
	}
	if err := f.Recording.Delete(t.Context(), a, piece.Listings[1].ID, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Recording.AddEvent(t.Context(), a, row.ID, undo, nil); err != nil {
		t.Errorf("undone after it was deleted: %v", err)
	}
	if _, err := servicetest.Refinish(f, t, "Wilda", row, "2026-03-15", map[string]string{"hardware": "replaced"}); err != nil {
		t.Errorf("and made again: %v", err)
	}
}

// told writes a piece's story as one member reads it.
func told(t *testing.T, f *servicetest.Fixture, a *service.Actor, piece *service.Piece) string {
	t.Helper()
	story, err := f.History.Story(t.Context(), a, piece)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, e := range story {
		fmt.Fprintf(&out, "%-10s  %-9s  %-6s  %s", e.On, e.Kind, e.Ref, e.Text)
		for i, figure := range e.Figures {
			fmt.Fprintf(&out, "%s%s=%s", []string{"  [", " "}[min(i, 1)], figure.Name, figure.Value)
		}
		if len(e.Figures) > 0 {
			out.WriteByte(']')
		}
		out.WriteByte('\n')
	}
	return out.String()
}

// A piece from find to sale by events, with what was undone, as its owner and
// as others read it.
func TestStory(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	a := f.Actor(t, "Wilda")
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "C-1", "category": "chest_of_drawers", "wood": "oak", "stage": "found"})
	patch := func(id *service.Listing, cells service.Cells) {
		t.Helper()
		if _, err := f.Recording.Patch(t.Context(), a, id.ID, cells, nil); err != nil {
			t.Fatal(err)
		}
	}
	add := func(l *service.Listing, e service.NewEvent) *service.Change {
		t.Helper()
		change, err := f.Recording.AddEvent(t.Context(), a, l.ID, e, nil)
		if err != nil {
			t.Fatal(err)
		}
		return change
	}
	patch(row, service.Cells{"stage": "bought", "bought_on": "2026-03-31", "bought_from": "thrift", "condition_found": "fair", "purchase_cost": "40", "pickup_cost": "7.50"})
	f.Clock.Advance(2)
	a = f.Actor(t, "Wilda")
	patch(row, service.Cells{"stage": "on_bench", "hours": "6.5", "materials_cost": "22"})
	f.Clock.Advance(5)
	a = f.Actor(t, "Wilda")
	patch(row, service.Cells{"finish": "painted", "color": "navy", "condition": "good", "listed_on": "2026-04-07", "ask": "300", "own_price": "310"})
	f.Clock.Advance(20)
	a = f.Actor(t, "Wilda")
	add(row, service.NewEvent{Kind: "pause", On: "2026-04-10", Fields: map[string]string{"until": "2026-04-14"}})
	wrong := add(row, service.NewEvent{Kind: "ask", On: "2026-04-16", Fields: map[string]string{"ask": "100"}})
	add(row, service.NewEvent{Kind: "void", Voids: wrong.Events[0].ID})
	add(row, service.NewEvent{Kind: "ask", On: "2026-04-20", Fields: map[string]string{"ask": "270"}})
	add(row, service.NewEvent{Kind: "offer", On: "2026-04-21", Fields: map[string]string{"amount": "150", "note": "cash today"}})
	add(row, service.NewEvent{Kind: "interest", On: "2026-04-22", Fields: map[string]string{"views": "140", "messages": "1"}})
	if _, err := f.Recording.Refinish(t.Context(), a, row.PieceID, service.NewEvent{On: "2026-04-23", Fields: map[string]string{
		"finish": "clear", "color": "light_wood", "hardware": "replaced", "top": "new boards", "listed_on": "2026-04-26", "ask": "340"}}, nil); err != nil {
		t.Fatal(err)
	}
	piece, err := f.Recording.Piece(t.Context(), a, row.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	next := piece.Listings[1]
	patch(next, service.Cells{"notes": "Never navy again."})
	add(next, service.NewEvent{Kind: "sold", Fields: map[string]string{"sale_price": "330", "sold_venue": "porch sale board"}})
	if piece, err = f.Recording.Piece(t.Context(), a, row.PieceID); err != nil {
		t.Fatal(err)
	}
	others, err := f.Recording.Piece(t.Context(), f.Actor(t, "Orrin"), row.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	feed := f.Actor(t, "Wilda")
	feed.Scope = service.ScopeFeed
	servicetest.Golden(t, "story.txt", "As the owner reads it:\n"+told(t, f, a, piece)+"\nAs another member does:\n"+told(t, f, f.Actor(t, "Orrin"), others))
	if got, want := told(t, f, feed, piece), told(t, f, f.Actor(t, "Orrin"), others); got != want {
		t.Errorf("a feed key reads\n%s\nwant what others read\n%s", got, want)
	}
	if got := piece.DaysOwned(a.Today); got != 27 {
		t.Errorf("owned %d days, want 27", got)
	}
}
