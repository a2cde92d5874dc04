package wire

import (
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
)

// ProfitPeriod is what the profit workbook can be asked for.
type ProfitPeriod struct {
	From pricing.Date `form:"from" swaggertype:"string" format:"date"` // of the sale
	To   pricing.Date `form:"to" swaggertype:"string" format:"date"`   // of the sale, included; also the day of the stock
}

// profitSheet is a sheet with figures, by what they are grouped by.
type profitSheet struct{ By, name string }

// ProfitSheets are the sheets with figures, by what they are grouped by.
var ProfitSheets = []profitSheet{
	{byPiece, "Pieces"}, {"month", "Months"}, {"year", "Years"}, {"category", "Categories"},
	{"finish", "Finishes"}, {"venue", "Venues"}, {"source", "Sources"},
}

// WriteProfitBook writes the sheets of the report, which comes by each of profitSheets.
func WriteProfitBook(b *web.Workbook, reports []ProfitReport) error {
	report := reports[0]
	if err := web.AddSheet(b, "About", aboutProfitColumns, aboutProfit(reports)); err != nil {
		return err
	}
	if err := web.AddSheet(b, "Total", figureColumns, []ProfitItem{report.Total}); err != nil {
		return err
	}
	for i, sheet := range ProfitSheets {
		if err := web.AddSheet(b, sheet.name, ProfitColumns(sheet.By), reports[i].Items); err != nil {
			return err
		}
	}
	if err := web.AddSheet(b, "Lines", LineColumns, report.Lines); err != nil {
		return err
	}
	idLast := append(slices.Clone(StockColumns[1:]), StockColumns[0])
	if err := web.AddSheet(b, "Stock", idLast, report.Stock); err != nil {
		return err
	}
	if err := web.AddSheet(b, "Let go", idLast, report.LetGo); err != nil {
		return err
	}
	return web.AddSheet(b, "Quick sales", QuickSaleColumns, report.QuickSales)
}

// aboutProfitColumns tell what the report is about, a line each.
var aboutProfitColumns = []web.TableColumn[[2]string]{
	{Name: "about", Kind: web.TextCell, Value: func(line [2]string) string { return line[0] }},
	{Name: "text", Kind: web.PlainCell, Value: func(line [2]string) string { return line[1] }},
}

func aboutProfit(reports []ProfitReport) [][2]string {
	report := reports[0]
	lines := [][2]string{
		{"member", report.Member}, {"currency", report.Currency}, {"from", report.From}, {"to", report.To}, {"stock_on", report.StockOn},
	}
	var told []string
	for _, r := range reports {
		for _, sentence := range r.Sentences {
			if !slices.Contains(told, sentence.Text) { // a grouping adds only its verdicts
				told = append(told, sentence.Text)
				lines = append(lines, [2]string{"sentence", sentence.Text})
			}
		}
	}
	for _, caution := range report.Cautions {
		lines = append(lines, [2]string{strings.ReplaceAll(caution.Code, "_", " "), caution.Text})
	}
	return lines
}

// ProfitReport is what the key's own member earned. Amounts add up exactly;
// ratios are rounded, and null where there is nothing to divide by.
type ProfitReport struct {
	Member     string       `json:"member"`
	Currency   string       `json:"currency" example:"USD"`
	By         string       `json:"by" enums:"piece,month,year,category,finish,venue,source"`
	From       string       `json:"from,omitempty" format:"date"` // of the sale
	To         string       `json:"to,omitempty" format:"date"`   // of the sale, included
	Items      []ProfitItem `json:"items"`                        // pieces and periods by their days, others by profit
	Next       *string      `json:"next"`                         // null: the list is whole
	Total      ProfitItem   `json:"total"`                        // the sum of items
	StockOn    string       `json:"stock_on" format:"date"`       // the last day of the period, or today
	StockTotal StockItem    `json:"stock_total"`                  // the sum of /v1/reports/stock
	LetGoTotal StockItem    `json:"let_go_total"`                 // the sum of /v1/reports/let-go, in no figure of items
	Sentences  []Sentence   `json:"sentences"`
	Cautions   []Caution    `json:"cautions"`

	// Lists of their own: not sold by StockOn, left without a sale within the
	// period, the amounts that Items are the sums of, and what went at once.
	Stock      []StockItem  `json:"-"`
	LetGo      []StockItem  `json:"-"`
	Lines      []ProfitLine `json:"-"`
	QuickSales []QuickSale  `json:"-"`
}

// StockReport is the unsold pieces of a member, or those that left without a
// sale.
type StockReport struct {
	Items   []StockItem `json:"items"`
	Next    *string     `json:"next"`                   // null: the list is whole
	Total   StockItem   `json:"total"`                  // the sum of items
	StockOn string      `json:"stock_on" format:"date"` // the last day of the period, or today
}

// StockTable has a line for each piece.
var StockTable = web.TableOf(StockColumns, func(r StockReport) []StockItem { return r.Items })

// ProfitLinePage is the amounts that the figures of the profit report are the
// sums of.
type ProfitLinePage struct {
	Items []ProfitLine `json:"items"`
	Next  *string      `json:"next"`
}

// QuickSalePage is the listings that went at once.
type QuickSalePage struct {
	Items []QuickSale `json:"items"`
	Next  *string     `json:"next"`
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

	Pieces          int         `json:"pieces"`
	Revenue         web.Number  `json:"revenue" swaggertype:"number" csv:"money"` // sale prices, delivery not included
	PurchaseCost    web.Number  `json:"purchase_cost" swaggertype:"number" csv:"money"`
	PickupCost      web.Number  `json:"pickup_cost" swaggertype:"number" csv:"money"`
	MaterialsCost   web.Number  `json:"materials_cost" swaggertype:"number" csv:"money"`
	OtherCost       web.Number  `json:"other_cost" swaggertype:"number" csv:"money"`
	Fees            web.Number  `json:"fees" swaggertype:"number" csv:"money"`
	FeesEstimated   web.Number  `json:"fees_estimated" swaggertype:"number" csv:"money"` // the part of fees that nobody recorded: from the venue's rate
	Cost            web.Number  `json:"cost" swaggertype:"number" csv:"money"`           // purchase, pickup, materials, other and fees
	DeliveryCharged web.Number  `json:"delivery_charged" swaggertype:"number" csv:"money"`
	DeliveryCost    web.Number  `json:"delivery_cost" swaggertype:"number" csv:"money"`
	Profit          web.Number  `json:"profit" swaggertype:"number" csv:"money"`
	Margin          *web.Number `json:"margin_percent" swaggertype:"number"`                   // profit of what came in after fees
	Return          *web.Number `json:"return_on_cost_percent" swaggertype:"number"`           // profit of cost and delivery_cost
	Hours           web.Number  `json:"hours" swaggertype:"number"`                            // at the bench
	HoursOther      web.Number  `json:"hours_other" swaggertype:"number"`                      // fetching, photos, messages, delivery
	PerHour         *web.Number `json:"profit_per_hour" swaggertype:"number" csv:"money"`      // over all hours of the timed pieces
	TimedPieces     int         `json:"timed_pieces"`                                          // with hours on file
	DaysOwned       *int        `json:"days_owned"`                                            // from bought to sold, of the dated pieces
	PerDayOwned     *web.Number `json:"profit_per_day_owned" swaggertype:"number" csv:"money"` // of the dated pieces
	DatedPieces     int         `json:"dated_pieces"`                                          // with the day of purchase on file
	PurchaseUnknown int         `json:"purchase_unknown"`                                      // pieces without a purchase cost on file: their profit is too high
	AtALoss         int         `json:"at_a_loss"`                                             // pieces
	Verdict         string      `json:"verdict,omitempty" enums:"keep,stop,too_few"`           // of a source or category, against the worth of an hour
}

// StockItem is a piece that was not sold: at what it cost by a day, or in all.
type StockItem struct {
	ID            *uuid.UUID `json:"id,omitempty" format:"uuid"`
	Ref           string     `json:"ref,omitempty"`
	Category      string     `json:"category,omitempty"`
	State         string     `json:"state,omitempty" enums:"bought,on_bench,open,sold,pulled,retired"` // today
	Reason        string     `json:"closed_as,omitempty" example:"given_away" csv:"plain"`             // why it left without a sale
	ClosedOn      string     `json:"closed_on,omitempty" format:"date"`
	BoughtFrom    string     `json:"bought_from,omitempty"`
	BoughtOn      string     `json:"bought_on,omitempty" format:"date"`
	DaysOwned     *int       `json:"days_owned"` // null: the day of purchase is not on file
	Pieces        int        `json:"pieces"`
	PurchaseCost  web.Number `json:"purchase_cost" swaggertype:"number" csv:"money"`
	PickupCost    web.Number `json:"pickup_cost" swaggertype:"number" csv:"money"`
	MaterialsCost web.Number `json:"materials_cost" swaggertype:"number" csv:"money"`
	OtherCost     web.Number `json:"other_cost" swaggertype:"number" csv:"money"`
	Fees          web.Number `json:"fees" swaggertype:"number" csv:"money"`
	Cost          web.Number `json:"cost" swaggertype:"number" csv:"money"` // the sum of the five
	DeliveryCost  web.Number `json:"delivery_cost" swaggertype:"number" csv:"money"`
	Hours         web.Number `json:"hours" swaggertype:"number"`
	HoursOther    web.Number `json:"hours_other" swaggertype:"number"`
}

// ProfitLine is one amount that a figure is made of.
type ProfitLine struct {
	Group     string      `json:"group"` // of the item that it is part of
	PieceRef  string      `json:"piece_ref"`
	Ref       string      `json:"ref"` // of the row that the amount stands in
	PieceID   uuid.UUID   `json:"piece_id" format:"uuid"`
	ListingID uuid.UUID   `json:"listing_id" format:"uuid"`
	CostID    *uuid.UUID  `json:"cost_id,omitempty" format:"uuid"` // of the cost line, where it is one
	On        string      `json:"on" format:"date"`
	Kind      string      `json:"kind" example:"materials_cost" csv:"plain"`         // sale_price, a kind of cost, or estimated_fees
	Amount    *web.Number `json:"amount,omitempty" swaggertype:"number" csv:"money"` // money
	Hours     *web.Number `json:"hours,omitempty" swaggertype:"number"`              // of the kinds hours and hours_other
	Step      string      `json:"step,omitempty"`
	Note      string      `json:"note,omitempty"`
}

// QuickSale is a listing that went at once for all that was asked.
type QuickSale struct {
	ListingID uuid.UUID  `json:"listing_id" format:"uuid"`
	Ref       string     `json:"ref"`
	ListedOn  string     `json:"listed_on" format:"date"`
	EndedOn   string     `json:"ended_on" format:"date"`
	FirstAsk  web.Number `json:"first_ask" swaggertype:"number" csv:"money"`
	SalePrice web.Number `json:"sale_price" swaggertype:"number" csv:"money"`
}

// amounts writes sums of one currency.
type amounts struct {
	profit.Figures
	currency service.Currency
}

func (f amounts) money(m service.Money) web.Number { return web.Exact(m, f.currency) }

func (f amounts) of(kind service.CostKind) web.Number {
	return web.Number(service.FormatCost(kind, f.Costs[kind], f.currency))
}

// ratio writes a figure that may be missing.
func ratio(format func(int64) string) func(x int64, ok bool) *web.Number {
	return func(x int64, ok bool) *web.Number {
		if !ok {
			return nil
		}
		n := web.Number(format(x))
		return &n
	}
}

func (f amounts) days() *int {
	if f.Dated == 0 {
		return nil
	}
	return &f.DaysOwned
}

func (v Viewer) profitItem(i profit.Item) ProfitItem {
	f := amounts{i.Figures, v.Currency}
	percent := ratio(service.FormatTenths)
	money := ratio(func(x int64) string { return service.Money(x).Format(v.Currency) })
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

// Stock shows what unsold pieces cost.
func (v Viewer) Stock(figures profit.Figures) StockItem {
	f := amounts{figures, v.Currency}
	return StockItem{
		Pieces: f.Pieces, PurchaseCost: f.of(service.CostPurchase), PickupCost: f.of(service.CostPickup),
		MaterialsCost: f.of(service.CostMaterials), OtherCost: f.of(service.CostOther), Fees: f.of(service.CostFees),
		Cost: f.money(f.Cost()), DeliveryCost: f.of(service.CostDelivery), Hours: f.of(service.CostHours),
		HoursOther: f.of(service.CostHoursOther), DaysOwned: f.days(),
	}
}

func (v Viewer) stockItem(i profit.StockItem) StockItem {
	out := v.Stock(i.Figures)
	newest := i.Piece.Listings[len(i.Piece.Listings)-1]
	out.ID, out.Ref, out.Category, out.State = &i.Piece.ID, i.Piece.Ref, newest.Category, i.Piece.State()
	out.BoughtFrom, out.BoughtOn = i.BoughtFrom, i.BoughtOn.String()
	out.Reason, out.ClosedOn = newest.ClosedAs, newest.ClosedOn.String()
	return out
}

func (v Viewer) profitLine(l profit.Line) ProfitLine {
	out := ProfitLine{
		Group: l.Group, PieceRef: l.Sale.Piece.Ref, Ref: l.Ref, PieceID: l.Sale.Piece.ID, ListingID: l.Listing, CostID: optionalID(l.Line),
		On: l.On.String(), Kind: l.Kind, Step: l.Step, Note: l.Note,
	}
	kind := service.CostKind(l.Kind)
	amount := web.Number(service.FormatCost(kind, l.Amount, v.Currency))
	if kind.IsHours() {
		out.Hours = &amount
	} else {
		out.Amount = &amount
	}
	return out
}

// Profit shows the report on a member's own pieces.
func (v Viewer) Profit(a *service.Actor, q profit.Query, p *profit.Report) ProfitReport {
	out := ProfitReport{
		Member: a.Member, Currency: v.Currency.Code, By: q.By, From: q.From.String(), To: q.To.String(),
		Items: web.Each(p.Items, v.profitItem), Total: v.profitItem(profit.Item{Figures: p.Total}), StockOn: p.StockOn.String(),
		Stock: web.Each(p.Stock, v.stockItem), StockTotal: v.Stock(p.StockTotal), LetGo: web.Each(p.LetGo, v.stockItem),
		LetGoTotal: v.Stock(p.LetGoTotal), Lines: web.Each(p.Lines, v.profitLine),
		QuickSales: make([]QuickSale, len(p.QuickSales)), Sentences: Sentences(p.Sentences), Cautions: Cautions(p.Cautions),
	}
	for i, l := range p.QuickSales {
		out.QuickSales[i] = QuickSale{
			ListingID: l.ID, Ref: l.Ref, ListedOn: l.ListedOn.String(), EndedOn: l.EndedOn.String(),
			FirstAsk: web.Exact(l.Asks[0].Amount, v.Currency), SalePrice: web.Exact(l.SalePrice, v.Currency),
		}
	}
	return out
}

// Columns of a single piece; left out where pieces are summed.
var saleColumns = web.ColumnsOf[ProfitItem](`
	id category finish venue bought_from bought_on sold_on`)

var figureColumns = web.ColumnsOf[ProfitItem](`
	pieces revenue purchase_cost pickup_cost materials_cost other_cost fees fees_estimated cost
	delivery_charged delivery_cost profit margin_percent return_on_cost_percent hours hours_other
	profit_per_hour timed_pieces days_owned profit_per_day_owned dated_pieces purchase_unknown
	at_a_loss verdict`)

// ProfitColumns are those of a grouping.
func ProfitColumns(by string) []web.TableColumn[ProfitItem] {
	columns := []web.TableColumn[ProfitItem]{{Name: "group", Kind: web.TextCell, Value: func(i ProfitItem) string { return i.Group }}}
	if by == byPiece {
		columns = append(columns, saleColumns...)
	}
	return append(columns, figureColumns...)
}

// StockColumns are the columns of unsold pieces.
var StockColumns = web.ColumnsOf[StockItem](`
	id ref category state closed_as closed_on bought_from bought_on days_owned purchase_cost
	pickup_cost materials_cost other_cost fees cost delivery_cost hours hours_other`)

// LineColumns are the columns of the lines behind the figures.
var LineColumns = web.ColumnsOf[ProfitLine](`
	group piece_ref ref on kind amount hours step note piece_id listing_id cost_id`)

// QuickSaleColumns are the columns of quick sales.
var QuickSaleColumns = web.ColumnsOf[QuickSale](`
	ref listed_on ended_on first_ask sale_price listing_id`)

// OptionalCount writes a count; "" where it is unknown.
func OptionalCount(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}

// ProfitQuery is what the report can be asked for.
type ProfitQuery struct {
	By   string       `form:"by" enums:"piece,month,year,category,finish,venue,source" default:"piece"`
	From pricing.Date `form:"from" swaggertype:"string" format:"date"` // of the sale
	To   pricing.Date `form:"to" swaggertype:"string" format:"date"`   // of the sale, included; also the day of the stock
	web.TableQuery
}

// PeriodQuery is the period of a report.
type PeriodQuery struct {
	From pricing.Date `form:"from" swaggertype:"string" format:"date"`
	To   pricing.Date `form:"to" swaggertype:"string" format:"date"` // included
	web.TableQuery
}

const byPiece = "piece"

// TaxCaution is a header of the CSV, whose rows are data alone.
const TaxCaution = "Askwright-Caution"
