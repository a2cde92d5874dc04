package track_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"askwright/db"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/servicetest"
)

// kept reads the suggestions on file.
func kept(t *testing.T, f *servicetest.Fixture, what string) []string {
	t.Helper()
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	return f.Select(t, "select "+what+" from askwright.suggestion order by made_at, ref")
}

func TestWhatIsKept(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	servicetest.SellDesks(t, f, "Wilda", 12)
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-1", "category": "desk", "width": "48", "depth": "24", "height": "30", "listed_on": "2026-03-20", "ask": "300"})
	servicetest.Suggest(t, f, "Wilda",
		advice.Subject{"ref": "B-1"},                                           // on file: kept
		advice.Subject{"id": row.ID.String()},                                  // the same one: once
		advice.Subject{"ref": "B-1", "finish": "clear"},                        // tried out: not kept
		advice.Subject{"ref": "N-1", "category": "desk"},                       // described under a ref: kept
		advice.Subject{"category": "desk"},                                     // nameless: not kept
		advice.Subject{"ref": "D-3"},                                           // ended: not kept
		advice.Subject{"ref": "B-1", "category": "desk"},                       // the same ref, day and model: once
		advice.Subject{"id": row.ID.String(), "ref": "B-1"},                    // as a sheet sends it: once
		advice.Subject{"ref": "O-1", "category": "desk", "source": "observed"}, // a stranger's: not kept
	)
	servicetest.Suggest(t, f, "Orrin", advice.Subject{"id": row.ID.String()}) // another's piece: no promise to its seller
	feed := f.Actor(t, "Wilda")
	feed.Scope = service.ScopeFeed
	if _, err := f.Advice.Suggest(t.Context(), feed, []advice.Subject{{"ref": "F-1", "category": "desk"}}, 30); err != nil {
		t.Fatal(err)
	}
	want := []string{"B-1 filed", "N-1 new"}
	if got := kept(t, f, "ref || case when listing_id is null then ' new' else ' filed' end"); !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
	f.Clock.Advance(1)
	answer := servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "B-1"})[0]
	got := kept(t, f, "ref || ' ' || on_date || ' ' || model || ' ' || likely || ' ' || ask")
	want1 := fmt.Sprintf("B-1 2026-04-01 %s %.0f %.0f", answer.Model, 100*answer.SalePrice.Likely, 100*answer.Ask)
	if len(got) != 3 || got[2] != want1 {
		t.Errorf("kept the next day: %v, want last %q", got, want1)
	}
	if !strings.HasPrefix(answer.Model, fmt.Sprint(pricing.Design, ".")) || !strings.HasSuffix(answer.Model, ".2026-04-01") {
		t.Errorf("model %q, want design.change_no.day", answer.Model)
	}
	if err := f.Recording.Delete(t.Context(), f.Actor(t, "Wilda"), row.ID, nil); err != nil {
		t.Fatal(err)
	}
	if got := kept(t, f, "coalesce(listing_id::text, 'none')"); len(got) != 3 || got[0] != "none" {
		t.Errorf("after the row was deleted: %v, want three without it", got)
	}
}

// An estimate counts only when it came before the first suggestion, or with it.
func TestEstimateAfterASuggestionDoesNotCount(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 12)
	counts := func(ref, estimate string) bool {
		t.Helper()
		return servicetest.Record(t, f, "Wilda", service.Cells{"ref": ref, "category": "desk", "listed_on": "2026-03-31", "ask": "310", "own_price": estimate}).EstimateCounts
	}
	if !counts("E-1", "320") {
		t.Error("an estimate before any suggestion does not count")
	}
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "E-1"})
	if counts("E-1", "330") {
		t.Error("an estimate changed after a suggestion counts")
	}
	first := servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "E-2", "category": "desk"})[0]
	if !strings.Contains(first.Sentences[0].Text, "your own price") {
		t.Errorf("the first sentence is %q, want to be asked for the estimate", first.Sentences[0].Text)
	}
	if counts("E-2", "320") { // not written yet when the estimate comes
		t.Error("an estimate right after a suggestion counts")
	}
	asked := servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "E-3", "category": "desk", "own_price": "320"})[0]
	if strings.Contains(asked.Sentences[0].Text, "Record your own price") {
		t.Errorf("asked for an estimate that came with the request: %q", asked.Sentences[0].Text)
	}
	if !counts("E-3", "320") {
		t.Error("the estimate of the suggestion's own request does not count")
	}
	if counts("E-3", "340") {
		t.Error("another estimate than that of the request counts")
	}
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "E-2b", "category": "desk", "listed_on": "2026-03-31", "ask": "310"})
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"id": row.ID.String()})
	renamed, err := f.Recording.Patch(t.Context(), f.Actor(t, "Wilda"), row.ID, service.Cells{"ref": "E-9", "own_price": "300"}, nil)
	if err != nil || renamed.New.EstimateCounts {
		t.Errorf("a renamed row forgot its suggestion: %+v, %v", renamed, err)
	}
}

// A first ask that followed a suggestion does not stand in for an estimate; one
// that was there before, or an estimate that counts, does.
func TestPricedFromSuggestion(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 12)
	servicetest.Suggest(t, f, "Wilda",
		advice.Subject{"ref": "P-1", "category": "desk"}, advice.Subject{"ref": "P-2", "category": "desk", "own_price": "300"},
		advice.Subject{"ref": "P-3", "category": "desk"})
	f.Clock.Advance(1)
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "P-1", "category": "desk", "listed_on": "2026-04-01", "ask": "300"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "P-2", "category": "desk", "listed_on": "2026-04-01", "ask": "300", "own_price": "300"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "P-3", "category": "desk", "listed_on": "2026-03-20", "ask": "300"}) // listed long before, recorded late
	late := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "P-4", "category": "desk", "listed_on": "2026-04-01", "ask": "300"})
	servicetest.Suggest(t, f, "Wilda", advice.Subject{"id": late.ID.String()}) // on the day of the ask, after it
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	store, err := db.Open(t.Context(), f.DB.DSN, db.Options{MaxConns: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	rows, _, err := store.History(t.Context(), f.Actor(t, "Wilda").Tenant())
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if want := r.Ref == "P-1"; r.PricedFromSuggestion != want {
			t.Errorf("%s: priced from a suggestion is %v, want %v", r.Ref, r.PricedFromSuggestion, want)
		}
	}
}

// What another member keeps to themselves does not come out of a suggestion.
func TestEstimateDoesNotShowInAnothersSuggestion(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	servicetest.SellDesks(t, f, "Wilda", 12)
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-1", "category": "desk", "width": "48", "depth": "24", "height": "30", "listed_on": "2026-03-31", "ask": "350", "own_price": "4444"}) // not believed, but named to its owner
	id := advice.Subject{"id": row.ID.String()}
	mine, theirs := servicetest.Suggest(t, f, "Wilda", id)[0], servicetest.Suggest(t, f, "Orrin", id)[0]
	if mine.OwnPrice == nil || mine.OwnPrice.Amount != 4444 || theirs.OwnPrice == nil || theirs.OwnPrice.Amount != 350 {
		t.Errorf("the owner is told %v by %+v, the other %v by %+v: want the estimate for the owner alone", mine.Ask, mine.OwnPrice, theirs.Ask, theirs.OwnPrice)
	}
	if text := pricing.Joined(mine.Sentences); !strings.Contains(text, "$4,444") || !strings.Contains(text, "counts less") {
		t.Errorf("the owner reads %q", text)
	}
	if text := pricing.Joined(theirs.Sentences); strings.Contains(text, "4444") {
		t.Errorf("another member reads %q", text)
	}
}

// The lines of a what-if add up to the whole change, of a listing on file and
// of a described piece.
func TestDifferencesAddUp(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	servicetest.SellDesks(t, f, "Wilda", 30)
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-1", "category": "desk", "width": "48", "depth": "24", "height": "30", "finish": "painted", "condition": "fair", "listed_on": "2026-03-31", "ask": "300", "own_price": "310"})
	answers := servicetest.Suggest(t, f, "Wilda",
		advice.Subject{"ref": "B-1"},
		advice.Subject{"ref": "B-1", "finish": "clear", "condition": "excellent", "width": "60", "depth": "24"},
		advice.Subject{"ref": "B-1", "width": "48"})
	if answers[0].Differences != nil || answers[2].Differences != nil {
		t.Errorf("differences without a change: %v, %v", answers[0].Differences, answers[2].Differences)
	}
	described, err := f.Advice.SuggestIf(t.Context(), f.Actor(t, "Wilda"), []advice.Subject{{"category": "desk", "width": "48", "depth": "24", "height": "30", "finish": "painted", "condition": "fair"}},
		service.Cells{"finish": "clear", "condition": "excellent", "width": "60", "depth": "24"}, 30)
	if err != nil {
		t.Fatal(err)
	}
	plain := servicetest.Suggest(t, f, "Wilda", advice.Subject{"category": "desk", "width": "48", "depth": "24", "height": "30", "finish": "painted", "condition": "fair"})[0]
	addUp(t, answers[0], answers[1])
	addUp(t, plain, described[0])
}

func addUp(t *testing.T, before, after advice.Suggestion) {
	t.Helper()
	money, ask, factor := 0.0, 0.0, 1.0
	var lines []string
	for _, d := range after.Differences {
		lines = append(lines, d.Column+" "+d.From+" "+d.To)
		money, ask, factor = money+*d.Money, ask+*d.AskChange, factor*(1+*d.Percent/100)
	}
	if want := []string{"width 48 60", "condition fair excellent", "finish painted clear"}; !slices.Equal(lines, want) {
		t.Errorf("lines %q, want %q", lines, want)
	}
	from, to := before.RecordsOnly.Likely, after.RecordsOnly.Likely // the own price stays as it was
	if want := to - from; math.Abs(money-want) > 1e-6 || math.Abs(factor-to/from) > 1e-9 {
		t.Errorf("money %v, factor %v; want %v, %v", money, factor, want, to/from)
	}
	if want := after.Ask - before.Ask; math.Abs(ask-want) > 1e-6 {
		t.Errorf("asks change by %v, want %v", ask, want)
	}
}

// An ask that follows a suggestion is no judgement of its seller's, whether the
// question named a ref or not: asked again, the service does not take its own
// answer for the seller's and lower it each time.
func TestASuggestionThatIsFollowedIsNoOwnPrice(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	servicetest.SellDesks(t, f, "Wilda", 20)
	first := servicetest.Suggest(t, f, "Wilda", advice.Subject{"category": "desk", "finish": "painted"})[0]
	f.Clock.Advance(20)
	day := (servicetest.Today + 20).String()
	ask := fmt.Sprintf("%.0f", first.Ask)
	for member, refs := range map[string][]string{"Wilda": {"F-1"}, "Orrin": {"O-1"}} {
		for _, ref := range refs {
			servicetest.Record(t, f, member, service.Cells{"ref": ref, "category": "desk", "finish": "painted", "listed_on": day, "ask": ask})
		}
	}
	if err := f.Shown.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	again := servicetest.Suggest(t, f, "Wilda", advice.Subject{"ref": "F-1"})[0]
	if again.OwnPrice != nil || again.Ask < first.Ask {
		t.Errorf("suggested %v at first, %v once it was followed, with the own price %+v", first.Ask, again.Ask, again.OwnPrice)
	}
	if theirs := servicetest.Suggest(t, f, "Orrin", advice.Subject{"ref": "O-1"})[0]; theirs.OwnPrice == nil {
		t.Error("the same ask of one who was told nothing does not count")
	}
	f.Clock.Advance(100)
	late := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "F-2", "category": "desk", "finish": "painted", "listed_on": (servicetest.Today + 120).String(), "ask": ask})
	if then := servicetest.Suggest(t, f, "Wilda", advice.Subject{"id": late.ID.String()})[0]; then.OwnPrice == nil {
		t.Error("an ask told four months before does not count as the seller's own")
	}
}
