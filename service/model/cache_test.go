package model_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/db"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/app"
	"askwright/service/model"
	"askwright/service/servicetest"
)

// replica is another program on the fixture's database.
func replica(tb testing.TB, f *servicetest.Fixture, atOnce int) (*app.App, *db.Store) {
	tb.Helper()
	store, err := db.Open(tb.Context(), f.DB.DSN, db.Options{MaxConns: 4})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(store.Close)
	return app.New(app.Options{Store: store, Now: f.Clock.Now, Logger: slog.New(slog.DiscardHandler), AtOnce: atOnce}), store
}

// answer is all that a replica says of some subjects and of the open listings,
// as text.
func answer(ctx context.Context, s *app.App, key string) (string, error) {
	a, err := s.Members.Authenticate(ctx, key)
	if err != nil {
		return "", err
	}
	subjects := []advice.Subject{{"category": "desk", "width": "48", "depth": "24", "height": "30"}, {"category": "dresser", "finish": "painted", "own_price": "300"}}
	suggestions, err := s.Advice.Suggest(ctx, a, subjects, 30)
	if err != nil {
		return "", err
	}
	reviews, err := s.Advice.Reviews(ctx, a, advice.ReviewQuery{})
	if err != nil {
		return "", err
	}
	model, err := s.Advice.Describe(ctx, a)
	if err != nil {
		return "", err
	}
	text, err := json.Marshal(map[string]any{"suggestions": suggestions, "reviews": reviews, "model": model})
	return string(text), err
}

func wantAnswer(t *testing.T, s *app.App, f *servicetest.Fixture, member string) string {
	t.Helper()
	text, err := answer(t.Context(), s, f.Keys[member])
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// wantRebuilt checks that what was folded is what the sales on file make, to
// 1e-9.
func wantRebuilt(t *testing.T, f *servicetest.Fixture, store *db.Store, label string) {
	t.Helper()
	a := f.Actor(t, "Wilda")
	stored, err := store.StoredModel(t.Context(), a.Tenant(), pricing.Design)
	if err != nil {
		t.Fatal(err)
	}
	rows, changeNo, err := store.History(t.Context(), a.Tenant())
	if err != nil {
		t.Fatal(err)
	}
	if stored.ChangeNo != changeNo {
		t.Fatalf("%s: folded up to %d of %d", label, stored.ChangeNo, changeNo)
	}
	var h pricing.History
	for _, r := range rows {
		if r.IsOffered() {
			h.Listings = append(h.Listings, r.Facts(a.Group.Currency, nil, nil))
		}
	}
	got, want := stored.Statistics, pricing.NewStatistics(h, a.Today)
	if got.Sales != want.Sales || len(got.Names) != len(want.Names) || !cmp.Equal(emptied(got.Days), emptied(want.Days)) {
		t.Fatalf("%s: %d sales with the terms %v, want %d with %v", label, got.Sales, got.Names, want.Sales, want.Names)
	}
	near := func(what string, got, want, size float64) {
		if math.Abs(got-want) > 1e-9*math.Max(math.Abs(want), size) {
			t.Errorf("%s: %s is %.15g, want %.15g", label, what, got, want)
		}
	}
	near("the weight", got.Weight, want.Weight, 0)
	near("yy", got.YY, want.YY, 0)
	for i, name := range want.Names {
		at := slices.Index(got.Names, name)
		if at < 0 || got.Counts[at] != want.Counts[i] {
			t.Fatalf("%s: %s has another count", label, name)
		}
		near(name+" y", got.XY[at], want.XY[i], math.Sqrt(want.XX[i][i]*want.YY))
		for j, other := range want.Names[:i+1] {
			to := slices.Index(got.Names, other)
			size := math.Sqrt(want.XX[i][i] * want.XX[j][j])
			near(name+" "+other, got.XX[max(at, to)][min(at, to)], want.XX[i][j], size)
		}
	}
}

func emptied(days map[pricing.Date]int) map[pricing.Date]int {
	if days == nil {
		return map[pricing.Date]int{}
	}
	return days
}

// trader does at random what members do with their rows.
type trader struct {
	f    *servicetest.Fixture
	rng  *rand.Rand
	next int
}

// step does one thing; what the service refuses counts as nothing done.
func (x *trader) step(t *testing.T) {
	t.Helper()
	member := []string{"Wilda", "Orrin"}[x.rng.IntN(2)]
	a := x.f.Actor(t, member)
	rows, _, err := x.f.Recording.Listings(t.Context(), a, service.Query{Member: a.MemberID, Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 4 || x.rng.IntN(3) == 0 {
		x.next++
		_, err = x.f.Recording.Record(t.Context(), a, x.cells(fmt.Sprintf("X-%d", x.next)))
	} else {
		err = x.alter(t, a, rows[x.rng.IntN(len(rows))])
	}
	var refused *service.Error
	var invalid *service.InvalidError
	if err != nil && !errors.As(err, &refused) && !errors.As(err, &invalid) {
		t.Fatal(err)
	}
}

// cells are a row: open, sold, pulled, a stranger's or still in the yard.
func (x *trader) cells(ref string) service.Cells {
	pick := func(of ...string) string { return of[x.rng.IntN(len(of))] }
	listed := servicetest.Today - 200 + pricing.Date(x.rng.IntN(100))
	cells := service.Cells{
		"ref": ref, "category": pick("desk", "dresser", "nightstand", "settle"), "finish": pick("", "painted", "clear"), "wood": pick("", "oak", "pine"),
		"width": pick("", "40", "48.5"), "depth": "20", "height": "30", "unit": "in", "listed_on": listed.String(), "ask": pick("200", "310", "455"),
		"messages": pick("", "0", "3"), "own_price": pick("", "280"),
	}
	end := (listed + pricing.Date(x.rng.IntN(90))).String()
	switch x.rng.IntN(6) {
	case 0:
		cells["outcome"], cells["ended_on"] = "pulled", end
	case 1:
		cells["source"], cells["own_price"], cells["last_seen_on"] = "observed", "", end
	case 2:
		delete(cells, "listed_on")
		delete(cells, "ask")
		cells["stage"], cells["messages"] = "bought", ""
	case 3, 4:
		cells["outcome"], cells["ended_on"], cells["sale_price"] = "sold", end, pick("150", "290.50", "400", "3000")
	}
	return cells
}

// alter edits, ends, reopens, undoes or deletes one row.
func (x *trader) alter(t *testing.T, a *service.Actor, l *service.Listing) (err error) {
	ctx, f := t.Context(), x.f
	switch x.rng.IntN(8) {
	case 0:
		return f.Recording.Delete(ctx, a, l.ID, nil)
	case 1:
		_, err = f.Recording.Patch(ctx, a, l.ID, service.Cells{"sale_price": fmt.Sprint(100 + x.rng.IntN(500))}, nil)
	case 2:
		_, err = f.Recording.Patch(ctx, a, l.ID, service.Cells{"category": "desk", "wood": "teak"}, nil)
	case 3:
		_, err = f.Recording.AddEvent(ctx, a, l.ID, service.NewEvent{Kind: "sold", Fields: map[string]string{"sale_price": "275"}}, nil)
	case 4:
		_, err = f.Recording.AddEvent(ctx, a, l.ID, service.NewEvent{Kind: "reopen"}, nil)
	case 5:
		_, err = f.Recording.AddEvent(ctx, a, l.ID, service.NewEvent{Kind: "ask", Fields: map[string]string{"ask": fmt.Sprint(150 + x.rng.IntN(300))}}, nil)
	default:
		events, listErr := f.Recording.Events(ctx, a, l.ID)
		if listErr != nil || len(events) == 0 {
			return listErr
		}
		_, err = f.Recording.AddEvent(ctx, a, l.ID, service.NewEvent{Kind: "void", Voids: events[len(events)-1].ID}, nil)
	}
	return err
}

// However rows were written, edited, undone and deleted, and whichever of two
// replicas folded them, the statistics are those of a rebuild and both replicas
// answer the same bytes.
func TestFoldedIsRebuilt(t *testing.T) {
	t.Parallel()
	for _, atOnce := range []int{0, 5} { // the rates before each answer, and beside them
		f := servicetest.New(t, "Wilda", "Orrin")
		one, store := replica(t, f, atOnce)
		two, _ := replica(t, f, atOnce)
		replicas := []*app.App{one, two}
		seed := rand.Uint64()
		x := &trader{f: f, rng: rand.New(rand.NewPCG(seed, 1))}
		for i := range 120 {
			label := fmt.Sprintf("seed %d, at once up to %d, step %d", seed, atOnce, i)
			x.step(t)
			if x.rng.IntN(3) > 0 {
				continue // some changes are folded together
			}
			if x.rng.IntN(4) == 0 {
				for _, s := range replicas {
					if err := s.Upkeep.RunOnce(t.Context()); err != nil {
						t.Fatal(label, err)
					}
				}
			}
			first := x.rng.IntN(2)
			got := wantAnswer(t, replicas[first], f, "Wilda")
			if other := wantAnswer(t, replicas[1-first], f, "Wilda"); got != other {
				t.Fatalf("%s: the replicas differ:\n%s", label, cmp.Diff(got, other))
			}
			wantRebuilt(t, f, store, label)
		}
	}
}

// Replicas that fold at the same moment, while others write, do it once.
func TestReplicasFoldAtOnce(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	one, store := replica(t, f, 0)
	two, _ := replica(t, f, 0)
	servicetest.SellDesks(t, f, "Wilda", 12)
	x := &trader{f: f, rng: rand.New(rand.NewPCG(1, 2))}
	for range 12 {
		x.step(t)
		var both errgroup.Group
		for _, s := range []*app.App{one, two, f.App} {
			for range 2 {
				both.Go(func() error {
					_, err := answer(t.Context(), s, f.Keys["Orrin"])
					return err
				})
			}
		}
		x.step(t) // meanwhile
		if err := both.Wait(); err != nil {
			t.Fatal(err)
		}
	}
	if a, b := wantAnswer(t, one, f, "Wilda"), wantAnswer(t, two, f, "Wilda"); a != b {
		t.Errorf("the replicas differ:\n%s", cmp.Diff(a, b))
	}
	wantRebuilt(t, f, store, "after all")
}

// Statistics that another version wrote, that cannot be right, or that were
// corrected very often are built anew.
func TestStatisticsAreBuiltAnew(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	s, store := replica(t, f, 0)
	servicetest.SellDesks(t, f, "Wilda", 12)
	for name, sql := range map[string]string{
		"corrected often": "update askwright.value_statistics set corrections = 100000 returning 'x'",
		"wrong":           "update askwright.sale_row set terms[1] = 'unheard' returning 'x'",
	} {
		wantAnswer(t, s, f, "Wilda")
		f.Select(t, sql)
		row := f.Select(t, "select listing_id::text from askwright.listing where ref = 'D-3'")[0]
		if _, err := f.Recording.Patch(t.Context(), f.Actor(t, "Wilda"), uuid.MustParse(row), service.Cells{"sale_price": fmt.Sprint(200 + len(name))}, nil); err != nil {
			t.Fatal(err)
		}
		wantAnswer(t, s, f, "Wilda")
		wantRebuilt(t, f, store, name)
		if got := f.Select(t, "select corrections || ' ' || (select count(*) from askwright.sale_row where 'unheard' = any(terms)) from askwright.value_statistics")[0]; got != "0 0" {
			t.Errorf("%s: corrections and wrong rows %s, want none", name, got)
		}
	}
}

// The rates of a large group are refitted beside its answers: when enough
// closed, or after a week; by one replica, and noticed by all.
func TestRatesAreRefittedBesideTheAnswers(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	one, store := replica(t, f, 20)
	two, _ := replica(t, f, 20)
	servicetest.SellDesks(t, f, "Wilda", 30)
	fitted := func() string {
		return f.Select(t, "select fitted_on || ' ' || change_no from askwright.rate_fit")[0]
	}
	upkeep := func() {
		t.Helper()
		for _, s := range []*app.App{one, two} {
			if err := s.Upkeep.RunOnce(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
	}
	wantAnswer(t, one, f, "Wilda")
	first := fitted()
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "O-1", "category": "desk", "listed_on": "2026-03-30", "ask": "300"})
	before := wantAnswer(t, one, f, "Wilda")
	wantAnswer(t, two, f, "Wilda")
	upkeep()
	if got := fitted(); got != first {
		t.Errorf("refitted at %s for an open listing, want still %s", got, first)
	}
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "O-2", "category": "desk", "listed_on": "2026-03-01", "ask": "300", "outcome": "sold", "ended_on": "2026-03-30", "sale_price": "290"})
	after := wantAnswer(t, one, f, "Wilda")
	wantAnswer(t, two, f, "Wilda")
	if after == before {
		t.Error("a sale left the answers alone")
	}
	if got := fitted(); got != first {
		t.Errorf("the answer waited for a fit: %s, want %s", got, first)
	}
	no := f.Actor(t, "Wilda").Group.ChangeNo
	upkeep()
	if got, want := fitted(), fmt.Sprintf("%s %d", servicetest.Today, no); got != want {
		t.Errorf("refitted at %s, want %s", got, want)
	}
	if got := f.Actor(t, "Wilda").Group.ChangeNo; got != no+1 {
		t.Errorf("change number %d after a refit, want %d: raised once", got, no+1)
	}
	if a, b := wantAnswer(t, one, f, "Wilda"), wantAnswer(t, two, f, "Wilda"); a != b || a == after {
		t.Errorf("after the refit the replicas differ, or answer as before:\n%s", cmp.Diff(a, b))
	}
	for _, step := range []struct {
		days  int
		again bool
	}{{6, false}, {1, true}} {
		last := fitted()
		f.Clock.Advance(step.days)
		wantAnswer(t, two, f, "Wilda")
		upkeep()
		if again := fitted() != last; again != step.again {
			t.Errorf("%d days on: refitted %t, want %t", step.days, again, step.again)
		}
	}
	wantAnswer(t, one, f, "Wilda")
	wantRebuilt(t, f, store, "at the end")
}

// withoutHistory is a store that cannot read a whole history.
type withoutHistory struct{ *db.Store }

var errHistory = errors.New("the whole history was read")

func (withoutHistory) History(context.Context, service.Tenant) ([]*model.Recorded, int64, error) {
	return nil, 0, errHistory
}

// In a large group no question of today reads the whole history.
func TestAnswersNeedNoHistory(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	first, store := replica(t, f, 20)
	servicetest.SellDesks(t, f, "Wilda", 30)
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "D-A", "piece_ref": "D-0", "category": "desk", "listed_on": "2026-02-20", "ask": "320", "messages": "2"})
	want := wantAnswer(t, first, f, "Wilda")
	s := app.New(app.Options{Store: withoutHistory{store}, Now: f.Clock.Now, Logger: slog.New(slog.DiscardHandler), AtOnce: 20})
	if got := wantAnswer(t, s, f, "Wilda"); got != want {
		t.Errorf("another answer without the history:\n%s", cmp.Diff(want, got))
	}
	a := f.Actor(t, "Wilda")
	if _, err := s.Advice.Suggest(t.Context(), a, []advice.Subject{{"ref": "D-A"}, {"ref": "D-3"}}, 30); err != nil {
		t.Error(err)
	}
	if _, err := s.Advice.Reviews(t.Context(), a, advice.ReviewQuery{AsOf: a.Today - 20}); !errors.Is(err, errHistory) {
		t.Errorf("a review of an earlier day: %v, want it to read the history", err)
	}
}

// What is read for an answer is what a whole history says of the same
// listings: readings, earlier listings of the piece, suggestions before the ask.
func TestRecordsAreThoseOfTheHistory(t *testing.T) {
	t.Parallel()
	f := servicetest.Demo(t)
	_, store := replica(t, f, 0)
	tenant := f.Actor(t, servicetest.FirstMember(f)).Tenant()
	history, _, err := store.History(t.Context(), tenant)
	if err != nil {
		t.Fatal(err)
	}
	open := map[uuid.UUID]bool{}
	wantByID := map[uuid.UUID]*model.Recorded{}
	for _, r := range history {
		wantByID[r.ID] = r
		if r.Outcome == service.OutcomeOpen && !r.IsObserved() {
			open[r.PieceID] = true
		}
	}
	read := func(w model.Selection) []*model.Recorded {
		t.Helper()
		rows, err := store.Records(t.Context(), tenant, w)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			r.RecordedFrom = wantByID[r.ID].RecordedFrom // which needs the whole history
			if diff := cmp.Diff(wantByID[r.ID], r); diff != "" {
				t.Errorf("%s (-in the history +by itself):\n%s", r.Ref, diff)
			}
		}
		return rows
	}
	n := 0
	for _, r := range history {
		if open[r.PieceID] {
			n++
		}
	}
	if got := len(read(model.Selection{Open: true})); got != n || n == 0 {
		t.Errorf("%d rows of open pieces, want %d", got, n)
	}
	for _, r := range history[:40] {
		byID := read(model.Selection{IDs: []uuid.UUID{r.ID}})
		if !slices.ContainsFunc(byID, func(x *model.Recorded) bool { return x.ID == r.ID }) {
			t.Errorf("%s was not found by its id", r.Ref)
		}
		byRef := read(model.Selection{Refs: []string{r.Ref}})
		found := slices.ContainsFunc(byRef, func(x *model.Recorded) bool { return x.ID == r.ID })
		if mine := r.MemberID == tenant.Member; found != mine {
			t.Errorf("%s found by its ref: %t, is mine: %t", r.Ref, found, mine)
		}
	}
}
