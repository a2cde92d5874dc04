package api

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

type tabled struct {
	Name   string       `json:"name"`
	On     *string      `json:"on" format:"date"`
	State  string       `json:"state" enums:"open,sold"`
	Paid   *number      `json:"paid,omitempty" csv:"money"`
	Tries  int          `json:"tries,omitempty"`
	Left   int          `json:"left"`
	Fine   bool         `json:"fine"`
	Checks []string     `json:"checks"`
	Inner  *tabledPart  `json:"inner"`
	List   []tabledPart `json:"list" csv:"embedded"`
}

type tabledPart struct {
	Size number `json:"size"`
}

func (p tabledPart) code() string { return "size:" + string(p.Size) }

func TestColumnsFollowFromFieldsAndTheirTags(t *testing.T) {
	columns := columnsOf[tabled](`name on state paid tries left fine checks size=inner.size first=list.size list`)
	on, paid := "2026-03-05", number("4.50")
	parts := []tabledPart{{"7"}, {"8"}}
	full := tabled{"=1", &on, "open", &paid, 2, 0, true, []string{"a", "b"}, &parts[0], parts}
	for _, test := range []struct {
		column, full, empty string
		kind                cellKind
	}{
		{"name", "=1", "", textCell}, {"on", "2026-03-05", "", plainCell}, {"state", "open", "", plainCell},
		{"paid", "4.50", "", moneyCell}, {"tries", "2", "", numberCell}, {"left", "0", "0", numberCell},
		{"fine", "true", "false", plainCell}, {"checks", "a;b", "", textCell}, {"size", "7", "", numberCell},
		{"first", "7", "", numberCell}, {"list", "size:7;size:8", "", embeddedCell},
	} {
		for _, c := range pick(columns, []string{test.column}) {
			got := []any{c.value(full), c.value(tabled{}), c.kind}
			if diff := cmp.Diff([]any{test.full, test.empty, test.kind}, got); diff != "" {
				t.Errorf("%s: %s", test.column, diff)
			}
		}
	}
	if len(columns) != 11 {
		t.Errorf("%d columns", len(columns))
	}
}

func TestATableThatNamesNoFieldStopsTheProgram(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("a column without a field was taken")
		}
	}()
	columnsOf[tabled](`name nothing`)
}
