package servicetest

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/history"
	"askwright/service/recording"
)

// TextOf is the text to post of a listing.
func TextOf(t *testing.T, f *Fixture, l *service.Listing) *history.ListingText {
	t.Helper()
	text, err := f.History.ListingText(t.Context(), f.Actor(t, "Wilda"), l.ID)
	if err != nil {
		t.Fatalf("%s: %v", l.Ref, err)
	}
	return text
}

// Update is the flag -update of the tests that have golden files.
var Update = flag.Bool("update", false, "write the golden files")

// Golden compares text with a file of testdata.
func Golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *Update {
		if err := os.WriteFile(path, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil || got != string(want) {
		t.Errorf("%s: got\n%s\nwant (%v)\n%s", path, got, err, want)
	}
}

// Refinish gives the piece of a listing another look.
func Refinish(f *Fixture, t *testing.T, member string, of *service.Listing, on string, fields map[string]string) (bool, error) {
	t.Helper()
	return f.Recording.Refinish(t.Context(), f.Actor(t, member), of.PieceID, service.NewEvent{On: on, Fields: fields}, nil)
}

// Suggest asks for suggestions as a member.
func Suggest(t *testing.T, f *Fixture, member string, subjects ...advice.Subject) []advice.Suggestion {
	t.Helper()
	answers, err := f.Advice.Suggest(t.Context(), f.Actor(t, member), subjects, 30)
	if err != nil {
		t.Fatal(err)
	}
	return answers
}

// SellDesks puts n sold desks on file, a month back and older.
func SellDesks(t *testing.T, f *Fixture, member string, n int) {
	t.Helper()
	rows := "ref,category,width,depth,height,finish,listed_on,ask,outcome,ended_on,sale_price\n"
	for i := range n {
		listed := Today - 60 - pricing.Date(5*i)
		finish := []string{"painted", "clear"}[i%2]
		rows += fmt.Sprintf("D-%d,desk,48,24,30,%s,%s,%d,sold,%s,%d\n", i, finish, listed, 300+10*(i%5), listed+pricing.Date(5+i%20), 280+10*(i%5))
	}
	result, err := f.Recording.Import(t.Context(), f.Actor(t, member), Rows(t, rows), recording.ImportOptions{})
	if err != nil || result.Rejected > 0 {
		t.Fatalf("import: %+v, %v", result, err)
	}
}

// Record puts one row on file as a member.
func Record(t *testing.T, f *Fixture, member string, cells service.Cells) *service.Listing {
	t.Helper()
	change, err := f.Recording.Record(t.Context(), f.Actor(t, member), cells)
	if err != nil {
		t.Fatalf("%v: %v", cells, err)
	}
	return change.New
}

// OpenDesk is the row of a desk on offer.
func OpenDesk(ref string) service.Cells {
	return service.Cells{"ref": ref, "category": "desk", "listed_on": "2026-03-01", "ask": "300", "own_price": "320", "purchase_cost": "50"}
}

// FirstMember is any member with a key.
func FirstMember(f *Fixture) string {
	for name := range f.Keys {
		return name
	}
	return ""
}

// Workshop is what a member's own record says of work.
func Workshop(t *testing.T, f *Fixture, member string) *advice.Workshop {
	t.Helper()
	w, err := f.Advice.Workshop(t.Context(), f.Actor(t, member))
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// Nightstand is a small piece of known size.
func Nightstand() *service.Listing {
	return &service.Listing{Category: "nightstand", Width: 22, Depth: 16, Height: 26, Unit: "in", Material: "solid_wood", Wood: "maple", Condition: 3, Finish: "original"}
}

// UnlistedRow puts a piece on file and takes it to a state: a stage, "open",
// "pulled", "sold", "passed" or "retired".
func UnlistedRow(t *testing.T, f *Fixture, ref, state string) *service.Listing {
	t.Helper()
	cells := service.Cells{"ref": ref, "category": "desk"}
	switch state {
	case "passed":
		cells["stage"], cells["closed_as"], cells["closed_on"] = "found", "price", "2026-03-10"
	case "retired":
		cells["stage"], cells["closed_as"], cells["closed_on"] = "bought", "kept", "2026-03-10"
	case "open", "pulled", "sold":
		cells["listed_on"], cells["ask"] = "2026-03-01", "300"
		if state != "open" {
			cells["outcome"], cells["ended_on"] = state, "2026-03-09"
		}
		if state == "sold" {
			cells["sale_price"] = "280"
		}
	default:
		cells["stage"] = state
	}
	return Record(t, f, "Wilda", cells)
}
