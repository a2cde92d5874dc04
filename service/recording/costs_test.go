package recording_test

import (
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"askwright/service"
	"askwright/service/servicetest"
)

func listing(t testing.TB, f *servicetest.Fixture, a *service.Actor, id uuid.UUID) *service.Listing {
	t.Helper()
	l, err := f.Recording.Listing(t.Context(), a, id)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func addCost(t testing.TB, f *servicetest.Fixture, a *service.Actor, piece uuid.UUID, n service.NewCost) *service.CostLine {
	t.Helper()
	line, err := f.Recording.AddCost(t.Context(), a, piece, n)
	if err != nil {
		t.Fatalf("%+v: %v", n, err)
	}
	return line
}

func costs(t testing.TB, f *servicetest.Fixture, a *service.Actor, piece uuid.UUID) []service.CostLine {
	t.Helper()
	lines, err := f.Recording.Costs(t.Context(), a, piece)
	if err != nil {
		t.Fatal(err)
	}
	return lines
}

const (
	materials = string(service.CostMaterials)
	hours     = string(service.CostHours)
)

func TestCostLinesAreTheRowsTotal(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", "stage": "on_bench", "bought_on": "2026-02-01", "purchase_cost": "40"})
	stripper := addCost(t, f, a, row.PieceID, service.NewCost{Kind: "Materials cost", Amount: "18.40", On: "2026-02-03", Note: "stripper"})
	addCost(t, f, a, row.PieceID, service.NewCost{Kind: materials, Amount: "6.10"})
	addCost(t, f, a, row.PieceID, service.NewCost{Kind: hours, Hours: "2.25", Step: "Strip", On: "2026-02-04"})

	want := service.Costs{service.CostPurchase: 4000, service.CostMaterials: 2450, service.CostHours: 225}
	if got := listing(t, f, a, row.ID); !maps.Equal(got.Ledger.Costs, want) || got.Revision != row.Revision+3 {
		t.Errorf("totals %v at revision %d, want %v at %d", got.Ledger.Costs, got.Revision, want, row.Revision+3)
	}
	// A sheet that shows another total adds the difference; the same adds nothing.
	for range 2 {
		servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", materials: "30", hours: "2.25"})
	}
	var told []string
	for _, l := range costs(t, f, a, row.PieceID) {
		told = append(told, l.On.String()+" "+string(l.Kind)+" "+strconv.FormatInt(int64(l.Amount), 10)+" "+l.Step+l.Note)
	}
	lines := []string{
		"2026-02-01 purchase_cost 4000 ", "2026-02-03 materials_cost 1840 stripper", "2026-02-04 hours 225 strip",
		"2026-03-31 materials_cost 610 ", "2026-03-31 materials_cost 550 ",
	}
	if !slices.Equal(told, lines) {
		t.Errorf("lines\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(lines, "\n"))
	}

	void := addCost(t, f, a, row.PieceID, service.NewCost{Voids: stripper.ID, Note: "was for B-18"})
	if void.Amount != -1840 || void.On != stripper.On || void.Kind != service.CostMaterials {
		t.Errorf("the undoing line is %+v, want -18.40 on the day of the line", void)
	}
	if got := listing(t, f, a, row.ID).Ledger.Costs[service.CostMaterials]; got != 1160 {
		t.Errorf("materials %d after the undoing, want 1160", got)
	}
	events, err := f.Recording.Events(t.Context(), a, row.ID)
	if err != nil {
		t.Fatal(err)
	}
	last := events[len(events)-1]
	if last.Kind != service.EventLedger || !last.Private || last.Changes[materials] != (service.Values{Old: "30.00", New: "11.60"}) {
		t.Errorf("the undoing is told as %+v", last)
	}
	_, err = f.Recording.AddEvent(t.Context(), a, row.ID, service.NewEvent{Kind: service.EventVoid, Voids: last.ID}, nil)
	if !errors.Is(err, service.ErrConflict) || !strings.Contains(err.Error(), "undo the line") {
		t.Errorf("undoing the event of a cost line: %v, want a conflict that names the line", err)
	}
}

func TestRefusedCosts(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Otto")
	wilda, otto := f.Actor(t, "Wilda"), f.Actor(t, "Otto")
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", "stage": "bought", "purchase_cost": "40"})
	line := addCost(t, f, wilda, row.PieceID, service.NewCost{Kind: materials, Amount: "10"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", materials: "4"}) // a difference of -6
	gone := addCost(t, f, wilda, row.PieceID, service.NewCost{Kind: hours, Hours: "1"})
	void := addCost(t, f, wilda, row.PieceID, service.NewCost{Voids: gone.ID})
	tests := []struct {
		name string
		cost service.NewCost
		says string
	}{
		{"no kind", service.NewCost{Amount: "1"}, "materials_cost"},
		{"no amount", service.NewCost{Kind: materials}, "amount: is missing"},
		{"hours of a kind of money", service.NewCost{Kind: materials, Hours: "1"}, "hours: is not for materials_cost"},
		{"money for hours", service.NewCost{Kind: hours, Amount: "1"}, "amount: is not for hours"},
		{"too fine an amount", service.NewCost{Kind: materials, Amount: "1.005"}, "2 decimal places"},
		{"negative", service.NewCost{Kind: materials, Amount: "-1"}, "must not be negative"},
		{"a step of materials", service.NewCost{Kind: materials, Amount: "1", Step: "sand"}, "step: is for hours only"},
		{"tomorrow", service.NewCost{Kind: materials, Amount: "1", On: "2026-04-01"}, "in the future"},
		{"a novel", service.NewCost{Kind: materials, Amount: "1", Note: strings.Repeat("x", 1001)}, "note: "},
		{"undo with an amount", service.NewCost{Voids: line.ID, Amount: "1"}, "beside it there may only be a note"},
		{"undo of nothing", service.NewCost{Voids: row.ID}, "no cost line with the id"},
		{"undo twice", service.NewCost{Voids: gone.ID}, "undone already"},
		{"undo an undoing", service.NewCost{Voids: void.ID}, "record the cost again"},
		{"undo into less than nothing", service.NewCost{Voids: line.ID}, "undo the later lines first"},
	}
	before := len(costs(t, f, wilda, row.PieceID))
	for _, test := range tests {
		if _, err := f.Recording.AddCost(t.Context(), wilda, row.PieceID, test.cost); err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %v, want an error that says %q", test.name, err, test.says)
		}
	}
	// Another member's ledger is not there, also for an admin key.
	ottos := servicetest.Record(t, f, "Otto", service.Cells{"ref": "B-17", "category": "desk", "stage": "bought"})
	for who, piece := range map[*service.Actor]uuid.UUID{otto: row.PieceID, wilda: ottos.PieceID} {
		if _, err := f.Recording.AddCost(t.Context(), who, piece, service.NewCost{Kind: materials, Amount: "1"}); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("%s adds a line to another's piece: %v, want not found", who.Member, err)
		}
		if _, err := f.Recording.Costs(t.Context(), who, piece); !errors.Is(err, service.ErrNotFound) {
			t.Errorf("%s reads another's lines: %v, want not found", who.Member, err)
		}
	}
	if after := len(costs(t, f, wilda, row.PieceID)); after != before {
		t.Errorf("%d lines after refusals, want %d", after, before)
	}
}

// Undoing the event that first told a total makes it unknown again, as if
// nothing had been entered.
func TestUndoneTotalIsUnknown(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", "stage": "bought"})
	servicetest.Record(t, f, "Wilda", service.Cells{"ref": "B-17", "category": "desk", materials: "30"})
	events, err := f.Recording.Events(t.Context(), a, row.ID)
	if err != nil {
		t.Fatal(err)
	}
	undo := service.NewEvent{Kind: service.EventVoid, Voids: events[len(events)-1].ID}
	if _, err := f.Recording.AddEvent(t.Context(), a, row.ID, undo, nil); err != nil {
		t.Fatal(err)
	}
	if got := listing(t, f, a, row.ID).Ledger.Costs; len(got) > 0 {
		t.Errorf("totals %v after the undoing, want none", got)
	}
	if lines := costs(t, f, a, row.PieceID); len(lines) != 2 || lines[1].Voids != lines[0].ID || lines[0].VoidedBy != lines[1].ID {
		t.Errorf("lines %+v, want one and its undoing", lines)
	}
	if err := f.Recording.Delete(t.Context(), a, row.ID, nil); err != nil {
		t.Errorf("deleting a row with an undone line: %v", err)
	}
}

// Whatever is recorded, undone or shown by a sheet: the row's totals are the
// sums of its lines, and an undoing restores what was before.
func TestLedgerSumsAndUndo(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda")
	a := f.Actor(t, "Wilda")
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		ref := "P-" + strconv.Itoa(n)
		row := servicetest.Record(t, f, "Wilda", service.Cells{"ref": ref, "category": "desk", "stage": "on_bench"})
		amount := rapid.Int64Range(0, 500_000)
		for range rapid.IntRange(1, 6).Draw(rt, "steps") {
			kind := rapid.SampledFrom(service.CostKinds).Draw(rt, "kind")
			text := service.FormatCost(kind, service.Amount(amount.Draw(rt, "amount")), a.Group.Currency)
			before := listing(t, f, a, row.ID).Ledger.Costs
			if rapid.Bool().Draw(rt, "by sheet") {
				servicetest.Record(t, f, "Wilda", service.Cells{"ref": ref, "category": "desk", string(kind): text})
				continue
			}
			cost := service.NewCost{Kind: string(kind), Amount: text}
			if kind.IsHours() {
				cost.Amount, cost.Hours = "", text
			}
			line := addCost(t, f, a, row.PieceID, cost)
			if rapid.Bool().Draw(rt, "undo") {
				addCost(t, f, a, row.PieceID, service.NewCost{Voids: line.ID})
				if after := listing(t, f, a, row.ID).Ledger.Costs; !maps.Equal(after, before) {
					rt.Fatalf("after the undoing of %s %s: %v, want %v", kind, text, after, before)
				}
			}
		}
		sums := service.Costs{}
		holding := map[service.CostKind]bool{}
		for _, l := range costs(t, f, a, row.PieceID) {
			sums[l.Kind] += l.Amount
			holding[l.Kind] = holding[l.Kind] || (l.Voids == uuid.Nil && l.VoidedBy == uuid.Nil)
		}
		maps.DeleteFunc(sums, func(k service.CostKind, _ service.Amount) bool { return !holding[k] })
		if totals := listing(t, f, a, row.ID).Ledger.Costs; !maps.Equal(totals, sums) {
			rt.Fatalf("totals %v, sums of the lines %v", totals, sums)
		}
	})
}

// An admin does not see what another member paid, and yet cannot turn it into
// another currency.
func TestTheCurrencyStaysWithAnothersCosts(t *testing.T) {
	t.Parallel()
	f := servicetest.New(t, "Wilda", "Otto")
	yen, _ := service.CurrencyByCode("JPY")
	toYen := func() error {
		_, err := f.Members.UpdateGroup(t.Context(), f.Actor(t, "Wilda"), func(g *service.Group) error { g.Currency = yen; return nil })
		return err
	}
	servicetest.Record(t, f, "Otto", service.Cells{"ref": "B-17", "category": "desk", "stage": "bought", "purchase_cost": "40"})
	if err := toYen(); !errors.Is(err, service.ErrConflict) {
		t.Errorf("another currency over another member's costs: %v, want a conflict", err)
	}
}
