package service

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func testReader(t testing.TB) *Reader {
	t.Helper()
	return &Reader{Currency: usd(t), Unit: UnitInch, Today: march31}
}

// listed is a plain open listing, with cells laid over it.
func listed(more Cells) Cells {
	cells := Cells{"ref": "B-17", "category": "sideboard", "listed_on": "2026-03-01", "ask": "480"}
	maps.Copy(cells, more)
	return cells
}

// onFile reads cells as a new row, as it would be on file afterwards.
func onFile(t testing.TB, r *Reader, cells Cells) *Listing {
	t.Helper()
	change, wrong := r.Change(nil, cells, ChangeOptions{})
	if wrong != nil {
		t.Fatalf("%v: %v", cells, wrong)
	}
	return change.New
}

func TestRefusedRows(t *testing.T) {
	tests := []struct {
		name   string
		cells  Cells
		column string
		reason string
	}{
		{"no ref", Cells{"category": "desk", "stage": "found"}, "ref", "is missing"},
		{"no category", Cells{"ref": "A", "stage": "found"}, "category", "is missing"},
		{"neither listed nor in the yard", Cells{"ref": "A", "category": "desk"}, "stage", "is missing"},
		{"listed without an ask", Cells{"ref": "A", "category": "desk", "listed_on": "2026-03-01"}, "ask", "is missing"},
		{"an ask without a day", Cells{"ref": "A", "category": "desk", "ask": "10"}, "listed_on", "is missing"},
		{"sold without a price", listed(Cells{"outcome": "sold", "ended_on": "2026-03-05"}), "sale_price", "is missing"},
		{"sold without a day", listed(Cells{"outcome": "sold", "sale_price": "400"}), "ended_on", "is missing"},
		{"sale before listing", listed(Cells{"outcome": "sold", "ended_on": "2026-02-05", "sale_price": "400"}), "ended_on", "before listed_on"},
		{"pulled with a price", listed(Cells{"outcome": "pulled", "ended_on": "2026-03-05", "sale_price": "400"}), "sale_price", "has no"},
		{"open with an end", listed(Cells{"ended_on": "2026-03-05"}), "outcome", "say sold or pulled"},
		{"open with a price", listed(Cells{"sale_price": "5"}), "outcome", "say sold"},
		{"absurd width", listed(Cells{"width": "4000", "unit": "cm"}), "width", "40.0 m"},
		{"negative depth", listed(Cells{"depth": "-4"}), "depth", "more than zero"},
		{"zero ask", listed(Cells{"ask": "0"}), "ask", "more than zero"},
		{"negative cost", listed(Cells{"purchase_cost": "-4"}), "purchase_cost", "not be negative"},
		{"grade 6", listed(Cells{"condition": "6"}), "condition", "not one of"},
		{"unknown outcome", listed(Cells{"outcome": "gone"}), "outcome", "open, sold, pulled"},
		{"overlapping pauses", listed(Cells{"pauses": "2026-03-05/2026-03-12;2026-03-11/2026-03-13"}), "pauses", "overlaps"},
		{"pause before listing", listed(Cells{"pauses": "2026-02-05/2026-03-12"}), "pauses", "before listed_on"},
		{"pause after the end", listed(Cells{"pauses": "2026-03-05/2026-03-12", "outcome": "pulled", "ended_on": "2026-03-10"}), "pauses", "after ended_on"},
		{"backward pause", listed(Cells{"pauses": "2026-03-12/2026-03-05"}), "pauses", "not after"},
		{"asks from another day", listed(Cells{"ask_history": "2026-03-02:500;2026-03-09:480"}), "ask_history", "start on listed_on"},
		{"asks to another amount", listed(Cells{"ask_history": "2026-03-01:500;2026-03-09:450"}), "ask_history", "present ask"},
		{"asks out of order", listed(Cells{"ask_history": "2026-03-01:500;2026-03-09:450;2026-03-05:480"}), "ask_history", "order"},
		{"last seen of one's own", listed(Cells{"last_seen_on": "2026-03-05"}), "last_seen_on", "observed"},
		{"resumed without a pause", listed(Cells{"resumed_on": "2026-03-05"}), "resumed_on", "no pause"},
		{"a NUL", listed(Cells{"maker": "a\x00b"}), "maker", "NUL"},
		{"no UTF-8", listed(Cells{"notes": "a\xffb"}), "notes", "UTF-8"},
		{"a novel", listed(Cells{"style": strings.Repeat("x", 101)}), "style", "longer"},
		{"items without a count", listed(Cells{"set_items": "dining_table"}), "set_items", "how many"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, wrong := testReader(t).Change(nil, test.cells, ChangeOptions{})
			if len(wrong) != 1 || wrong[0].Column != test.column || !strings.Contains(wrong[0].Reason, test.reason) {
				t.Errorf("errors %+v; want one of %s with %q", wrong, test.column, test.reason)
			}
		})
	}
}

func TestAskChanges(t *testing.T) {
	r := testReader(t)
	old := onFile(t, r, listed(nil))
	tests := []struct {
		name  string
		old   *Listing
		cells Cells
		want  string
	}{
		{"a new ask of an open listing counts from today", old, Cells{"ask": "430"}, "2026-03-01:480.00;2026-03-31:430.00"},
		{"the same ask adds nothing", old, Cells{"ask": "480.00"}, "2026-03-01:480.00"},
		{"a history replaces", old, Cells{"ask_history": "2026-03-01:500;2026-03-09:470"}, "2026-03-01:500.00;2026-03-09:470.00"},
		{"a first ask of today is corrected", onFile(t, r, listed(Cells{"listed_on": "2026-03-31"})), Cells{"ask": "430"}, "2026-03-31:430.00"},
		{"an ended listing's ask is corrected", onFile(t, r, listed(Cells{"outcome": "pulled", "ended_on": "2026-03-20"})), Cells{"ask": "430"}, "2026-03-01:430.00"},
		{"another first day moves the first ask", old, Cells{"listed_on": "2026-02-20"}, "2026-02-20:480.00"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			change, wrong := r.Change(test.old, test.cells, ChangeOptions{})
			if wrong != nil {
				t.Fatal(wrong)
			}
			if got := formatAsks(change.New.Asks, r.Currency); got != test.want {
				t.Errorf("asks %s, want %s", got, test.want)
			}
		})
	}
}

func TestPauseShorthand(t *testing.T) {
	r := testReader(t)
	row := onFile(t, r, listed(Cells{"paused_on": "2026-03-05"}))
	steps := []struct {
		cells Cells
		want  string
	}{
		{Cells{"paused_on": "2026-03-05"}, "2026-03-05/.."}, // again: nothing new
		{Cells{"resumed_on": "2026-03-12"}, "2026-03-05/2026-03-12"},
		{Cells{"resumed_on": "2026-03-12"}, "2026-03-05/2026-03-12"},
		{Cells{"paused_on": "2026-03-12", "resumed_on": "2026-03-14"}, "2026-03-05/2026-03-14"}, // adjoining ones are one
		{Cells{"paused_on": "2026-03-25"}, "2026-03-05/2026-03-14;2026-03-25/.."},
		{Cells{"outcome": "sold", "ended_on": "2026-03-28", "sale_price": "400"}, "2026-03-05/2026-03-14;2026-03-25/2026-03-28"},
	}
	for _, step := range steps {
		change, wrong := r.Change(row, step.cells, ChangeOptions{})
		if wrong != nil {
			t.Fatalf("%v: %v", step.cells, wrong)
		}
		row = change.New
		if got := getPauses(row, r.Currency); got != step.want {
			t.Fatalf("after %v: pauses %s, want %s", step.cells, got, step.want)
		}
	}
}

func TestBlankCells(t *testing.T) {
	r := testReader(t)
	old := onFile(t, r, listed(Cells{"finish": "painted", "width": "60", "messages": "4", "own_price": "500", "purchase_cost": "80"}))
	change, wrong := r.Change(old, Cells{"finish": "", "width": "", "messages": "", "own_price": "", "purchase_cost": "", "ask": "", "outcome": ""}, ChangeOptions{})
	if wrong != nil {
		t.Fatal(wrong)
	}
	got := change.New
	if got.Finish != "" || got.Width != 0 {
		t.Errorf("a blank description is unknown: finish %q, width %v", got.Finish, got.Width)
	}
	if got.Messages == nil || got.Estimate != 50000 || got.Ledger.Costs[CostPurchase] != 8000 || got.CurrentAsk() != 48000 || got.Outcome != OutcomeOpen {
		t.Errorf("blank cells changed what they leave alone: %+v", got)
	}
}

func TestEventsOfAChange(t *testing.T) {
	r := testReader(t)
	old := onFile(t, r, listed(nil))
	change, wrong := r.Change(old, Cells{
		"ask": "430", "messages": "3", "finish": "painted", "purchase_cost": "80", "outcome": "sold", "ended_on": "2026-03-31", "sale_price": "420",
	}, ChangeOptions{})
	if wrong != nil {
		t.Fatal(wrong)
	}
	kinds := map[string]bool{}
	for _, e := range change.Events {
		kinds[e.Kind] = e.Private
	}
	want := map[string]bool{EventAsk: false, EventInterest: false, EventCorrection: false, EventLedger: true, EventSold: false}
	if !maps.Equal(kinds, want) {
		t.Errorf("events (private) %v, want %v", kinds, want)
	}
}

func TestOpenWords(t *testing.T) {
	r := testReader(t)
	change, wrong := r.Change(nil, listed(Cells{"category": "Bedside Table", "finish": "paintd", "color": "Gray", "condition": "4"}), ChangeOptions{})
	if wrong != nil {
		t.Fatal(wrong)
	}
	got := change.New
	if got.Category != "nightstand" || got.Finish != "paintd" || got.Color != "grey" || got.Condition != 4 {
		t.Errorf("words %s %s %s %d", got.Category, got.Finish, got.Color, got.Condition)
	}
	if want := []NewValue{{Column: "finish", Value: "paintd", Nearest: "painted"}}; !slices.Equal(change.NewValues, want) {
		t.Errorf("new values %v, want %v", change.NewValues, want)
	}
}

// What a row is written as, it is read as.
func TestRowRoundTrip(t *testing.T) {
	r := testReader(t)
	rapid.Check(t, func(rt *rapid.T) {
		cells := listed(nil)
		pick := func(name string, from ...string) {
			if v := rapid.SampledFrom(append(from, "")).Draw(rt, name); v != "" {
				cells[name] = v
			}
		}
		pick("width", "35 1/2", "60", "90 cm")
		pick("condition", "good", "5")
		pick("finish", "painted", "two_tone")
		pick("ask_history", "2026-03-01:500;2026-03-09:480")
		pick("pauses", "2026-03-05/2026-03-12", "2026-03-05/2026-03-12;2026-03-20/..")
		pick("set_items", "dining_table:1;dining_chair:6")
		pick("hours", "3.25", "10")
		pick("purchase_cost", "0", "85.50")
		pick("messages", "0", "7")
		pick("maker", "'quoted'", "=1+1", "a;b,c\"d\"")
		row := onFile(t, r, cells)
		written := Cells{}
		for i := range Columns {
			if c := &Columns[i]; !c.InputOnly && !c.ReadOnly {
				written[c.Name] = c.Value(row, r.Currency)
			}
		}
		change, wrong := r.Change(row, written, ChangeOptions{})
		if wrong != nil || len(change.Events) > 0 {
			rt.Fatalf("%v is read back with errors %v, events %+v", written, wrong, change)
		}
	})
}
