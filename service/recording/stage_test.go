package recording_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"askwright/service"
	"askwright/service/profit"
	"askwright/service/servicetest"
)

func stateOf(t *testing.T, f *servicetest.Fixture, l *service.Listing) string {
	t.Helper()
	piece, err := f.Recording.Piece(t.Context(), f.Actor(t, "Wilda"), l.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	return piece.State()
}

// From each state each event leads where it should or is refused in words.
func TestYardEvents(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	events := map[string]map[string]string{
		"bought": {"purchase_cost": "40", "bought_from": "thrift"}, "on_bench": nil, "listed": {"ask": "300", "own_price": "310"},
		"passed": {"reason": "price", "seller_ask": "120", "note": "would give 60"}, "retired": {"reason": "given_away"}, "reopen": nil,
	}
	for state, want := range map[string]map[string]string{
		"found":    {"bought": "bought", "on_bench": "on_bench", "listed": "open", "passed": "passed", "retired": "! is only found", "reopen": "! is not offered yet"},
		"bought":   {"bought": "! is bought already", "on_bench": "on_bench", "listed": "open", "passed": "! is bought; a piece of one's own is let go", "retired": "retired", "reopen": "! is not offered yet"},
		"on_bench": {"bought": "! is on_bench already", "on_bench": "! is on_bench already", "listed": "open", "passed": "! is bought;", "retired": "retired"},
		"open":     {"bought": "! was listed on 2026-03-01 already", "on_bench": "! was listed", "listed": "! was listed", "passed": "! was listed", "retired": "retired", "reopen": "! is open already"},
		"pulled":   {"bought": "! was listed", "listed": "! was listed", "retired": "retired", "reopen": "open"},
		"sold":     {"bought": "! was sold on 2026-03-09", "listed": "! was sold", "retired": "! was sold on 2026-03-09", "reopen": "open"},
		"passed":   {"bought": "! was passed over on 2026-03-10 (price); reopen it first", "passed": "! was passed over", "listed": "! was passed over", "reopen": "found"},
		"retired":  {"on_bench": "! was let go on 2026-03-10 (kept); reopen it first", "retired": "! was let go", "reopen": "bought"},
	} {
		for kind, outcome := range want {
			row := servicetest.UnlistedRow(t, f, state+"-"+kind, state)
			_, err := f.Recording.AddEvent(t.Context(), f.Actor(t, "Wilda"), row.ID, service.NewEvent{Kind: kind, On: "2026-03-30", Fields: events[kind]}, nil)
			if reason, refused := strings.CutPrefix(outcome, "! "); refused {
				if !errors.Is(err, service.ErrConflict) || !strings.Contains(err.Error(), row.Ref+" "+reason) {
					t.Errorf("%s, %s: %v, want a conflict: %q", state, kind, err, reason)
				}
				if got := stateOf(t, f, row); got != state {
					t.Errorf("%s, %s: refused, but now %s", state, kind, got)
				}
				continue
			}
			if got := stateOf(t, f, row); err != nil || got != outcome {
				t.Errorf("%s, %s: %s, %v; want %s", state, kind, got, err, outcome)
			}
		}
	}
}

// What an event said stands in the row, and its undoing takes it away again.
func TestYardEventsAreColumnsAndUndone(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Orrin")
	a := f.Actor(t, "Wilda")
	row := servicetest.UnlistedRow(t, f, "F-1", "found")
	add := func(e service.NewEvent) *service.Change {
		t.Helper()
		change, err := f.Recording.AddEvent(t.Context(), a, row.ID, e, nil)
		if err != nil {
			t.Fatal(err)
		}
		return change
	}
	passed := add(service.NewEvent{Kind: "passed", On: "2026-03-20", Fields: map[string]string{"reason": "Condition", "seller_ask": "120", "note": "smells of smoke"}})
	if l := passed.New; l.ClosedAs != "condition" || l.ClosedOn.String() != "2026-03-20" || l.ClosedNote != "smells of smoke" || l.SellerAsk != 12000 || l.Stage != "found" {
		t.Errorf("passed over: %+v", l)
	}
	seen, err := f.Recording.Listing(t.Context(), f.Actor(t, "Orrin"), row.ID)
	if err != nil || seen.ClosedAs != "condition" || seen.SellerAsk != 12000 {
		t.Errorf("another member reads %+v, %v", seen, err)
	}
	undone := add(service.NewEvent{Kind: "void", Voids: passed.Events[0].ID})
	if l := undone.New; passed.Events[0].Kind != service.EventPassed || l.ClosedAs != "" || !l.ClosedOn.IsZero() || l.ClosedNote != "" {
		t.Errorf("undone: %+v", l)
	}
	bought := add(service.NewEvent{Kind: "bought", On: "2026-03-25", Fields: map[string]string{"purchase_cost": "80", "condition_found": "2"}})
	if g := bought.New.Ledger; g.BoughtOn.String() != "2026-03-25" || g.Costs[service.CostPurchase] != 8000 || g.ConditionFound != 2 {
		t.Errorf("ledger %+v", g)
	}
	for _, e := range bought.Events { // the day of the purchase is the owner's alone
		if e.Private != (e.Kind == service.EventLedger) || (!e.Private && e.On.String() == "2026-03-25") {
			t.Errorf("event %+v", e)
		}
	}
	listed := add(service.NewEvent{Kind: "listed", On: "2026-03-28", Fields: map[string]string{"ask": "300", "own_price": "310", "venues": "porch sale board"}})
	if l := listed.New; l.Stage != "" || l.CurrentAsk() != 30000 || !l.EstimateCounts || l.Venue != "porch sale board" || l.ListedOn.String() != "2026-03-28" {
		t.Errorf("listed %+v", l)
	}
	gone := add(service.NewEvent{Kind: "retired", Fields: map[string]string{"reason": "broken_up", "note": "worm"}})
	if l := gone.New; l.Outcome != service.OutcomePulled || l.ClosedAs != "broken_up" || l.EndedOn != servicetest.Today {
		t.Errorf("let go %+v", l)
	}
	if _, err := f.Recording.AddEvent(t.Context(), a, row.ID, service.NewEvent{Kind: "passed", Fields: map[string]string{"reason": "kept"}}, nil); err == nil {
		t.Error("passed over after it was let go")
	}
	piece, err := f.Recording.Piece(t.Context(), a, row.PieceID)
	if err != nil {
		t.Fatal(err)
	}
	servicetest.Golden(t, "letgo.txt", told(t, f, a, piece))
}

// A row says the same, and bad transitions are refused with the reason.
func TestStagesByRow(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	for _, test := range []struct {
		from  string
		cells service.Cells
		want  string // a state, or after "!" the refusal
	}{
		{"found", service.Cells{"stage": "bought"}, "bought"},
		{"found", service.Cells{"stage": "on_bench"}, "on_bench"},
		{"found", service.Cells{"closed_as": "space"}, "passed"},
		{"found", service.Cells{"closed_as": "kept"}, `!closed_as: "kept" does not fit a find that was not bought`},
		{"found", service.Cells{"closed_as": "stolen"}, "!closed_as: \"stolen\" is not one of price"},
		{"found", service.Cells{"closed_on": "2026-03-01"}, "!closed_as: is missing"},
		{"bought", service.Cells{"stage": "found"}, "!stage: X is bought already and does not go back to found"},
		{"bought", service.Cells{"closed_as": "price"}, `!closed_as: "price" does not fit a piece of one's own`},
		{"bought", service.Cells{"closed_as": "given away", "closed_note": "to a neighbor"}, "retired"},
		{"on_bench", service.Cells{"stage": "bought"}, "!stage: X is on_bench already"},
		{"on_bench", service.Cells{"stage": "on_bench"}, "on_bench"},
		{"on_bench", service.Cells{"stage": "on_bench", "listed_on": "2026-03-20", "ask": "300"}, "open"}, // a sheet keeps the cell
		{"open", service.Cells{"stage": "on_bench"}, "!stage: X was listed on 2026-03-01; what was on offer goes back to work by a refinish"},
		{"open", service.Cells{"stage": "on_bench", "listed_on": "2026-03-01"}, "open"},
		{"open", service.Cells{"closed_as": "kept"}, "!closed_as: X is on offer"},
		{"open", service.Cells{"closed_as": "kept", "outcome": "pulled", "ended_on": "2026-03-20"}, "retired"},
		{"pulled", service.Cells{"closed_as": "kept", "closed_on": "2026-03-08"}, "!closed_on: 2026-03-08 is before ended_on 2026-03-09"},
		{"sold", service.Cells{"closed_as": "kept"}, "!closed_as: X was sold"},
		{"passed", service.Cells{"stage": "bought"}, "!stage: X was passed over on 2026-03-10 (price); send a reopen event first"},
		{"passed", service.Cells{"listed_on": "2026-03-20", "ask": "10"}, "!closed_as: X was passed over"},
		{"passed", service.Cells{"closed_as": "gone"}, "passed"},
		{"passed", service.Cells{"closed_as": ""}, "passed"}, // blank leaves it alone
	} {
		row := servicetest.UnlistedRow(t, f, "X", test.from)
		_, err := f.Recording.Record(t.Context(), f.Actor(t, "Wilda"), merged(service.Cells{"ref": "X", "category": "desk"}, test.cells))
		reason, refused := strings.CutPrefix(test.want, "!")
		switch {
		case refused && (err == nil || !strings.Contains(err.Error(), reason)):
			t.Errorf("%s, %v: %v, want %q", test.from, test.cells, err, reason)
		case !refused && (err != nil || stateOf(t, f, row) != test.want):
			t.Errorf("%s, %v: %s, %v; want %s", test.from, test.cells, stateOf(t, f, row), err, test.want)
		}
		if err := f.Recording.Delete(t.Context(), f.Actor(t, "Wilda"), row.ID, nil); err != nil {
			t.Fatal(err)
		}
	}
}

func merged(cells, more service.Cells) service.Cells {
	for name, cell := range more {
		cells[name] = cell
	}
	return cells
}

// What left is not in the yard any more; each list says so.
func TestListsOfTheYard(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t)
	for _, state := range []string{"found", "bought", "on_bench", "passed", "retired", "open", "pulled", "sold"} {
		servicetest.UnlistedRow(t, f, state, state)
	}
	a := f.Actor(t, "Wilda")
	yes, no := true, false
	for _, test := range []struct {
		q    service.Query
		want string
	}{
		{service.Query{InTheYard: &yes}, "bought found on_bench"},
		{service.Query{InTheYard: &no}, "open passed pulled retired sold"},
		{service.Query{Words: map[string][]string{"stage": {"found"}}}, "found"},
		{service.Query{Words: map[string][]string{"closed_as": {"price", "kept"}}}, "passed retired"},
	} {
		test.q.Limit, test.q.Sort = 100, []service.SortKey{{Column: "ref"}}
		rows, _, err := f.Recording.Listings(t.Context(), a, test.q)
		var refs []string
		for _, l := range rows {
			refs = append(refs, l.Ref)
		}
		if got := strings.Join(refs, " "); err != nil || got != test.want {
			t.Errorf("%+v: %q, %v; want %q", test.q, got, err, test.want)
		}
	}
	profit, err := f.Profit.Report(t.Context(), a, profit.Query{})
	if err != nil {
		t.Fatal(err)
	}
	var stock []string
	for _, item := range profit.Stock {
		stock = append(stock, item.Piece.Ref)
	}
	slices.Sort(stock)
	if got, want := strings.Join(stock, " "), "bought on_bench open pulled"; got != want {
		t.Errorf("in stock are %q, want %q", got, want)
	}
	for _, state := range service.PieceStates {
		pieces, _, err := f.Recording.Pieces(t.Context(), a, service.PieceQuery{State: []string{state}, Limit: 100})
		if err != nil || len(pieces) != 1 || pieces[0].Ref != state || pieces[0].State() != state {
			t.Errorf("pieces in the state %s: %+v, %v", state, pieces, err)
		}
	}
	if !slices.Contains(service.PieceStates, "passed") || !slices.Contains(service.PieceStates, "retired") {
		t.Errorf("states %v", service.PieceStates)
	}
}
