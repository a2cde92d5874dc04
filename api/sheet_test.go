package api_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"askwright/api/wire"
)

func (s *site) sendSheet(t *testing.T, query, mediaType, body string) reply {
	t.Helper()
	return s.do(t, call{method: "POST", path: "/v1/imports" + query, key: s.Keys["Otto"], body: body, header: []string{"Content-Type", mediaType}})
}

const ownSheet = `Otto's flips,,,,,,
,,,,,,
Tag,What,Up since,Price,Shelf,Sold on,Sold for
B-1,dresser,8/9/25,$380 obo,left,,
B-2,night stand,8/21/25,"1,250",right,9/1/25,$1000
B-3,desk,8/30/25,~200,left,,
Total,,,1830,,,1000
`

func TestASheetIsLookedAtCorrectedAndKept(t *testing.T) {
	t.Parallel()
	s := setup(t)
	first := want[wire.Import](t, s.sendSheet(t, "?name=flips.csv", "text/csv", ownSheet), 201)
	if first.HeadingRow != 3 || first.Received != 3 || first.Created != 3 || len(first.Skipped) != 1 || first.State != "open" || first.Name != "flips.csv" {
		t.Errorf("first look: %+v", first)
	}
	if len(first.Questions) != 3 || first.Questions[1].Code != "heading" || first.Questions[1].Proposed != "-" {
		t.Fatalf("questions: %+v", first.Questions)
	}
	path := "/v1/imports/" + first.ID.String()
	wantProblem(t, s.do(t, call{method: "POST", path: path + "/commits", key: s.Keys["Otto"], body: `{}`}), 409, "conflict")
	then := want[wire.Import](t, s.do(t, call{method: "PATCH", path: path, key: s.Keys["Otto"],
		body: `{"mapping":[{"heading":"Shelf","column":"notes"}],"answers":[{"id":"q1","answer":"ask"}],"take_proposed":true}`}), 200)
	if len(then.Questions) != 2 || *then.Mapping[4].Column != "notes" {
		t.Errorf("after the correction: %+v", then)
	}
	rows := want[wire.ImportRowPage](t, s.do(t, call{method: "GET", path: path + "/rows", key: s.Keys["Otto"]}), 200)
	if len(rows.Items) != 3 || rows.Items[0].Ref != "B-1" || rows.Items[0].Row != 4 {
		t.Errorf("rows: %+v", rows)
	}
	dry := want[wire.Import](t, s.do(t, call{method: "POST", path: path + "/commits", key: s.Keys["Otto"], body: `{"dry_run":true}`}), 200)
	if dry.Created != 3 || dry.State != "open" {
		t.Errorf("dry: %+v", dry)
	}
	kept := want[wire.Import](t, s.do(t, call{method: "POST", path: path + "/commits", key: s.Keys["Otto"], body: `{}`}), 200)
	if kept.Created != 3 || kept.State != "committed" {
		t.Errorf("kept: %+v", kept)
	}
	again := want[wire.Import](t, s.sendSheet(t, "", "text/csv", ownSheet), 201)
	if openQuestions(again) != 0 || again.Unchanged != 3 {
		t.Errorf("what was said is not remembered: %+v", again)
	}
	// What stands in the cleaned rows lands as it is.
	csv := s.do(t, call{method: "GET", path: path + "/rows.csv", key: s.Keys["Otto"]})
	strict := want[landed](t, s.sendSheet(t, "?commit=true", "text/csv", csv.body), 200)
	if strict.Unchanged != 3 {
		t.Errorf("the cleaned rows: %+v", strict)
	}
}

func TestASheetIsItsMembersAlone(t *testing.T) {
	t.Parallel()
	s := setup(t)
	first := want[wire.Import](t, s.sendSheet(t, "", "text/csv", ownSheet), 201)
	path := "/v1/imports/" + first.ID.String()
	wantProblem(t, s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"]}), 404, "not-found")
	mine := want[wire.ImportPage](t, s.do(t, call{method: "GET", path: "/v1/imports", key: s.Keys["Otto"]}), 200)
	if len(mine.Items) != 1 || mine.Items[0].ID != first.ID {
		t.Errorf("%+v", mine)
	}
	if r := s.do(t, call{method: "DELETE", path: path, key: s.Keys["Otto"]}); r.StatusCode != 204 {
		t.Errorf("%d %s", r.StatusCode, r.body)
	}
	wantProblem(t, s.do(t, call{method: "GET", path: path, key: s.Keys["Otto"]}), 404, "not-found")
}

func TestWrongAnswersNameWhatIsWrong(t *testing.T) {
	t.Parallel()
	s := setup(t)
	first := want[wire.Import](t, s.sendSheet(t, "", "text/csv", strings.ReplaceAll(ownSheet, "8/21", "8/2")), 201)
	path := "/v1/imports/" + first.ID.String()
	for body, reason := range map[string]string{
		`{"mapping":[{"heading":"Shelf","column":"nots"}]}`: "did you mean notes?",
		`{"mapping":[{"heading":"Shelves","column":null}]}`: `no heading "Shelves"`,
		`{"answers":[{"id":"q99","answer":"x"}]}`:           `no question "q99"`,
	} {
		p := wantProblem(t, s.do(t, call{method: "PATCH", path: path, key: s.Keys["Otto"], body: body}), 422, "invalid")
		if !strings.Contains(p.Detail, reason) {
			t.Errorf("%s: %s", body, p.Detail)
		}
	}
	all := want[wire.Import](t, s.do(t, call{method: "PATCH", path: path, key: s.Keys["Otto"], body: `{"take_proposed":true}`}), 200)
	if openQuestions(all) > 0 {
		t.Errorf("still open: %+v", all.Questions)
	}
}

func openQuestions(i wire.Import) (n int) {
	for _, q := range i.Questions {
		if q.Answer == nil {
			n++
		}
	}
	return n
}

func TestFilesThatAreNoSheetsAreNamedAndNotKept(t *testing.T) {
	t.Parallel()
	s := setup(t)
	ods := "PK\x03\x04\x14\x00\x00\x00\x00\x00\x00\x00\x00\x00\x85\x6c\x39\x8a\x2e\x00\x00\x00\x2e\x00\x00\x00\x08\x00\x00\x00mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
	locked := "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + strings.Repeat("\x00", 600) + "E\x00n\x00c\x00r\x00y\x00p\x00t\x00e\x00d\x00P\x00a\x00c\x00k\x00a\x00g\x00e\x00"
	for what, body := range map[string]string{
		"a picture (PNG)":  "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
		"OpenDocument":     ods,
		"password":         locked,
		"old kind (.xls)":  "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + strings.Repeat("\x00", 600),
		"bank statement":   "Date,Details,Debit,Credit,Balance\n2026-01-02,card,12,,88\n",
		"is empty":         "\n",
		"Two tables stand": "Item,Asking,Listed,,Item,Asking,Listed\ndesk,100,2026-01-02,,desk,100,2026-01-02\n",
		"a web page":       "<!DOCTYPE html><p>sign in</p>",
	} {
		p := wantProblem(t, s.sendSheet(t, "", "text/csv", body), 400, "malformed")
		if !strings.Contains(p.Detail, what) {
			t.Errorf("%s: %s", what, p.Detail)
		}
	}
	if mine := want[wire.ImportPage](t, s.do(t, call{method: "GET", path: "/v1/imports", key: s.Keys["Otto"]}), 200); len(mine.Items) != 0 {
		t.Errorf("kept all the same: %+v", mine)
	}
}

func TestAWorkbooksDaysNumbersAndMergedCellsAreRead(t *testing.T) {
	t.Parallel()
	s := setup(t)
	book := sheetOf(t, [][]any{{"My pieces"}, {"Tag", "Item", "Listed", "Asking"}, {1, "desk", 46000, 380.5}, {2, "bench", 46010, 90}, {3, nil, 46020, 95}})
	day := 14
	style, err := book.NewStyle(&excelize.Style{NumFmt: day})
	if err != nil {
		t.Fatal(err)
	}
	if err := book.SetCellStyle("Sheet1", "C3", "C5", style); err != nil {
		t.Fatal(err)
	}
	if err := book.MergeCell("Sheet1", "B4", "B5"); err != nil {
		t.Fatal(err)
	}
	if _, err := book.NewSheet("Old"); err != nil {
		t.Fatal(err)
	}
	if err := book.SetSheetRow("Old", "A1", &[]any{"Tag", "Item", "Listed", "Asking"}); err != nil {
		t.Fatal(err)
	}
	first := want[wire.Import](t, s.sendSheet(t, "", xlsx, string(save(t, book))), 201)
	if first.Sheet != "Sheet1" || first.Created != 3 || len(first.OtherSheets) != 1 || len(first.Questions) != 1 || first.Questions[0].Code != "merged" {
		text, _ := json.Marshal(first)
		t.Errorf("%s", text)
	}
}

func TestEncodingsOfCSVAreRead(t *testing.T) {
	t.Parallel()
	s := setup(t)
	plain := "Tag,Item,Listed,Asking,Notes\n1,desk,2026-03-01,$380,caf\u00e9\n"
	wide := "\xff\xfe"
	for _, r := range plain {
		wide += string([]byte{byte(r), byte(r >> 8)})
	}
	for name, body := range map[string]string{"UTF-8": plain, "UTF-16": wide, "Windows-1252": strings.ReplaceAll(plain, "\u00e9", "\xe9"), "semicolons": strings.ReplaceAll(plain, ",", ";")} {
		first := want[wire.Import](t, s.sendSheet(t, "", "text/csv", body), 201)
		if first.Created != 1 || first.Mapping[4].Examples[0] != "caf\u00e9" {
			t.Errorf("%s: %+v", name, first)
		}
	}
}

func TestRowsOfOthersThatSayNothingNewAreUnchanged(t *testing.T) {
	t.Parallel()
	s := setup(t)
	s.create(t, "Wilda", sideboard)
	s.create(t, "Otto", `{"ref":"O-1","category":"desk","listed_on":"2026-03-01","ask":200}`)
	export := s.do(t, call{method: "GET", path: "/v1/listings.csv", key: s.Keys["Otto"]})
	again := want[landed](t, s.sendSheet(t, "?commit=true", "text/csv", export.body), 200)
	if again.Unchanged != 2 || again.Rejected != 0 {
		t.Errorf("a whole export sent back: %+v", again)
	}
	changed := s.sendSheet(t, "?commit=true", "text/csv", strings.Replace(export.body, "sideboard", "desk", 1))
	if got := want[landed](t, changed, 200); got.Rejected != 1 || got.Unchanged != 1 {
		t.Errorf("a friend's row with news: %+v", got)
	}
}

func TestRowsThatLookLikeSlipsAreShownBeforeTheyLand(t *testing.T) {
	t.Parallel()
	s := setup(t)
	rows := "Tag,Item,Width,Listed,Asking\n"
	for i := range 10 {
		rows += fmt.Sprintf("D-%d,desk,%d,2026-02-%02d,$%d\n", i, 44+i, i+1, 190+10*i)
	}
	first := want[wire.Import](t, s.sendSheet(t, "", "text/csv", rows+"D-77,desk,121,2026-02-20,$2300\n"), 201)
	if first.Doubtful != 1 || len(first.Doubts) != 2 || first.Created != 11 {
		t.Fatalf("%d doubtful: %+v", first.Doubtful, first.Doubts)
	}
	for i, proposed := range []string{"230.00", "47.6"} {
		if first.Doubts[i].Proposed != proposed || first.Doubts[i].Row != 12 {
			t.Errorf("%+v", first.Doubts[i])
		}
	}
}
