package wire

import (
	"encoding/json"
	"strconv"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
)

// Change is a listing that was changed or deleted, at its newest change.
type Change struct {
	ID       uuid.UUID       `json:"id" format:"uuid"`
	ChangeNo int64           `json:"change_no" example:"412"` // since, the next time, once this is the last one
	Deleted  bool            `json:"deleted"`
	Ref      string          `json:"ref,omitempty" example:"B-17"`           // unless it was deleted
	Listing  json.RawMessage `json:"listing,omitempty" swaggertype:"object"` // the row as it is now, unless it was deleted
}

// ChangePage is a page of changes, the oldest first.
type ChangePage struct {
	Items []Change `json:"items"`
	Next  *string  `json:"next"` // the cursor of the next page; null: this was the last
}

// Change shows a change.
func (v Viewer) Change(c service.RowChange) Change {
	out := Change{ID: c.ID, ChangeNo: c.ChangeNo, Deleted: c.Listing == nil}
	if c.Listing != nil {
		out.Ref, out.Listing = c.Listing.Ref, v.Row(c.Listing)
	}
	return out
}

// ChangeColumns are the columns of changes: the rows themselves are in the list of
// listings.
var ChangeColumns = web.ColumnsOf[Change](`change_no id deleted ref`)

// ChangeQuery is what changes can be asked for.
type ChangeQuery struct {
	Since changeNo `form:"since" swaggertype:"integer" default:"0"` // a change number: that of the last change that was read
	web.PageQuery
}

// changeNo is a change number in an address.
type changeNo int64

// FromQuery reads it; without one it is that before the first change.
func (n *changeNo) FromQuery(p *web.Params, name string) {
	text := p.Text(name)
	if text == "" {
		return
	}
	number, err := strconv.ParseInt(text, 10, 64)
	if err != nil || number < 0 {
		p.Refuse(name, "%q is no change number: expected 0, or the change_no of the last change that was read", web.Clip(text, 40))
	}
	*n = changeNo(number)
}
