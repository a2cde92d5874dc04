package api

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/pricing"
	"askwright/service"
)

// ListingPage is a page of rows.
type ListingPage struct {
	Items []ListingRow `json:"items"`
	Next  string       `json:"next,omitempty"` // the cursor of the next page
}

// ListingQuery is what a list of rows can be asked for. Lists of words take
// several with commas between.
type ListingQuery struct {
	Ref          string  `form:"ref"`
	PieceRef     string  `form:"piece_ref"`
	Category     string  `form:"category" example:"sideboard,dresser"`
	Material     string  `form:"material"`
	Wood         string  `form:"wood"`
	Condition    string  `form:"condition"`
	Finish       string  `form:"finish"`
	Color        string  `form:"color"`
	Hardware     string  `form:"hardware"`
	Source       string  `form:"source"`
	Stage        string  `form:"stage"` // of what is still in the yard
	Outcome      string  `form:"outcome"`
	LetGo        string  `form:"let_go"`
	Area         string  `form:"area"`
	ListedFrom   string  `form:"listed_on_from" format:"date"`
	ListedTo     string  `form:"listed_on_to" format:"date"`
	EndedFrom    string  `form:"ended_on_from" format:"date"`
	EndedTo      string  `form:"ended_on_to" format:"date"`
	LastSeenFrom string  `form:"last_seen_on_from" format:"date"`
	LastSeenTo   string  `form:"last_seen_on_to" format:"date"`
	LetGoFrom    string  `form:"let_go_on_from" format:"date"`
	LetGoTo      string  `form:"let_go_on_to" format:"date"`
	AskMin       float64 `form:"ask_min"`
	AskMax       float64 `form:"ask_max"`
	SalePriceMin float64 `form:"sale_price_min"`
	SalePriceMax float64 `form:"sale_price_max"`
	SellerAskMin float64 `form:"seller_ask_min"`
	SellerAskMax float64 `form:"seller_ask_max"`
	WidthMin     float64 `form:"width_min"`
	WidthMax     float64 `form:"width_max"`
	DepthMin     float64 `form:"depth_min"`
	DepthMax     float64 `form:"depth_max"`
	HeightMin    float64 `form:"height_min"`
	HeightMax    float64 `form:"height_max"`
	SetSizeMin   float64 `form:"set_size_min"`
	SetSizeMax   float64 `form:"set_size_max"`
	Member       string  `form:"member"`                                      // me, an id or a name
	Piece        string  `form:"piece" format:"uuid"`                         // the listings of one piece
	InTheYard    bool    `form:"in_the_yard"`                                 // pieces not yet offered: only, or none
	Sort         string  `form:"sort" default:"ref" example:"-listed_on,ref"` // a minus for descending
	Limit        int     `form:"limit" default:"100"`                         // at most 1000; without it a CSV holds all rows
	Cursor       string  `form:"cursor"`                                      // from next
	TableQuery
}

// TableQuery is how a table is written.
type TableQuery struct {
	Fields    columnList     `form:"fields" swaggertype:"string" example:"ref,ask"` // which columns, in this order
	Delimiter fieldDelimiter `form:"delimiter" swaggertype:"string" default:","`    // of CSV: a comma, a semicolon or tab
	Decimal   decimalMark    `form:"decimal" swaggertype:"string" default:"."`      // of CSV: a point or a comma
	BOM       bool           `form:"bom"`                                           // of CSV: for a spreadsheet that opens the file by double click
	Key       string         `form:"key"`                                           // of a .csv feed: a feed key
}

// listListings answers with rows, as JSON a page, as CSV all of them.
//
//	@Summary	List listings and pieces in the yard
//	@Tags		listings
//	@Param		query	query	ListingQuery	false	"filters, order and form"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	ListingPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings [get]
//	@Router		/v1/listings.csv [get]
func (s *Server) listListings(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p, v := paramsOf(c), viewerOf(a)
	query, err := s.listingQuery(c, a, p)
	if err != nil {
		return err
	}
	columns := v.table()
	options := tableParams(p, columnNames(columns))
	v.fields = options.Fields
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	if form == formCSV && !p.values.Has("limit") {
		return s.exportListings(c, a, query, columns, options)
	}
	rows, more, err := s.service.Recording.Listings(c.Request.Context(), a, query)
	if err != nil {
		return err
	}
	next := ""
	if more {
		next = nextListing(c, a, query, rows[len(rows)-1])
		linkNext(c, next)
	}
	if form == formCSV {
		return writeTable(c, "listings.csv", columns, options, rows)
	}
	return answer(c, http.StatusOK, page[json.RawMessage]{Items: v.rows(rows), Next: next})
}

// exportListings streams every row. The header goes out with the first row, so
// that a failure before it is still a problem document.
func (s *Server) exportListings(c *gin.Context, a *service.Actor, q service.Query, columns []tableColumn[*service.Listing], o tableOptions) error {
	var t *tableWriter[*service.Listing]
	err := s.service.Recording.EachListing(c.Request.Context(), a, q, func(l *service.Listing) error {
		if t == nil {
			t = startTable(c, "listings.csv", columns, o)
		}
		return t.row(l)
	})
	if err != nil {
		return err
	}
	if t == nil {
		t = startTable(c, "listings.csv", columns, o)
	}
	return t.end()
}

// listingQuery reads filters, order and position.
func (s *Server) listingQuery(c *gin.Context, a *service.Actor, p *params) (service.Query, error) {
	q := service.Query{
		Words: map[string][]string{}, From: map[string]pricing.Date{}, To: map[string]pricing.Date{},
		Min: map[string]float64{}, Max: map[string]float64{},
	}
	for _, name := range service.WordFilters {
		if words := p.words(name); words != nil {
			q.Words[name] = words
		}
	}
	for _, name := range service.DateFilters {
		if d := p.date(name + "_from"); !d.IsZero() {
			q.From[name] = d
		}
		if d := p.date(name + "_to"); !d.IsZero() {
			q.To[name] = d
		}
	}
	for _, name := range service.NumberFilters {
		if n, ok := p.number(name + "_min"); ok {
			q.Min[name] = n
		}
		if n, ok := p.number(name + "_max"); ok {
			q.Max[name] = n
		}
	}
	if text := p.text("piece"); text != "" {
		id, err := parseID(text)
		if err != nil {
			p.refuse("piece", "%q is not an id", clip(text, 40))
		}
		q.Piece = id
	}
	if word := p.oneOf("in_the_yard", "true", "false"); word != "" {
		only := word == "true"
		q.InTheYard = &only
	}
	q.Sort = p.sort()
	q.Limit = p.count("limit", pageDefault, pageMost)
	p.position(c, &q)
	var err error
	q.Member, err = s.memberFilter(c, a, p)
	return q, err
}

// words reads values of a column in the way they are on file; a condition is
// its grade there.
func (p *params) words(name string) []string {
	column, _ := service.ColumnByName(name)
	values := p.list(name)
	if column.Kind != service.KindWord {
		return values
	}
	for i, v := range values {
		word := service.CanonicalWord(v)
		at := slices.Index(column.Words, word)
		if grade := strings.Index("12345", v); name == "condition" && len(v) == 1 && grade >= 0 {
			at = grade
		}
		if column.Closed && at < 0 {
			p.refuse(name, "%q is not one of %s", clip(v, 40), strings.Join(column.Words, ", "))
		}
		if values[i] = word; name == "condition" {
			values[i] = strconv.Itoa(at + 1)
		}
	}
	return values
}

// sort reads the order, by ref where none is asked for.
func (p *params) sort() []service.SortKey {
	names := p.list("sort")
	if len(names) == 0 {
		return []service.SortKey{{Column: "ref"}}
	}
	var keys []service.SortKey
	for _, name := range names {
		bare, descending := strings.CutPrefix(name, "-")
		twice := slices.ContainsFunc(keys, func(k service.SortKey) bool { return k.Column == bare })
		if twice || !slices.Contains(service.SortColumns, bare) {
			p.refuse("sort", "%q: expected each of %s at most once, with a minus for descending", clip(name, 40), strings.Join(service.SortColumns, ", "))
		}
		keys = append(keys, service.SortKey{Column: bare, Descending: descending})
	}
	return keys
}

// position reads the cursor into the query.
func (p *params) position(c *gin.Context, q *service.Query) {
	k := decodeCursor(c, p)
	if k == nil || p.err != nil {
		return
	}
	ok := len(k.After) == len(q.Sort)
	for i := 0; ok && i < len(q.Sort); i++ {
		ok = isAfterValue(q.Sort[i].Column, k.After[i])
	}
	if !ok {
		p.refuse("cursor", "belongs to no page of this list; start again without it")
		return
	}
	q.After, q.AfterID = k.After, k.ID
}

func nextListing(c *gin.Context, a *service.Actor, q service.Query, last *service.Listing) string {
	k := cursor{ID: last.ID}
	for _, key := range q.Sort {
		column, _ := service.ColumnByName(key.Column)
		k.After = append(k.After, column.Value(last, a.Group.Currency))
	}
	return k.encode(c)
}

// createListing keeps one row: a new one, or the row with that ref in its new
// state.
//
//	@Summary	Record a listing, or a piece in the yard
//	@Tags		listings
//	@Param		row		body		ListingRow	true	"ref, category, listed_on and ask; or ref, category and stage"
//	@Success	200		{object}	ListingRow	"a row with this ref was there"
//	@Success	201		{object}	ListingRow	"it is new"
//	@Failure	default	{object}	Problem		"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings [post]
func (s *Server) createListing(c *gin.Context, a *service.Actor) error {
	change, err := s.record(c, a)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if change.Old == nil {
		status = http.StatusCreated
		c.Header("Location", "/v1/listings/"+change.New.ID.String())
	}
	return s.answerListing(c, a, status, change.New)
}

func (s *Server) record(c *gin.Context, a *service.Actor) (*service.Change, error) {
	if err := paramsOf(c).done(); err != nil {
		return nil, err
	}
	var cells Cells
	if err := readJSON(c, s.limits.BodyBytes, &cells); err != nil {
		return nil, err
	}
	change, err := s.service.Recording.Record(c.Request.Context(), a, service.Cells(cells))
	return change, withPointers(err)
}

func (s *Server) answerListing(c *gin.Context, a *service.Actor, status int, l *service.Listing) error {
	c.Header("ETag", revisionTag(l.Revision))
	return answer(c, status, viewerOf(a).row(l))
}

// getListing answers with the facts on file, no ages and no states: those are
// of /v1/stale.
//
//	@Summary	Read a listing
//	@Tags		listings
//	@Param		id		path		string	true	"id"
//	@Success	200		{object}	ListingRow
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [get]
func (s *Server) getListing(c *gin.Context, a *service.Actor) error {
	l, err := s.listingAtPath(c, a)
	if err != nil {
		return err
	}
	if notModified(c, revisionTag(l.Revision)) {
		return nil
	}
	return s.answerListing(c, a, http.StatusOK, l)
}

func (s *Server) listingAtPath(c *gin.Context, a *service.Actor) (*service.Listing, error) {
	if err := wantJSON(c); err != nil {
		return nil, err
	}
	id, err := pathID(c)
	if err != nil {
		return nil, err
	}
	if err := paramsOf(c).done(); err != nil {
		return nil, err
	}
	return s.service.Recording.Listing(c.Request.Context(), a, id)
}

// patchListing changes some columns (RFC 7396: what is absent stays, null is
// unknown).
//
//	@Summary	Change a listing
//	@Tags		listings
//	@Param		id			path		string		true	"id"
//	@Param		If-Match	header		string		false	"the revision seen"
//	@Param		row			body		ListingRow	true	"the columns to change"
//	@Success	200			{object}	ListingRow
//	@Failure	default		{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [patch]
func (s *Server) patchListing(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	var cells Cells
	if err := readPatch(c, s.limits.BodyBytes, &cells); err != nil {
		return err
	}
	change, err := s.service.Recording.Patch(c.Request.Context(), a, id, service.Cells(cells), want)
	if err != nil {
		return withPointers(err)
	}
	return s.answerListing(c, a, http.StatusOK, change.New)
}

// deleteListing removes a mistaken entry; the audit keeps it.
//
//	@Summary	Remove a mistaken listing
//	@Tags		listings
//	@Param		id			path	string	true	"id"
//	@Param		If-Match	header	string	false	"the revision seen"
//	@Success	204
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id} [delete]
func (s *Server) deleteListing(c *gin.Context, a *service.Actor) error {
	id, want, err := s.target(c)
	if err != nil {
		return err
	}
	if err := s.service.Recording.Delete(c.Request.Context(), a, id, want); err != nil {
		return err
	}
	return noContent(c)
}
