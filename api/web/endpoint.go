package web

import (
	"encoding/json"
	"math"
	"net/http"
	"path"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// Handlers are made of functions that know what is theirs: they are given what
// was asked for, and return what to answer. The frames here read the one and
// write the other.

// Request is who asks, and with what.
type Request struct {
	*gin.Context
	Actor *service.Actor
	ID    uuid.UUID // in the path, where it has one
	Form  string    // in which the answer is wanted
}

// ShowOnce keeps a secret out of caches, and out of the answer that a
// repetition gets: that one is kept.
func (r Request) ShowOnce(kept any) error {
	body, err := json.Marshal(kept)
	r.Set(WithoutSecretKey, body)
	r.Header("Cache-Control", "no-store")
	return err
}

// Table is an answer as CSV.
type Table[Out any] struct {
	columns []string
	write   func(*gin.Context, TableOptions, Out) error
}

// TableOf is a table of the rows that an answer holds.
func TableOf[Out, Row any](columns []TableColumn[Row], rows func(Out) []Row) *Table[Out] {
	return &Table[Out]{ColumnNames(columns), func(c *gin.Context, o TableOptions, out Out) error {
		return WriteTable(c, csvName(c), columns, o, rows(out))
	}}
}

// csvName is the name of an answer as a file: the end of its address.
func csvName(c *gin.Context) string {
	return strings.TrimSuffix(path.Base(c.FullPath()), ".csv") + ".csv"
}

// Get answers with what is found, as JSON. Its tag is that of its body: it
// changes with more than the group's rows.
func Get[In, Out any](find func(Request, In) (Out, error)) Handler {
	return get(nil, nil, true, find)
}

// Computed answers with what follows from the group's rows, as JSON. It is not
// made for a client that has it.
func Computed[In, Out any](s *Kit, find func(Request, In) (Out, error)) Handler {
	return get(s, nil, false, find)
}

// ComputedTable is Computed, as JSON or CSV.
func ComputedTable[In, Out any](s *Kit, table *Table[Out], find func(Request, In) (Out, error)) Handler {
	return get(s, table, false, find)
}

// ListEndpoint answers with a list that is computed as a whole, as JSON or CSV.
// It is not made for a client that has it.
func ListEndpoint[In, Out any](s *Kit, columns []TableColumn[Out],
	list func(Request, In) ([]Out, error)) Handler {
	return get(s, wholeTable(columns), false, whole(list))
}

// LiveList is ListEndpoint for what is none of the group's rows.
func LiveList[In, Out any](columns []TableColumn[Out],
	list func(Request, In) ([]Out, error)) Handler {
	return get(nil, wholeTable(columns), true, whole(list))
}

func wholeTable[Out any](columns []TableColumn[Out]) *Table[Page[Out]] {
	return TableOf(columns, func(p Page[Out]) []Out { return p.Items })
}

// whole is a list as its only page.
func whole[In, Out any](list func(Request, In) ([]Out, error)) func(Request, In) (Page[Out], error) {
	return func(r Request, in In) (Page[Out], error) {
		items, err := list(r, in)
		return Page[Out]{Items: items}, err
	}
}

func get[In, Out any](s *Kit, table *Table[Out], isLive bool, find func(Request, In) (Out, error)) Handler {
	return func(c *gin.Context, a *service.Actor) error {
		var in In
		r, options, err := read(c, a, table, &in)
		if err != nil {
			return err
		}
		if !isLive && NotModified(c, s.ListTag(c, a, r.Form)) {
			return nil
		}
		out, err := find(r, in)
		switch {
		case err != nil:
			return InQuery(err)
		case r.Form == FormCSV:
			return table.write(c, options, out)
		case isLive:
			return AnswerTagged(c, out)
		}
		return Answer(c, http.StatusOK, out)
	}
}

// read reads all but the body: the parameters of the address go into in, what
// is not known there is refused.
func read[Out any](c *gin.Context, a *service.Actor, table *Table[Out], in any) (Request, TableOptions, error) {
	r, options := Request{Context: c, Actor: a, Form: FormJSON}, TableOptions{}
	var err error
	if c.Param("id") != "" {
		if r.ID, err = PathID(c); err != nil {
			return r, options, err
		}
	}
	if table != nil {
		if r.Form, err = WantedForm(c); err != nil {
			return r, options, err
		}
	}
	p := ParamsOf(c)
	BindQuery(p, in)
	if table != nil {
		options = CsvParams(p, r.Form, table.columns)
	}
	return r, options, p.Done()
}

// PageQuery is what a list that comes in pages can be asked for.
type PageQuery struct {
	Limit  int    `form:"limit" default:"100" cap:"1000"` // at most 1000; without it a CSV holds all
	Cursor Cursor `form:"cursor" swaggertype:"string"`    // from next
	TableQuery
}

func (q *PageQuery) page() *PageQuery { return q }

type paged[In any] interface {
	*In
	page() *PageQuery
}

// PageEndpoint answers with a page of a list, as JSON or CSV; the list says from
// where the next page goes on. Without a limit a CSV holds all of it.
func PageEndpoint[In, Out any, P paged[In]](s *Kit, columns []TableColumn[Out], isLive bool,
	list func(Request, In) ([]Out, *Cursor, error)) Handler {
	table := wholeTable(columns)
	return func(c *gin.Context, a *service.Actor) error {
		var in In
		r, options, err := read(c, a, table, &in)
		if err != nil {
			return err
		}
		if !isLive && NotModified(c, s.ListTag(c, a, r.Form)) {
			return nil
		}
		if _, isLimited := c.GetQuery("limit"); r.Form == FormCSV && !isLimited {
			return writeAll(s, r, columns, options, P(&in).page(), func() ([]Out, *Cursor, error) { return list(r, in) })
		}
		items, next, err := list(r, in)
		if err != nil {
			return err
		}
		out := Page[Out]{Items: items}
		if next != nil {
			out.Next = new(next.Encode(c))
			LinkNext(c, *out.Next)
		}
		switch {
		case r.Form == FormCSV:
			return table.write(c, options, out)
		case isLive:
			return AnswerTagged(c, out)
		}
		return Answer(c, http.StatusOK, out)
	}
}

// everything is the limit of a list that is sent whole.
const everything = math.MaxInt32 - 1

// writeAll writes a whole list into a file before anything is sent, so that a
// failure still becomes a problem and nobody waits for a slow client. It is read
// by one statement: page by page it would be of several moments.
func writeAll[Out any](s *Kit, r Request, columns []TableColumn[Out], o TableOptions,
	at *PageQuery, list func() ([]Out, *Cursor, error)) error {
	end, err := s.Turn(r.Context, r.Actor)
	if err != nil {
		return err
	}
	defer end()
	at.Limit = everything
	return SpoolTable(r.Context, csvName(r.Context), columns, o, func(yield func(Out) error) error {
		items, _, err := list()
		if err != nil {
			return err
		}
		for _, item := range items {
			if err := yield(item); err != nil {
				return err
			}
		}
		return nil
	})
}

// Post does what a JSON body asks for, in a PATCH what it changes, and answers
// with what came of it. The function may set another status.
func Post[In, Out any](s *Kit, status int, do func(Request, In) (Out, error)) Handler {
	return PostTable(s, status, nil, do)
}

// PostTable is Post with an answer as JSON or CSV.
func PostTable[In, Out any](s *Kit, status int, table *Table[Out], do func(Request, In) (Out, error)) Handler {
	return func(c *gin.Context, a *service.Actor) error {
		r, options, err := read(c, a, table, &struct{}{})
		if err != nil {
			return err
		}
		readBody := ReadJSON
		if c.Request.Method == http.MethodPatch {
			readBody = ReadPatch
		}
		var in In
		if err := readBody(c, s.limits.BodyBytes, &in); err != nil {
			return err
		}
		c.Status(status)
		out, err := do(r, in)
		if err != nil {
			return WithPointers(err)
		}
		if r.Form == FormCSV {
			return table.write(c, options, out)
		}
		return Answer(c, c.Writer.Status(), out)
	}
}

// Do does something that there is nothing to say about.
func Do(do func(Request) error) Handler {
	return func(c *gin.Context, a *service.Actor) error {
		r, _, err := read[any](c, a, nil, &struct{}{})
		if err == nil {
			err = do(r)
		}
		if err != nil {
			return err
		}
		return NoContent(c)
	}
}
