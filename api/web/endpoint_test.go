package web

import (
	"bytes"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

type chair struct {
	Ref  string `json:"ref"`
	Legs int    `json:"legs"`
}

var chairColumns = ColumnsOf[chair](`ref legs`)

type chairQuery struct {
	Least *float64 `form:"least"`
	PageQuery
}

// chairPages has a chair for each of 1 to 2500.
func chairPages(_ Request, in chairQuery) (out []chair, next *Cursor, err error) {
	first := 1
	if !in.Cursor.IsStart() {
		if first, err = strconv.Atoi(in.Cursor.After[0]); err != nil {
			return nil, nil, BadCursor()
		}
	}
	for i := first; i <= 2500; i++ {
		if len(out) == in.Limit {
			return out, &Cursor{After: []string{strconv.Itoa(i)}, ID: uuid.UUID{1}}, nil
		}
		out = append(out, chair{Ref: "C-" + strconv.Itoa(i), Legs: 4})
	}
	return out, nil, nil
}

// ask sends a request to one handler. A line of head is a header.
func ask(t *testing.T, h Handler, method, target, body string, head ...string) *httptest.ResponseRecorder {
	t.Helper()
	s := testKit()
	actor := &service.Actor{Group: &service.Group{}, Scope: service.ScopeRead}
	e := gin.New()
	for _, path := range []string{"/v1/chairs", "/v1/chairs.csv", "/v1/chairs/:id"} {
		e.Handle(method, path, func(c *gin.Context) {
			if err := h(c, actor); err != nil {
				s.Fail(c, err)
			}
		})
	}
	request := httptest.NewRequest(method, target, strings.NewReader(body))
	request.Header.Set("Content-Type", "application/json")
	for _, line := range head {
		name, value, _ := strings.Cut(line, ": ")
		request.Header.Set(name, value)
	}
	recorder := httptest.NewRecorder()
	e.ServeHTTP(recorder, request)
	return recorder
}

func testKit() *Kit {
	logger := slog.New(slog.NewTextHandler(io.Discard, nil))
	return &Kit{
		limits:  Limits{BodyBytes: 1 << 10},
		build:   "test",
		logger:  logger,
		answers: NewShares(answersOfGroup, answersInAll, turnPatience),
		work:    NewShares(answersOfGroup, workInAll, turnPatience),
	}
}

func TestAListIsNotMadeForAClientThatHasIt(t *testing.T) {
	made := 0
	h := ListEndpoint(testKit(), chairColumns, func(Request, TableQuery) ([]chair, error) {
		made++
		return []chair{{"C-1", 4}}, nil
	})
	first := ask(t, h, "GET", "/v1/chairs", "")
	if first.Code != 200 || first.Body.String() != `{"items":[{"ref":"C-1","legs":4}],"next":null}` {
		t.Errorf("%d %s", first.Code, first.Body)
	}
	tag := first.Header().Get("ETag")
	if again := ask(t, h, "GET", "/v1/chairs", "", "If-None-Match: "+tag); again.Code != 304 || made != 1 {
		t.Errorf("%d, made %d times", again.Code, made)
	}
	table := ask(t, h, "GET", "/v1/chairs.csv?fields=legs&delimiter=tab", "")
	if table.Body.String() != "legs\r\n4\r\n" || table.Header().Get("Content-Disposition") != `attachment; filename="chairs.csv"` {
		t.Errorf("%s %v", table.Body, table.Header())
	}
	for query, status := range map[string]int{"?feilds=ref": 400, "?fields=arms": 400, "?fields=ref": 400} {
		if got := ask(t, h, "GET", "/v1/chairs"+query, ""); got.Code != status || got.Header().Get("ETag") != "" {
			t.Errorf("%s: %d %s", query, got.Code, got.Body)
		}
	}
}

func TestPagesGoOnWhereTheLastOneEnded(t *testing.T) {
	h := PageEndpoint(testKit(), chairColumns, true, chairPages)
	first := ask(t, h, "GET", "/v1/chairs?limit=2", "")
	link := strings.TrimSuffix(strings.TrimPrefix(first.Header().Get("Link"), "<"), `>; rel="next"`)
	second := ask(t, h, "GET", link, "")
	if !strings.HasPrefix(second.Body.String(), `{"items":[{"ref":"C-3","legs":4},{"ref":"C-4"`) {
		t.Errorf("after %s: %s", link, second.Body)
	}
	if other := ask(t, h, "GET", link+"&least=3", ""); other.Code != 400 {
		t.Errorf("the cursor of another list gave %d", other.Code)
	}
	asked := 0
	whole := PageEndpoint(testKit(), chairColumns, true, func(r Request, in chairQuery) ([]chair, *Cursor, error) {
		asked++
		return chairPages(r, in)
	})
	if rows := strings.Count(ask(t, whole, "GET", "/v1/chairs.csv", "").Body.String(), "\n"); rows != 2501 || asked != 1 {
		t.Errorf("the whole table has %d lines, asked for %d times; want it of one moment", rows, asked)
	}
	if rows := strings.Count(ask(t, h, "GET", "/v1/chairs.csv?limit=9", "").Body.String(), "\n"); rows != 10 {
		t.Errorf("a table with a limit has %d lines", rows)
	}
}

func TestABodyIsReadAndItsFaultsHavePlaces(t *testing.T) {
	h := Post(testKit(), http.StatusCreated, func(r Request, in chair) (chair, error) {
		if in.Legs == 3 {
			return in, service.Invalid("legs", "is one too few")
		}
		if in.Legs == 4 {
			r.Status(http.StatusOK)
		}
		return in, nil
	})
	for body, want := range map[string]string{
		`{"ref":"C-1","legs":5}`: `201 {"ref":"C-1","legs":5}`,
		`{"ref":"C-1","legs":4}`: `200 {"ref":"C-1","legs":4}`,
		`{"legs":3}`:             `422 "pointer":"#/legs"`,
		`{"lgs":3}`:              `422 did you mean legs?`,
		`{`:                      `400 ends too early`,
	} {
		got := ask(t, h, "POST", "/v1/chairs", body)
		status, text, _ := strings.Cut(want, " ")
		if strconv.Itoa(got.Code) != status || !bytes.Contains(got.Body.Bytes(), []byte(text)) {
			t.Errorf("%s: %d %s, want %s", body, got.Code, got.Body, want)
		}
	}
}

func TestWhatIsSaidAboutNothing(t *testing.T) {
	gone := uuid.New()
	h := Do(func(r Request) error {
		if r.ID != gone {
			return errors.New("another")
		}
		return nil
	})
	for path, status := range map[string]int{"/" + gone.String(): 204, "/" + uuid.NewString(): 500, "/7": 404, "/" + gone.String() + "?a=1": 400} {
		if got := ask(t, h, "DELETE", "/v1/chairs"+path, ""); got.Code != status {
			t.Errorf("%s: %d %s", path, got.Code, got.Body)
		}
	}
}
