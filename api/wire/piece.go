package wire

import (
	"encoding/json"
	"slices"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
)

// Piece is the physical thing with its listings, the newest last.
type Piece struct {
	ID        uuid.UUID         `json:"id" format:"uuid"`
	Ref       string            `json:"ref" example:"B-17"`
	Member    string            `json:"member"`
	State     string            `json:"state" enums:"found,bought,on_bench,passed,open,sold,pulled,retired"`
	Category  string            `json:"category" example:"sideboard"`
	ClosedAs  string            `json:"closed_as,omitempty" csv:"plain"`           // why it left without a sale
	SellerAsk *web.Number       `json:"seller_ask,omitempty" swaggertype:"number"` // of a find: what its seller asks
	DaysOwned int               `json:"days_owned,omitempty"`                      // owner only: until it was sold, or today
	Lineage   []string          `json:"lineage" example:"B-17,B-17-2"`             // refs of its rows, the first one first
	Listings  []json.RawMessage `json:"listings" swaggertype:"array,object"`       // listing rows
}

// PiecePage is a page of pieces.
type PiecePage struct {
	Items []Piece `json:"items"`
	Next  *string `json:"next"` // the cursor of the next page; null: this was the last
}

// Piece shows a piece with its listings.
func (v Viewer) Piece(p *service.Piece) Piece {
	out := Piece{ID: p.ID, Ref: p.Ref, Member: p.Member, State: p.State(), Listings: v.Rows(p.Listings)}
	newest := p.Listings[len(p.Listings)-1]
	out.Category, out.ClosedAs = newest.Category, newest.ClosedAs
	if m := newest.SellerAsk; m != 0 {
		asked := web.Exact(m, v.Currency)
		out.SellerAsk = &asked
	}
	if v.isOwner(p.MemberID) {
		out.DaysOwned = p.DaysOwned(v.actor.Today)
	}
	for _, l := range p.Listings {
		out.Lineage = append(out.Lineage, l.Ref)
	}
	return out
}

// PieceColumns are the columns of pieces.
var PieceColumns = web.ColumnsOf[Piece](`
	ref id member state category closed_as seller_ask days_owned lineage`)

// PieceQuery is what a list of pieces can be asked for.
type PieceQuery struct {
	Ref    string     `form:"ref" example:"B-17"`                                // of the piece or of one of its rows
	Member string     `form:"member"`                                            // me, an id or a name
	State  stateWords `form:"state" swaggertype:"string" example:"found,passed"` // several with commas between
	web.PageQuery
}

// stateWords are states of pieces with commas between.
type stateWords []string

// FromQuery reads the states.
func (l *stateWords) FromQuery(p *web.Params, name string) {
	*l = p.List(name)
	for _, state := range *l {
		if !slices.Contains(service.PieceStates, state) {
			p.RefuseWord(name, state, service.PieceStates)
		}
	}
}
