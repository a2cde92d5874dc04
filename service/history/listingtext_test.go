package history_test

import (
	"errors"
	"strings"
	"testing"

	"askwright/service"
	"askwright/service/servicetest"
)

// The texts of rows with much and with little in them, word for word.
func TestListingTexts(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	var out strings.Builder
	for _, cells := range []service.Cells{
		{"ref": "all", "category": "sideboard", "width": "62 1/2", "depth": "18", "height": "32", "material": "veneer", "wood": "walnut", "style": "mid_century",
			"year_made": "1962", "condition": "very_good", "finish": "waxed", "color": "dark_wood", "hardware": "polished", "drawers": "3", "doors": "2",
			"maker": "Otterford Joinery", "flaws": "a ring on the top;\nleft door sticks!", "smell": "faint, of wax", "area": "Otterford", "listed_on": "2026-03-01", "ask": "480",
			"own_price": "475", "purchase_cost": "90", "notes": "for me"},
		{"ref": "little", "category": "desk", "stage": "on_bench"},
		{"ref": "metric", "category": "chest of drawers", "width": "90", "height": "75.5", "unit": "cm", "wood": "pine", "finish": "painted", "color": "off white", "topcoat": "water_clear", "sheen": "semi gloss", "stage": "bought"},
		{"ref": "chairs", "category": "dining_chair", "set_size": "6", "width": "18", "depth": "20", "height": "36", "wood": "oak", "style": "traditional", "finish": "two_tone", "color": "white", "second_finish": "clear", "second_color": "light_wood", "stage": "on_bench"},
		{"ref": "mixed", "category": "dining_table", "set_items": "dining_table:1;dining_chair:4;bench:1", "width": "60", "wood": "unknown_hardwood", "finish": "stained", "color": "brown", "hardware": "none", "stage": "on_bench"},
		{"ref": "own words", "category": "plant stand", "material": "MDF", "finish": "limed", "color": "mint", "hardware": "brass", "topcoat": "varnish", "drawers": "0", "listed_on": "2026-03-01", "ask": "30"},
		{"ref": "long", "category": "wardrobe", "wood": "mahogany", "style": "A very long style of which nobody has ever heard but its owner, who writes it all down", "width": "45", "finish": "stained", "stage": "on_bench"},
	} {
		text := servicetest.TextOf(t, f, servicetest.Record(t, f, "Wilda", cells))
		out.WriteString("== " + cells["ref"] + "\n" + text.Title + "\n\n" + text.Description + "\n\n")
	}
	servicetest.Golden(t, "listingtext.txt", out.String())
}

// What was done to legs and top is told by refinishes and stays with the piece.
func TestListingTextTellsWhatWasDone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	row := servicetest.Record(t, f, "Wilda", servicetest.OpenDesk("B-1"))
	if _, err := servicetest.Refinish(f, t, "Wilda", row, "2026-03-10", map[string]string{"finish": "clear", "top": "planed, new boards", "legs": "cut", "listed_on": "2026-03-12", "ask": "300"}); err != nil {
		t.Fatal(err)
	}
	if _, err := servicetest.Refinish(f, t, "Wilda", row, "2026-03-20", map[string]string{"color": "light_wood", "legs": "turned anew"}); err != nil {
		t.Fatal(err)
	}
	piece, err := f.Recording.Piece(t.Context(), f.Actor(t, "Wilda"), row.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"Desk.", "Desk.\nFinish: clear finish.\nLegs: cut.\nTop: planed, new boards.", "Desk.\nFinish: clear finish, light wood tone.\nLegs: turned anew.\nTop: planed, new boards."} {
		if got := servicetest.TextOf(t, f, piece.Listings[i]).Description; got != want {
			t.Errorf("%s: %q, want %q", piece.Listings[i].Ref, got, want)
		}
	}
}

func TestNoTextForWhatIsNotOnes(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	for _, state := range []string{"found", "passed", "retired", "sold"} {
		row := servicetest.UnlistedRow(t, f, state, state)
		if _, err := f.History.ListingText(t.Context(), f.Actor(t, "Wilda"), row.ID); !errors.Is(err, service.ErrConflict) || !strings.HasPrefix(err.Error(), state) {
			t.Errorf("%s: %v, want a conflict", state, err)
		}
	}
}
