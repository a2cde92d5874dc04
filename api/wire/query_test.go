package wire

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/google/go-cmp/cmp"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
	"askwright/service/webhook"
)

type asked struct {
	Name  string       `form:"name"`
	By    string       `form:"by" enums:"piece,month" default:"piece"`
	On    pricing.Date `form:"on"`
	Limit int          `form:"limit" default:"100" cap:"1000"`
	Width int          `form:"width" default:"480" min:"40" max:"1600"`
	Net   float64      `form:"net"`
	web.TableQuery
}

func TestParametersAreReadByTheirTags(t *testing.T) {
	table := web.TableQuery{Delimiter: ",", Decimal: "."}
	for _, test := range []struct {
		query, refused string
		want           asked
	}{
		{"", "", asked{By: "piece", Limit: 100, Width: 480, TableQuery: table}},
		{"name=+a+&by=month&limit=5000&width=40&net=4.5", "",
			asked{Name: "a", By: "month", Limit: 1000, Width: 40, Net: 4.5, TableQuery: table}},
		{"fields=ref,ask&delimiter=tab&decimal=,&bom=true&key=k", "", asked{By: "piece", Limit: 100, Width: 480,
			TableQuery: web.TableQuery{Fields: web.ColumnList{"ref", "ask"}, Delimiter: "\t", Decimal: ",", BOM: true, Key: "k"}}},
		{query: "by=year", refused: `"year" is not one of piece, month`},
		{query: "on=5.3.2026", refused: `"5.3.2026" is not a day like 2026-03-05`},
		{query: "limit=0", refused: `"0" is not a whole number of 1 or more`},
		{query: "width=39", refused: "expected 40 to 1600"},
		{query: "width=1601", refused: "expected 40 to 1600"},
		{query: "net=1e3", refused: `"1e3" is not a plain number such as 480.50`},
		{query: "delimiter=x", refused: `"x" is not one of , ; tab`},
		{query: "nam=a", refused: "is not known here; did you mean name?"},
	} {
		var got asked
		err := web.ReadQuery(contextFor("/?"+test.query), &got)
		if test.refused != "" {
			if err == nil || web.ProblemOf(err).Errors[0].Detail != test.refused {
				t.Errorf("%s: %v, want %s", test.query, err, test.refused)
			}
			continue
		}
		if diff := cmp.Diff(test.want, got); err != nil || diff != "" {
			t.Errorf("%s: %v %s", test.query, err, diff)
		}
	}
}

// The words that are documented are those that the service knows.
func TestWordsOfParametersAreTheService(t *testing.T) {
	for _, test := range []struct {
		query reflect.Type
		field string
		words []string
	}{
		{reflect.TypeFor[ProfitQuery](), "By", profit.Groupings},
		{reflect.TypeFor[WebhookDeliveryQuery](), "State", webhook.DeliveryStates},
	} {
		field, _ := test.query.FieldByName(test.field)
		if got := field.Tag.Get("enums"); got != strings.Join(test.words, ",") {
			t.Errorf("%s.%s has %s, the service %v", test.query, test.field, got, test.words)
		}
	}
}

func FuzzJSON(f *testing.F) {
	for _, seed := range []string{`{}`, `{"ref":"a","ask":1.50}`, `{"ref":null}`, `[1]`, `{"a":{"b":[{}]}}`, `{"ref":"\ud800"}`, `1 2`, "{\"ref\":\"\xff\"}", `{"ref":1e999}`} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var cells Cells
		err := web.DecodeJSON([]byte(text), &cells)
		if err != nil {
			if p := web.ProblemOf(err); p.Status != http.StatusBadRequest && p.Status != http.StatusUnprocessableEntity {
				t.Fatalf("status %d for %q", p.Status, text)
			}
			return
		}
		var other map[string]any // what encoding/json takes is more, never less
		d := json.NewDecoder(strings.NewReader(text))
		d.UseNumber()
		if err := d.Decode(&other); err != nil || len(other) != len(cells) {
			t.Fatalf("%q was taken as %v, by encoding/json as %v (%v)", text, cells, other, err)
		}
	})
}

func contextFor(target string) *gin.Context {
	c, _ := gin.CreateTestContext(httptest.NewRecorder())
	c.Request = httptest.NewRequest("GET", target, nil)
	return c
}

func FuzzCursor(f *testing.F) {
	f.Add("", "ref")
	f.Add("e30", "-ask")
	f.Add(web.Cursor{After: []string{"B-17"}}.Encode(contextFor("/v1/listings?sort=ref")), "ref")
	f.Fuzz(func(t *testing.T, text, order string) {
		c := contextFor("/v1/listings")
		query := c.Request.URL.Query()
		query.Set("cursor", text)
		query.Set("sort", order)
		c.Request.URL.RawQuery = query.Encode()
		p := web.ParamsOf(c)
		q := service.Query{Sort: ReadSort(p)}
		ReadPosition(p, &q)
		if p.Err == nil && q.After != nil && len(q.After) != len(q.Sort) {
			t.Fatalf("%d values for %d columns", len(q.After), len(q.Sort))
		}
	})
}
