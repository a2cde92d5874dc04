package profit

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// Books are a member's own listings with what they cost, all of one moment.
type Books struct {
	Rows  []*service.Listing
	Costs map[uuid.UUID]PieceCosts // by piece
	Lines []service.CostLine       // that hold, by their days; where asked for
}

// PieceCosts are the sums of a piece's cost lines over all of its listings;
// a kind without a line is unknown.
type PieceCosts struct {
	Total service.Costs
	Until service.Costs // without the lines of later days
}

// Query selects sales.
type Query struct {
	By        string       // of ProfitGroupings
	From, To  pricing.Date // of the sale, both included; zero: no bound
	WithLines bool
}

// Groupings are what sales can be summed by.
var Groupings = []string{"piece", "month", "year", "category", "finish", "venue", "source"}

// Report tells what a member's pieces earned, and what is still unsold.
type Report struct {
	Items      []Item
	Total      Figures
	Stock      []StockItem  // at the end of StockOn, in the order bought
	StockOn    pricing.Date // the last day of the period, or today
	StockTotal Figures
	LetGo      []StockItem // that left without a sale within the period, in the order of their days
	LetGoTotal Figures
	Lines      []Line             // that the figures of Items are the sums of; where asked for
	QuickSales []*service.Listing // that went by the day after listing at the full first ask
	Sentences  []pricing.Sentence
	Cautions   []service.Caution
}

// Item is one piece, or the pieces of one group.
type Item struct {
	Group string // what they have in common; of a piece its ref
	Sale  *Sale  // of a single piece
	Figures
	Verdict string // of a source or category: whether to go on buying there
}

// The verdicts on a source or category.
const (
	VerdictKeep   = "keep"
	VerdictStop   = "stop"
	VerdictTooFew = "too_few"
)

// Sale is a piece that was sold.
type Sale struct {
	Piece      *service.Piece
	Listing    *service.Listing // that sold it
	BoughtOn   pricing.Date
	BoughtFrom string
	Venue      string // where it sold; empty: not told
}

// StockItem is a piece that was not sold: with what it cost by a day, or, where
// it was let go, in all.
type StockItem struct {
	Piece      *service.Piece
	BoughtOn   pricing.Date
	BoughtFrom string
	Figures
}

// Line is one amount that a figure is made of: a sale price, a cost line
// or an estimated fee.
type Line struct {
	Group   string
	Sale    *Sale
	On      pricing.Date
	Kind    string // sale_price, estimated_fees or a CostKind
	Amount  service.Amount
	Ref     string // of the listing
	Listing uuid.UUID
	Line    uuid.UUID // zero: it is no cost line
	Step    string
	Note    string
}

// The kinds of lines that are no cost lines.
const (
	LineSalePrice     = "sale_price"
	LineEstimatedFees = "estimated_fees"
)

// Report reports on the actor's own pieces: those sold within the period, with
// everything that each cost over all of its listings, and those not sold by
// its end, with what they cost by then.
func (s *Service) Report(ctx context.Context, a *service.Actor, q Query) (*Report, error) {
	reports, err := s.Reports(ctx, a, q, q.By)
	if err != nil {
		return nil, err
	}
	return reports[0], nil
}

// Reports is Profit by several groupings, of one moment; the first has the
// lines.
func (s *Service) Reports(ctx context.Context, a *service.Actor, q Query, groupings ...string) ([]*Report, error) {
	if !q.From.IsZero() && !q.To.IsZero() && q.To < q.From {
		return nil, service.Invalid("to", "%s is before from, %s", q.To, q.From)
	}
	stockOn := a.Today
	if !q.To.IsZero() {
		stockOn = min(q.To, a.Today)
	}
	books, err := s.store.Books(ctx, a.Tenant(), stockOn, q.WithLines)
	if err != nil {
		return nil, fmt.Errorf("read the ledger: %w", err)
	}
	reports := make([]*Report, len(groupings))
	for i, by := range groupings {
		q.By = cmp.Or(by, Groupings[0])
		if !service.IsOneOf(q.By, Groupings) {
			return nil, service.Invalid("by", "%v", service.NotAllowed(q.By, Groupings))
		}
		reports[i] = books.profit(a, q, stockOn)
		q.WithLines = false // they are the same by every grouping
	}
	return reports, nil
}

func (b *Books) profit(a *service.Actor, q Query, stockOn pricing.Date) *Report {
	out := &Report{StockOn: stockOn, Cautions: service.Occasion{Deeds: service.ToAccount}.Cautions()}
	linesOf := make(map[uuid.UUID][]service.CostLine)
	for _, l := range b.Lines {
		linesOf[l.PieceID] = append(linesOf[l.PieceID], l)
	}
	groups := make(map[string]*Item)
	for _, piece := range b.pieces() {
		costs := b.Costs[piece.ID]
		sale := SaleOf(piece)
		switch {
		case sale == nil || sale.Listing.EndedOn > out.StockOn:
			out.addUnsold(piece, costs, q.From)
		case sale.Listing.EndedOn >= q.From:
			figures := FiguresOf(a.Group, sale, costs)
			item := sale.item(groups, q.By)
			item.add(figures)
			out.addSale(sale, figures)
			if q.WithLines {
				out.Lines = append(out.Lines, sale.lines(item.Group, figures, linesOf[piece.ID])...)
			}
		}
	}
	for _, item := range groups {
		out.Items = append(out.Items, *item)
	}
	slices.SortFunc(out.Items, byGroup(q.By))
	slices.SortStableFunc(out.Lines, func(x, y Line) int { return cmp.Or(cmp.Compare(x.Group, y.Group), cmp.Compare(x.On, y.On)) })
	slices.SortStableFunc(out.Stock, func(x, y StockItem) int { return cmp.Compare(x.BoughtOn, y.BoughtOn) })
	slices.SortStableFunc(out.LetGo, func(x, y StockItem) int { return cmp.Compare(x.Piece.Newest().ClosedOn, y.Piece.Newest().ClosedOn) })
	out.judge(a, q.By)
	out.Sentences = out.sentences(a, q)
	return out
}

// item finds or makes the item that a sale belongs to.
func (s *Sale) item(groups map[string]*Item, by string) *Item {
	key := s.group(by)
	if groups[key] == nil {
		groups[key] = &Item{Group: key}
	}
	if by == Groupings[0] {
		groups[key].Group, groups[key].Sale = s.Piece.Ref, s
	}
	return groups[key]
}

func (p *Report) addSale(s *Sale, f Figures) {
	p.Total.add(f)
	if s.isQuick() {
		p.QuickSales = append(p.QuickSales, s.Listing)
	}
}

// pieces gathers the rows by piece, in the order of the pieces' refs.
func (b *Books) pieces() []*service.Piece {
	rows := make(map[uuid.UUID][]*service.Listing)
	for _, l := range b.Rows {
		rows[l.PieceID] = append(rows[l.PieceID], l)
	}
	pieces := make([]*service.Piece, 0, len(rows))
	for _, of := range rows {
		pieces = append(pieces, service.PieceOf(of))
	}
	slices.SortFunc(pieces, func(x, y *service.Piece) int {
		return cmp.Or(cmp.Compare(x.Ref, y.Ref), cmp.Compare(x.ID.String(), y.ID.String()))
	})
	return pieces
}

// SaleOf is the piece's sale; nil: there is none. Of a piece that was bought
// back and sold again it is the last one.
func SaleOf(p *service.Piece) *Sale {
	s := &Sale{Piece: p}
	s.BoughtOn, s.BoughtFrom = bought(p)
	for _, l := range p.Listings {
		if l.Outcome == service.OutcomeSold && (s.Listing == nil || l.EndedOn >= s.Listing.EndedOn) {
			s.Listing = l
		}
	}
	if s.Listing == nil {
		return nil
	}
	if s.Venue = service.VenueName(s.Listing.SoldVenue); s.Venue == "" {
		s.Venue = onlyVenue(s.Listing.Venue)
	}
	return s
}

// bought is when and where a piece came from: the first that is told.
func bought(p *service.Piece) (on pricing.Date, from string) {
	for _, l := range p.Listings {
		if b := l.Ledger.BoughtOn; !b.IsZero() && (on.IsZero() || b < on) {
			on = b
		}
		from = cmp.Or(from, l.Ledger.BoughtFrom)
	}
	return on, from
}

// onlyVenue is the venue where a piece was offered, if there was only one.
func onlyVenue(venues string) string {
	found := ""
	for venue := range strings.SplitSeq(venues, ";") {
		venue = service.VenueName(venue)
		if venue != "" && found != "" && venue != found {
			return ""
		}
		found = cmp.Or(found, venue)
	}
	return found
}

// FiguresOf sum up a sold piece. Fees that nobody wrote down are computed from
// the rate of the venue on the day of the sale.
func FiguresOf(g *service.Group, s *Sale, costs PieceCosts) Figures {
	f := Figures{Pieces: 1, Costs: maps.Clone(costs.Total)}
	if f.Costs == nil {
		f.Costs = make(service.Costs)
	}
	for _, l := range s.Piece.Listings {
		f.Revenue += l.SalePrice
	}
	if _, told := f.Costs[service.CostFees]; !told {
		f.FeesEstimated = f.Revenue.Share(g.FeeRateAt(cmp.Or(s.Venue, s.Listing.Venue), s.Listing.EndedOn))
		f.Costs[service.CostFees] = service.Amount(f.FeesEstimated)
		if f.FeesEstimated > 0 {
			f.FeesUntold = 1
		}
	}
	if _, known := f.Costs[service.CostPurchase]; !known {
		f.PurchaseUnknown = 1
	}
	profit := f.Profit()
	if profit < 0 {
		f.Lost = 1
	}
	if f.Hours() > 0 {
		f.Timed, f.timedProfit = 1, profit
	}
	if days := s.Listing.EndedOn - s.BoughtOn; !s.BoughtOn.IsZero() && days >= 0 {
		f.Dated, f.ofDated, f.DaysOwned = 1, profit, max(1, int(days))
	}
	return f
}

// addUnsold takes in a piece that was in the member's hands at the end of the
// period, or that left them within it without a sale. What was only found never
// was in them.
func (p *Report) addUnsold(piece *service.Piece, costs PieceCosts, from pricing.Date) {
	newest, until := piece.Newest(), p.StockOn
	if newest.Stage == service.StageFound {
		return
	}
	isGone := newest.ClosedAs != "" && newest.ClosedOn <= p.StockOn
	item := StockItem{Piece: piece, Figures: Figures{Pieces: 1, Costs: costs.Until}}
	if isGone {
		item.Costs, until = costs.Total, newest.ClosedOn
	}
	item.BoughtOn, item.BoughtFrom = bought(piece)
	if _, known := costs.Total[service.CostPurchase]; !known {
		item.PurchaseUnknown = 1
	}
	if !item.BoughtOn.IsZero() {
		item.Dated, item.DaysOwned = 1, max(1, int(until-item.BoughtOn))
	}
	switch {
	case isGone && until >= from:
		p.LetGo = append(p.LetGo, item)
		p.LetGoTotal.add(item.Figures)
	case !isGone && cmp.Or(item.BoughtOn, piece.Listings[0].ListedOn) <= p.StockOn:
		p.Stock = append(p.Stock, item)
		p.StockTotal.add(item.Figures)
	}
}

// groupUnknown gathers what nobody told.
const groupUnknown = "unknown"

// group is what a sale is summed under.
func (s *Sale) group(by string) string {
	day := s.Listing.EndedOn.String()
	switch by {
	case "month":
		return day[:len("2026-03")]
	case "year":
		return day[:len("2026")]
	case "category":
		return s.Listing.Category
	case "finish":
		return cmp.Or(s.Listing.Finish, groupUnknown)
	case "venue":
		return cmp.Or(s.Venue, groupUnknown)
	case "source":
		return cmp.Or(s.BoughtFrom, groupUnknown)
	}
	return s.Piece.ID.String()
}

// byGroup orders pieces and periods by their days, what else there is by its
// profit, the greatest first.
func byGroup(by string) func(x, y Item) int {
	return func(x, y Item) int {
		switch by {
		case "piece":
			return cmp.Or(cmp.Compare(x.Sale.Listing.EndedOn, y.Sale.Listing.EndedOn), cmp.Compare(x.Group, y.Group))
		case "month", "year":
			return cmp.Compare(x.Group, y.Group)
		}
		return cmp.Or(cmp.Compare(y.Profit(), x.Profit()), cmp.Compare(x.Group, y.Group))
	}
}

// isQuick reports whether the piece went on the day it was listed or the next,
// at the first ask or more.
func (s *Sale) isQuick() bool {
	l := s.Listing
	return l.EndedOn-l.ListedOn <= 1 && len(l.Asks) > 0 && l.SalePrice >= l.Asks[0].Amount
}

// lines are the amounts that the figures of the sale are made of.
func (s *Sale) lines(group string, f Figures, costs []service.CostLine) []Line {
	var lines []Line
	add := func(l Line) {
		l.Group, l.Sale = group, s
		lines = append(lines, l)
	}
	for _, c := range costs {
		add(Line{On: c.On, Kind: string(c.Kind), Amount: c.Amount, Ref: c.Ref, Listing: c.ListingID, Line: c.ID, Step: c.Step, Note: c.Note})
	}
	for _, l := range s.Piece.Listings {
		if l.SalePrice != 0 {
			add(Line{On: l.EndedOn, Kind: LineSalePrice, Amount: service.Amount(l.SalePrice), Ref: l.Ref, Listing: l.ID})
		}
	}
	if f.FeesEstimated != 0 {
		add(Line{On: s.Listing.EndedOn, Kind: LineEstimatedFees, Amount: service.Amount(f.FeesEstimated), Ref: s.Listing.Ref, Listing: s.Listing.ID})
	}
	return lines
}
