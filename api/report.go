package api

import (
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
)

// ProfitReport is what the key's own member earned. Amounts add up exactly;
// ratios are rounded, and null where there is nothing to divide by.
type ProfitReport struct {
	Member     string       `json:"member"`
	Currency   string       `json:"currency" example:"USD"`
	By         string       `json:"by" enums:"piece,month,year,category,finish,venue,source"`
	From       string       `json:"from,omitempty" format:"date"` // of the sale
	To         string       `json:"to,omitempty" format:"date"`   // of the sale, included
	Items      []ProfitItem `json:"items"`                        // pieces and periods by their days, others by profit
	Total      ProfitItem   `json:"total"`                        // the sum of items
	StockOn    string       `json:"stock_on" format:"date"`       // the last day of the period, or today
	Stock      []StockItem  `json:"stock"`                        // not sold by then, at what it cost by then
	StockTotal StockItem    `json:"stock_total"`                  // the sum of stock
	LetGo      []StockItem  `json:"let_go"`                       // left without a sale within the period, at all that they cost; in no figure of items
	LetGoTotal StockItem    `json:"let_go_total"`                 // the sum of let_go
	Lines      []ProfitLine `json:"lines,omitempty"`              // with lines=true: the amounts that items are the sums of
	QuickSales []QuickSale  `json:"quick_sales"`                  // gone by the day after listing at the full first ask: asked too little?
	Sentences  []string     `json:"sentences"`
	Cautions   []Caution    `json:"cautions"`
}

// ProfitItem is one sold piece, or the sold pieces that have something in
// common. Profit is revenue less cost, plus delivery_charged less delivery_cost.
type ProfitItem struct {
	Group      string     `json:"group,omitempty" example:"2026-03"` // the month, category ...; of a piece its ref
	ID         *uuid.UUID `json:"id,omitempty" format:"uuid"`        // of a piece, as all until sold_on
	Category   string     `json:"category,omitempty"`
	Finish     string     `json:"finish,omitempty"` // that it sold in
	Venue      string     `json:"venue,omitempty"`  // where it sold, if told
	BoughtFrom string     `json:"bought_from,omitempty"`
	BoughtOn   string     `json:"bought_on,omitempty" format:"date"`
	SoldOn     string     `json:"sold_on,omitempty" format:"date"`

	Pieces          int     `json:"pieces"`
	Revenue         number  `json:"revenue" swaggertype:"number" csv:"money"` // sale prices, delivery not included
	PurchaseCost    number  `json:"purchase_cost" swaggertype:"number" csv:"money"`
	PickupCost      number  `json:"pickup_cost" swaggertype:"number" csv:"money"`
	MaterialsCost   number  `json:"materials_cost" swaggertype:"number" csv:"money"`
	OtherCost       number  `json:"other_cost" swaggertype:"number" csv:"money"`
	Fees            number  `json:"fees" swaggertype:"number" csv:"money"`
	FeesEstimated   number  `json:"fees_estimated" swaggertype:"number" csv:"money"` // the part of fees that nobody recorded: from the venue's rate
	Cost            number  `json:"cost" swaggertype:"number" csv:"money"`           // purchase, pickup, materials, other and fees
	DeliveryCharged number  `json:"delivery_charged" swaggertype:"number" csv:"money"`
	DeliveryCost    number  `json:"delivery_cost" swaggertype:"number" csv:"money"`
	Profit          number  `json:"profit" swaggertype:"number" csv:"money"`
	Margin          *number `json:"margin_percent" swaggertype:"number"`                   // profit of what came in after fees
	Return          *number `json:"return_on_cost_percent" swaggertype:"number"`           // profit of cost and delivery_cost
	Hours           number  `json:"hours" swaggertype:"number"`                            // at the bench
	HoursOther      number  `json:"hours_other" swaggertype:"number"`                      // fetching, photos, messages, delivery
	PerHour         *number `json:"profit_per_hour" swaggertype:"number" csv:"money"`      // over all hours of the timed pieces
	TimedPieces     int     `json:"timed_pieces"`                                          // with hours on file
	DaysOwned       *int    `json:"days_owned"`                                            // from bought to sold, of the dated pieces
	PerDayOwned     *number `json:"profit_per_day_owned" swaggertype:"number" csv:"money"` // of the dated pieces
	DatedPieces     int     `json:"dated_pieces"`                                          // with the day of purchase on file
	PurchaseUnknown int     `json:"purchase_unknown"`                                      // pieces without a purchase cost on file: their profit is too high
	AtALoss         int     `json:"at_a_loss"`                                             // pieces
	Verdict         string  `json:"verdict,omitempty" enums:"keep,stop,too_few"`           // of a source or category, against the worth of an hour
}

// StockItem is a piece that was not sold: at what it cost by a day, or in all.
type StockItem struct {
	ID            *uuid.UUID `json:"id,omitempty" format:"uuid"`
	Ref           string     `json:"ref,omitempty"`
	Category      string     `json:"category,omitempty"`
	State         string     `json:"state,omitempty" enums:"bought,in_work,open,sold,withdrawn,let_go"` // today
	Reason        string     `json:"let_go,omitempty" example:"given_away" csv:"plain"`                 // why it left without a sale
	LetGoOn       string     `json:"let_go_on,omitempty" format:"date"`
	BoughtFrom    string     `json:"bought_from,omitempty"`
	BoughtOn      string     `json:"bought_on,omitempty" format:"date"`
	DaysOwned     *int       `json:"days_owned"` // null: the day of purchase is not on file
	Pieces        int        `json:"pieces"`
	PurchaseCost  number     `json:"purchase_cost" swaggertype:"number" csv:"money"`
	PickupCost    number     `json:"pickup_cost" swaggertype:"number" csv:"money"`
	MaterialsCost number     `json:"materials_cost" swaggertype:"number" csv:"money"`
	OtherCost     number     `json:"other_cost" swaggertype:"number" csv:"money"`
	Fees          number     `json:"fees" swaggertype:"number" csv:"money"`
	Cost          number     `json:"cost" swaggertype:"number" csv:"money"` // the sum of the five
	DeliveryCost  number     `json:"delivery_cost" swaggertype:"number" csv:"money"`
	Hours         number     `json:"hours" swaggertype:"number"`
	HoursOther    number     `json:"hours_other" swaggertype:"number"`
}

// ProfitLine is one amount that a figure is made of.
type ProfitLine struct {
	Group     string     `json:"group"` // of the item that it is part of
	PieceRef  string     `json:"piece_ref"`
	Ref       string     `json:"ref"` // of the row that the amount stands in
	PieceID   uuid.UUID  `json:"piece_id" format:"uuid"`
	ListingID uuid.UUID  `json:"listing_id" format:"uuid"`
	CostID    *uuid.UUID `json:"cost_id,omitempty" format:"uuid"` // of the cost line, where it is one
	On        string     `json:"on" format:"date"`
	Kind      string     `json:"kind" example:"materials_cost" csv:"plain"`         // sale_price, a kind of cost, or estimated_fees
	Amount    *number    `json:"amount,omitempty" swaggertype:"number" csv:"money"` // money
	Hours     *number    `json:"hours,omitempty" swaggertype:"number"`              // of the kinds hours and hours_other
	Step      string     `json:"step,omitempty"`
	Note      string     `json:"note,omitempty"`
}

// QuickSale is a listing that went at once for all that was asked.
type QuickSale struct {
	ListingID uuid.UUID `json:"listing_id" format:"uuid"`
	Ref       string    `json:"ref"`
	ListedOn  string    `json:"listed_on" format:"date"`
	EndedOn   string    `json:"ended_on" format:"date"`
	FirstAsk  number    `json:"first_ask" swaggertype:"number" csv:"money"`
	SalePrice number    `json:"sale_price" swaggertype:"number" csv:"money"`
}

// amounts writes sums of one currency.
type amounts struct {
	profit.Figures
	currency service.Currency
}

func (f amounts) money(m service.Money) number { return exact(m, f.currency) }

func (f amounts) of(kind service.CostKind) number {
	return number(service.FormatCost(kind, f.Costs[kind], f.currency))
}

// ratio writes a figure that may be missing.
func ratio(format func(int64) string) func(x int64, ok bool) *number {
	return func(x int64, ok bool) *number {
		if !ok {
			return nil
		}
		n := number(format(x))
		return &n
	}
}

func (f amounts) days() *int {
	if f.Dated == 0 {
		return nil
	}
	return &f.DaysOwned
}

func (v viewer) profitItem(i profit.Item) ProfitItem {
	f := amounts{i.Figures, v.currency}
	percent := ratio(service.FormatTenths)
	money := ratio(func(x int64) string { return service.Money(x).Format(v.currency) })
	out := ProfitItem{
		Group: i.Group, Pieces: f.Pieces, Revenue: f.money(f.Revenue), PurchaseCost: f.of(service.CostPurchase),
		PickupCost: f.of(service.CostPickup), MaterialsCost: f.of(service.CostMaterials), OtherCost: f.of(service.CostOther),
		Fees: f.of(service.CostFees), FeesEstimated: f.money(f.FeesEstimated), Cost: f.money(f.Cost()),
		DeliveryCharged: f.of(service.CostDeliveryCharged), DeliveryCost: f.of(service.CostDelivery), Profit: f.money(f.Profit()),
		Margin: percent(f.MarginPercent()), Return: percent(f.ReturnPercent()), Hours: f.of(service.CostHours),
		HoursOther: f.of(service.CostHoursOther), PerHour: money(f.PerHour()), TimedPieces: f.Timed, DaysOwned: f.days(),
		PerDayOwned: money(f.PerDayOwned()), DatedPieces: f.Dated, PurchaseUnknown: f.PurchaseUnknown, AtALoss: f.Lost, Verdict: i.Verdict,
	}
	if s := i.Sale; s != nil {
		out.ID, out.Category, out.Finish, out.Venue = &s.Piece.ID, s.Listing.Category, s.Listing.Finish, s.Venue
		out.BoughtFrom, out.BoughtOn, out.SoldOn = s.BoughtFrom, s.BoughtOn.String(), s.Listing.EndedOn.String()
	}
	return out
}

func (v viewer) stock(figures profit.Figures) StockItem {
	f := amounts{figures, v.currency}
	return StockItem{
		Pieces: f.Pieces, PurchaseCost: f.of(service.CostPurchase), PickupCost: f.of(service.CostPickup),
		MaterialsCost: f.of(service.CostMaterials), OtherCost: f.of(service.CostOther), Fees: f.of(service.CostFees),
		Cost: f.money(f.Cost()), DeliveryCost: f.of(service.CostDelivery), Hours: f.of(service.CostHours),
		HoursOther: f.of(service.CostHoursOther), DaysOwned: f.days(),
	}
}

func (v viewer) stockItem(i profit.StockItem) StockItem {
	out := v.stock(i.Figures)
	newest := i.Piece.Listings[len(i.Piece.Listings)-1]
	out.ID, out.Ref, out.Category, out.State = &i.Piece.ID, i.Piece.Ref, newest.Category, i.Piece.State()
	out.BoughtFrom, out.BoughtOn = i.BoughtFrom, i.BoughtOn.String()
	out.Reason, out.LetGoOn = newest.LetGo, newest.LetGoOn.String()
	return out
}

func (v viewer) profitLine(l profit.Line) ProfitLine {
	out := ProfitLine{
		Group: l.Group, PieceRef: l.Sale.Piece.Ref, Ref: l.Ref, PieceID: l.Sale.Piece.ID, ListingID: l.Listing, CostID: optionalID(l.Line),
		On: l.On.String(), Kind: l.Kind, Step: l.Step, Note: l.Note,
	}
	kind := service.CostKind(l.Kind)
	amount := number(service.FormatCost(kind, l.Amount, v.currency))
	if kind.IsHours() {
		out.Hours = &amount
	} else {
		out.Amount = &amount
	}
	return out
}

func (v viewer) profit(a *service.Actor, q profit.Query, p *profit.Report) ProfitReport {
	out := ProfitReport{
		Member: a.Member, Currency: v.currency.Code, By: q.By, From: q.From.String(), To: q.To.String(),
		Items: each(p.Items, v.profitItem), Total: v.profitItem(profit.Item{Figures: p.Total}), StockOn: p.StockOn.String(),
		Stock: each(p.Stock, v.stockItem), StockTotal: v.stock(p.StockTotal), LetGo: each(p.LetGo, v.stockItem),
		LetGoTotal: v.stock(p.LetGoTotal), Lines: each(p.Lines, v.profitLine),
		QuickSales: make([]QuickSale, len(p.QuickSales)), Sentences: notNil(p.Sentences), Cautions: cautions(p.Cautions),
	}
	for i, l := range p.QuickSales {
		out.QuickSales[i] = QuickSale{
			ListingID: l.ID, Ref: l.Ref, ListedOn: l.ListedOn.String(), EndedOn: l.EndedOn.String(),
			FirstAsk: exact(l.Asks[0].Amount, v.currency), SalePrice: exact(l.SalePrice, v.currency),
		}
	}
	return out
}

// Columns of a single piece; left out where pieces are summed.
var saleColumns = columnsOf[ProfitItem](`
	id category finish venue bought_from bought_on sold_on`)

var figureColumns = columnsOf[ProfitItem](`
	pieces revenue purchase_cost pickup_cost materials_cost other_cost fees fees_estimated cost
	delivery_charged delivery_cost profit margin_percent return_on_cost_percent hours hours_other
	profit_per_hour timed_pieces days_owned profit_per_day_owned dated_pieces purchase_unknown
	at_a_loss verdict`)

// profitColumns are those of a grouping.
func profitColumns(by string) []tableColumn[ProfitItem] {
	columns := []tableColumn[ProfitItem]{{name: "group", kind: textCell, value: func(i ProfitItem) string { return i.Group }}}
	if by == byPiece {
		columns = append(columns, saleColumns...)
	}
	return append(columns, figureColumns...)
}

var stockColumns = columnsOf[StockItem](`
	id ref category state let_go let_go_on bought_from bought_on days_owned purchase_cost
	pickup_cost materials_cost other_cost fees cost delivery_cost hours hours_other`)

var lineColumns = columnsOf[ProfitLine](`
	group piece_ref ref on kind amount hours step note piece_id listing_id cost_id`)

var quickSaleColumns = columnsOf[QuickSale](`
	ref listed_on ended_on first_ask sale_price listing_id`)

func optionalCount(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

// ProfitQuery is what the report can be asked for.
type ProfitQuery struct {
	By    string       `form:"by" enums:"piece,month,year,category,finish,venue,source" default:"piece"`
	From  pricing.Date `form:"from" swaggertype:"string" format:"date"`               // of the sale
	To    pricing.Date `form:"to" swaggertype:"string" format:"date"`                 // of the sale, included; also the day of the stock
	Lines bool         `form:"lines"`                                                 // JSON: with the amounts that the figures are made of
	Rows  string       `form:"rows" enums:"items,lines,stock,let_go" default:"items"` // CSV: which of the four
	TableQuery
}

const (
	byPiece    = "piece"
	rowsLines  = "lines"
	rowsStock  = "stock"
	rowsLetGo  = "let_go"
	taxCaution = "Askwright-Caution" // header of the CSV, whose rows are data alone
)

// profitQuery reads what is asked for, which rows a CSV has, and their columns.
func profitQuery(p *params, form string) (q profit.Query, rows string, columns []string) {
	var in ProfitQuery
	bindQuery(p, &in)
	q = profit.Query{By: in.By, From: in.From, To: in.To, WithLines: in.Lines}
	rows = in.Rows
	columns = columnNames(profitColumns(q.By))
	switch {
	case form == formJSON && p.text("rows") != "":
		p.refuse("rows", "is for CSV; JSON has items, stock and let_go, and lines with lines=true")
	case form == formCSV && q.WithLines:
		p.refuse("lines", "is for JSON; for CSV it is rows=lines")
	case rows == rowsLines:
		columns, q.WithLines = columnNames(lineColumns), true
	case rows == rowsStock || rows == rowsLetGo:
		columns = columnNames(stockColumns)
	}
	return q, rows, columns
}

// getProfit reports on the pieces of the key's own member, whatever its scope:
// those sold within the period, and what was unsold at its end, at cost. The
// costs of a piece are those of all its listings, once.
//
//	@Summary	Profit and loss, by piece, period or kind
//	@Tags		ledger
//	@Param		query	query	ProfitQuery	false	"grouping and period"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	ProfitReport
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/profit [get]
//	@Router		/v1/reports/profit.csv [get]
func (s *Server) getProfit(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	q, rows, columns := profitQuery(p, form)
	options := csvParams(p, form, columns)
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	report, err := s.service.Profit.Report(c.Request.Context(), a, q)
	if err != nil {
		return inQuery(err)
	}
	out := viewerOf(a).profit(a, q, report)
	if form == formJSON {
		return answer(c, http.StatusOK, out)
	}
	c.Header(taxCaution, "no-tax-advice")
	switch rows {
	case rowsLines:
		return writeTable(c, "profit-lines.csv", lineColumns, options, out.Lines)
	case rowsStock:
		return writeTable(c, "stock.csv", stockColumns, options, out.Stock)
	case rowsLetGo:
		return writeTable(c, "let-go.csv", stockColumns, options, out.LetGo)
	}
	return writeTable(c, "profit.csv", profitColumns(q.By), options, out.Items)
}
