package api

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"askwright/api/web"
)

type tabled struct {
	Name   string       `json:"name"`
	On     *string      `json:"on" format:"date"`
	State  string       `json:"state" enums:"open,sold"`
	Paid   *web.Number  `json:"paid,omitempty" csv:"money"`
	Tries  int          `json:"tries,omitempty"`
	Left   int          `json:"left"`
	Fine   bool         `json:"fine"`
	Checks []string     `json:"checks"`
	Inner  *tabledPart  `json:"inner"`
	List   []tabledPart `json:"list" csv:"embedded"`
}

type tabledPart struct {
	Size web.Number `json:"size"`
}

func (p tabledPart) InCell() string { return "size:" + string(p.Size) }

func TestColumnsFollowFromFieldsAndTheirTags(t *testing.T) {
	columns := web.ColumnsOf[tabled](`name on state paid tries left fine checks size=inner.size first=list.size list`)
	on, paid := "2026-03-05", web.Number("4.50")
	parts := []tabledPart{{"7"}, {"8"}}
	full := tabled{"=1", &on, "open", &paid, 2, 0, true, []string{"a", "b"}, &parts[0], parts}
	for _, test := range []struct {
		column, full, empty string
		kind                web.CellKind
	}{
		{"name", "=1", "", web.TextCell}, {"on", "2026-03-05", "", web.PlainCell}, {"state", "open", "", web.PlainCell},
		{"paid", "4.50", "", web.MoneyCell}, {"tries", "2", "", web.NumberCell}, {"left", "0", "0", web.NumberCell},
		{"fine", "true", "false", web.PlainCell}, {"checks", "a;b", "", web.TextCell}, {"size", "7", "", web.NumberCell},
		{"first", "7", "", web.NumberCell}, {"list", "size:7;size:8", "", web.EmbeddedCell},
	} {
		for _, c := range web.Pick(columns, []string{test.column}) {
			got := []any{c.Value(full), c.Value(tabled{}), c.Kind}
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
	web.ColumnsOf[tabled](`name nothing`)
}
