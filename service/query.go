package service

import (
	"github.com/google/uuid"

	"askwright/pricing"
)

// PieceQuery selects pieces.
type PieceQuery struct {
	Ref      string    // of the piece or of one of its rows; empty: any
	Member   uuid.UUID // zero: anybody's
	State    []string  // of Piece.State; empty: any
	AfterRef string    // of the last piece seen
	AfterID  uuid.UUID
	Limit    int
}

// Query selects listings. Keys are column names; the api checks them against
// FilterColumns and SortColumns.
type Query struct {
	Words     map[string][]string // any of these values
	From, To  map[string]pricing.Date
	Min, Max  map[string]float64 // money in major units, lengths in the group's
	Member    uuid.UUID          // zero: anybody's
	Piece     *uuid.UUID         // nil: any
	Sort      []SortKey          // ties are broken by id
	After     []string           // values of Sort in the last row seen, in canonical text
	AfterID   uuid.UUID
	Limit     int
	InTheYard *bool // pieces not yet offered: only, or none
}

// SortKey orders by a column.
type SortKey struct {
	Column     string
	Descending bool
}

// What a list can be filtered and ordered by.
var (
	WordFilters   = []string{"ref", "piece_ref", "category", "material", "wood", "condition", "finish", "color", "hardware", "source", "stage", "outcome", "closed_as", "area"}
	DateFilters   = []string{"listed_on", "ended_on", "last_seen_on", "closed_on"}
	NumberFilters = []string{"ask", "sale_price", "seller_ask", "width", "depth", "height", "set_size"}
	SortColumns   = []string{"ref", "category", "listed_on", "ended_on", "ask", "sale_price"}
)
