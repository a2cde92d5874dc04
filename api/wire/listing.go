package wire

import (
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/service"
)

// What commands hand out in the forms of the API.

// WriteRows writes rows as the CSV that exports have and the import takes, with
// what the actor may see. each yields them one by one.
func WriteRows(w io.Writer, a *service.Actor, each func(yield func(*service.Listing) error) error) error {
	t := web.NewTable(w, ViewerOf(a).Table(), web.TableOptions{Delimiter: ",", Decimal: "."})
	if err := each(t.Row); err != nil {
		return err
	}
	return t.End()
}

// RowJSON writes a row as answers have it and the import takes it.
func RowJSON(a *service.Actor, l *service.Listing) json.RawMessage { return ViewerOf(a).Row(l) }

// GroupJSON writes the group's settings as answers have them.
func GroupJSON(a *service.Actor) (json.RawMessage, error) { return json.Marshal(GroupOf(a.Group, a)) }

// ListingPage is a page of rows.
type ListingPage struct {
	Items []ListingRow `json:"items"`
	Next  *string      `json:"next"` // the cursor of the next page; null: this was the last
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
	ClosedAs     string  `form:"closed_as"`
	Area         string  `form:"area"`
	ListedFrom   string  `form:"listed_on_from" format:"date"`
	ListedTo     string  `form:"listed_on_to" format:"date"`
	EndedFrom    string  `form:"ended_on_from" format:"date"`
	EndedTo      string  `form:"ended_on_to" format:"date"`
	LastSeenFrom string  `form:"last_seen_on_from" format:"date"`
	LastSeenTo   string  `form:"last_seen_on_to" format:"date"`
	LetGoFrom    string  `form:"closed_on_from" format:"date"`
	LetGoTo      string  `form:"closed_on_to" format:"date"`
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
	Unlisted     bool    `form:"unlisted"`                                    // pieces not yet offered: only, or none
	Sort         string  `form:"sort" default:"ref" example:"-listed_on,ref"` // a minus for descending
	Limit        int     `form:"limit" default:"100"`                         // at most 1000; without it a CSV holds all rows
	Cursor       string  `form:"cursor"`                                      // from next
	web.TableQuery
}

// ReadWords reads values of a column in the way they are on file; a condition is
// its grade there.
func ReadWords(p *web.Params, name string) []string {
	column, _ := service.ColumnByName(name)
	values := p.List(name)
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
			p.RefuseWord(name, v, column.Words)
		}
		if values[i] = word; name == "condition" {
			values[i] = strconv.Itoa(at + 1)
		}
	}
	return values
}

// ReadSort reads the order, by ref where none is asked for.
func ReadSort(p *web.Params) []service.SortKey {
	names := p.List("sort")
	if len(names) == 0 {
		return []service.SortKey{{Column: "ref"}}
	}
	var keys []service.SortKey
	for _, name := range names {
		bare, descending := strings.CutPrefix(name, "-")
		twice := slices.ContainsFunc(keys, func(k service.SortKey) bool { return k.Column == bare })
		if twice || !slices.Contains(service.SortColumns, bare) {
			p.Refuse("sort", "%q: expected each of %s at most once, with a minus for descending", web.Clip(name, 40), strings.Join(service.SortColumns, ", "))
		}
		keys = append(keys, service.SortKey{Column: bare, Descending: descending})
	}
	return keys
}

// ReadPosition reads the cursor into the query.
func ReadPosition(p *web.Params, q *service.Query) {
	var k web.Cursor
	k.FromQuery(p, "cursor")
	if k.IsStart() || p.Err != nil {
		return
	}
	ok := len(k.After) == len(q.Sort)
	for i := 0; ok && i < len(q.Sort); i++ {
		ok = web.IsAfterValue(q.Sort[i].Column, k.After[i])
	}
	if !ok {
		p.Refuse("cursor", "belongs to no page of this list; start again without it")
		return
	}
	q.After, q.AfterID = k.After, k.ID
}

// NextListing is the cursor after the last row of a page.
func NextListing(c *gin.Context, a *service.Actor, q service.Query, last *service.Listing) string {
	k := web.Cursor{ID: last.ID}
	for _, key := range q.Sort {
		column, _ := service.ColumnByName(key.Column)
		k.After = append(k.After, column.Value(last, a.Group.Currency))
	}
	return k.Encode(c)
}

// ListingText is what to paste into a venue.
type ListingText struct {
	Title       string    `json:"title" example:"Mid-century walnut sideboard, waxed, dark wood tone, 62.5 in wide"` // at most 80 characters
	Description string    `json:"description"`                                                                       // plain text; what is unknown is left out
	Cautions    []Caution `json:"cautions"`
}
