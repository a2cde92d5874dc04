package sheet_test

import (
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"

	"askwright/service/sheet"
)

// rule is a row of the table of rules in the guide.
type rule struct{ name, heading, cell, want, asked string }

func rulesOfGuide(t *testing.T) []rule {
	t.Helper()
	text, err := os.ReadFile("../../docs/importing.md")
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile("(?m)^\\| `(\\w+)` \\| ([^|]+?) \\| `([^|]+)` \\| ([^|]*?) ?\\| ([^|]*?) ?\\|$")
	var rules []rule
	for _, m := range row.FindAllStringSubmatch(string(text), -1) {
		rules = append(rules, rule{m[1], m[2], m[3], m[4], m[5]})
	}
	if len(rules) < 60 {
		t.Fatalf("only %d rules are in the guide", len(rules))
	}
	return rules
}

// sheetWith is a sheet of one row with a cell of its own beside what a listing
// needs.
func sheetWith(heading, cell string) *sheet.Grid {
	names := []string{"Tag", "Item", "Listed", "Asking"}
	values := []string{"B-1", "desk", "2026-06-01", "250"}
	at := -1
	for i, name := range names {
		if name == heading {
			at = i
		}
	}
	if at < 0 {
		names, values = append(names, heading), append(values, cell)
	} else {
		values[at] = cell
	}
	g := &sheet.Grid{Rows: make([][]sheet.Cell, 2)}
	for i := range names {
		g.Rows[0] = append(g.Rows[0], sheet.Cell{Text: names[i]})
		g.Rows[1] = append(g.Rows[1], sheet.Cell{Text: values[i]})
	}
	return g
}

func TestEveryRuleReadsAsItsExampleInTheGuide(t *testing.T) {
	for _, r := range rulesOfGuide(t) {
		t.Run(r.name+" "+r.cell, func(t *testing.T) {
			look, err := sheet.At(sheetWith(r.heading, r.cell), sheet.Settings{Reader: readerOf(t, "USD", "in")})
			if err != nil {
				t.Fatal(err)
			}
			got := look.Rows[0]
			rules := map[string]bool{}
			for _, read := range got.Read {
				rules[read.Rule] = true
			}
			if !rules[r.name] {
				t.Errorf("the rule is not among %v", rules)
			}
			for part := range strings.SplitSeq(r.want, ", ") {
				name, value, _ := strings.Cut(part, " ")
				if name != "" && got.Cells[name] != value {
					t.Errorf("%s is %q, not %q", name, got.Cells[name], value)
				}
			}
			asked := ""
			for _, q := range look.Questions {
				if q.Code != "heading" {
					asked = q.Code
				}
			}
			if asked != r.asked {
				t.Errorf("asked %q, not %q (%+v)", asked, r.asked, look.Questions)
			}
		})
	}
}

func TestAnswersAndMappingsAreTakenAndAskedOnce(t *testing.T) {
	g := gridOf(t, "Tag,Item,Listed,Price,Shelf\n1,desk,8/9/26,1.500,oak\n2,desk,8/10/26,200,pine\n")
	reader := readerOf(t, "USD", "in")
	first, err := sheet.At(g, sheet.Settings{Reader: reader})
	if err != nil {
		t.Fatal(err)
	}
	if first.Open() != 4 || len(first.Questions) != 4 {
		t.Fatalf("%d questions: %+v", first.Open(), first.Questions)
	}
	answers := map[string]string{}
	for _, q := range first.Questions {
		answers[q.Key] = map[string]string{"date_order": "dmy", "thousands": "1.50", "heading": q.Proposed}[q.Code]
	}
	then, err := sheet.At(g, sheet.Settings{Reader: reader, Answers: answers, Columns: map[string]string{"shelf": "wood"}})
	if err != nil {
		t.Fatal(err)
	}
	if then.Open() != 0 {
		t.Errorf("still asked: %+v", then.Questions)
	}
	row := then.Rows[0]
	if row.Cells["listed_on"] != "2026-09-08" || row.Cells["ask"] != "1.50" || row.Cells["wood"] != "oak" {
		t.Errorf("answers do not count: %v", row.Cells)
	}
	if row.Read["ask"].Open {
		t.Error("an answered reading is open")
	}
}

func TestAColumnProvesTheOrderOfItsDaysAndOneThatProvesBothIsAskedAbout(t *testing.T) {
	reader := readerOf(t, "USD", "in")
	reader.DateOrder = "mdy"
	look, err := sheet.At(gridOf(t, "Tag,Item,Listed,Asking\n1,desk,8/9/26,150\n2,desk,21/8/26,200\n"), sheet.Settings{Reader: reader})
	if err != nil || look.Open() != 0 || look.Rows[0].Cells["listed_on"] != "2026-09-08" {
		t.Errorf("%v, %+v", err, look)
	}
	look, err = sheet.At(gridOf(t, "Tag,Item,Listed,Asking\n1,desk,8/9/26,150\n2,desk,21/8/26,200\n3,desk,8/21/26,200\n"), sheet.Settings{Reader: reader})
	if err != nil || look.Open() != 1 || !strings.Contains(look.Questions[0].Text, "both orders") {
		t.Errorf("%v, %+v", err, look)
	}
}

func TestASheetProvesItsDecimalMark(t *testing.T) {
	look, err := sheet.At(gridOf(t, "Tag,Item,Listed,Asking,Paid\n1,desk,2026-06-01,1.500,\"12,50\"\n"), sheet.Settings{Reader: readerOf(t, "USD", "in")})
	if err != nil || look.Open() != 0 || look.Rows[0].Cells["ask"] != "1500" || look.Rows[0].Cells["purchase_cost"] != "12.50" {
		t.Errorf("%v, %+v", err, look)
	}
}

// What a row says is never dropped without being told.
func TestAStatusThatContradictsTheRowKeepsBothForTheReader(t *testing.T) {
	look, err := sheet.At(gridOf(t, "Tag,Item,Listed,Asking,Status,Date sold\n1,desk,2026-06-01,150,open,2026-07-01\n"), sheet.Settings{Reader: readerOf(t, "USD", "in")})
	if err != nil {
		t.Fatal(err)
	}
	if _, wrong := listing(t, readerOf(t, "USD", "in"), look.Rows[0].Cells); wrong == nil {
		t.Error("an open row with an end landed")
	}
}

func TestASheetThatIsSomethingElseIsNamed(t *testing.T) {
	wide := strings.Repeat(",col", 36)
	for _, c := range []struct{ name, text, code string }{
		{"a bank statement", "Date,Description,Debit,Credit,Balance\n2026-01-02,CARD,12.00,,100\n", "bank_statement"},
		{"a ledger of another trade", "Date,SKU,Item,Price" + wide + "\n2026-01-02,7,sourdough loaf,6\n2026-01-03,8,rye bread,7\n2026-01-03,9,baguette,3\n", "other_trade"},
		{"a list of addresses", "Street,Zip,Phone no.,Mail\nMill Lane 1,1234,5,x\n", "no_pieces"},
		{"two tables below each other", "Tag,Item,Listed,Asking\n1,desk,2026-06-01,150\n\nItem,Paid,Date bought,Notes\ntrunk,30,2026-01-01,\n", "two_tables"},
		{"two tables side by side", "Tag,Item,Asking,,Tag,Item,Asking\n1,desk,150,,2,desk,100\n", "two_tables"},
		{"an empty sheet", "\n\n", "empty"},
		{"no kinds", "Tag,Listed,Asking\n1,2026-06-01,150\n", "no_category"},
	} {
		t.Run(c.name, func(t *testing.T) {
			look, err := sheet.At(gridOf(t, c.text), sheet.Settings{Reader: readerOf(t, "USD", "in")})
			var refused *sheet.Refusal
			if !errors.As(err, &refused) || refused.Code != c.code {
				t.Errorf("%v, %+v", err, look)
			}
		})
	}
}

// Whatever stands in a sheet, it is read without a fault, and each value that
// was not asked about is one that the listing row takes.
func FuzzCellsAreTakenOrAskedAbout(f *testing.F) {
	for _, seed := range []string{"$380 obo", "1.250,00", "4'2\"", "50W x 18D x 32H", "8/21/26", "23 Jun 2026", "9/15 $200; 10/1 $180", "set of 6 chairs", "3-4 hours", "½", "'", "1'250", "x", "31/31/31", "Feb 30"} {
		for i := range fuzzHeadings {
			f.Add(seed, uint8(i))
		}
	}
	f.Fuzz(func(t *testing.T, cell string, which uint8) {
		heading := fuzzHeadings[int(which)%len(fuzzHeadings)]
		reader := readerOf(t, "USD", "in")
		look, err := sheet.At(sheetWith(heading, cell), sheet.Settings{Reader: reader})
		if err != nil || len(look.Rows) == 0 || look.Open() > 0 {
			return
		}
		cells := look.Rows[0].Cells
		_, wrong := listing(t, reader, cells)
		for _, w := range wrong {
			read := look.Rows[0].Read[w.Column]
			if strings.Contains(w.Reason, "is not an amount") || strings.Contains(w.Reason, "is not a day") || strings.Contains(w.Reason, "is not a length") {
				t.Errorf("%s %q was read as %q: %s", heading, cell, read.Value, w.Reason)
			}
		}
	})
}

var fuzzHeadings = []string{"Asking", "Listed", "Width", "Size", "Item", "Cond", "Status", "Price drops", "Hrs", "Look", "Sold for", "Views", "Date sold"}
