package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/profit"
)

// getProfitWorkbook answers with the profit report as a workbook: a sheet for
// each grouping, the lines, the stock, what was let go, quick sales, and one
// that tells what it is.
//
//	@Summary	Profit and loss as a workbook
//	@Tags		ledger
//	@Param		query	query	wire.ProfitPeriod	false	"period"
//	@Produce	application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/profit.xlsx [get]
func (s *Server) getProfitWorkbook(c *gin.Context, a *service.Actor) error {
	var in wire.ProfitPeriod
	if err := web.ReadQuery(c, &in); err != nil {
		return err
	}
	q := profit.Query{From: in.From, To: in.To, WithLines: true}
	if web.NotModified(c, s.ListTag(c, a, "xlsx")) {
		return nil
	}
	groupings := make([]string, len(wire.ProfitSheets))
	for i, sheet := range wire.ProfitSheets {
		groupings[i] = sheet.By
	}
	found, err := s.app.Profit.Reports(c.Request.Context(), a, q, groupings...)
	if err != nil {
		return web.InQuery(err)
	}
	reports := make([]wire.ProfitReport, len(found))
	for i, one := range found {
		q.By = groupings[i]
		reports[i] = wire.ViewerOf(a).Profit(a, q, one)
	}
	book, err := web.NewWorkbook(a.Group.Currency)
	if err != nil {
		return err
	}
	defer book.File.Close() // and its temporary files
	if err := wire.WriteProfitBook(book, reports); err != nil {
		return err
	}
	c.Header(wire.TaxCaution, "no-tax-advice")
	return book.Send(c, "profit.xlsx")
}

// getProfit reports on the pieces of the key's own member, whatever its scope:
// those sold within the period, and the sums of what was unsold at its end, at
// cost. The costs of a piece are those of all its listings, once.
//
//	@Summary	Profit and loss, by piece, period or kind
//	@Tags		ledger
//	@Param		query	query	wire.ProfitQuery	false	"grouping and period"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ProfitReport
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/profit [get]
//	@Router		/v1/reports/profit.csv [get]
func (s *Server) getProfit(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	var in wire.ProfitQuery
	p := web.ParamsOf(c)
	web.BindQuery(p, &in)
	columns := wire.ProfitColumns(in.By)
	options := web.CsvParams(p, form, web.ColumnNames(columns))
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	out, err := s.profitReport(c, a, profit.Query{By: in.By, From: in.From, To: in.To})
	if err != nil {
		return err
	}
	if form == web.FormJSON {
		return web.Answer(c, http.StatusOK, out)
	}
	return web.WriteTable(c, "profit.csv", columns, options, out.Items)
}

// profitReport is the report on the pieces of the key's own member.
func (s *Server) profitReport(c *gin.Context, a *service.Actor, q profit.Query) (wire.ProfitReport, error) {
	report, err := s.app.Profit.Report(c.Request.Context(), a, q)
	if err != nil {
		return wire.ProfitReport{}, web.InQuery(err)
	}
	c.Header(wire.TaxCaution, "no-tax-advice")
	return wire.ViewerOf(a).Profit(a, q, report), nil
}

// listProfitLines tells the amounts that the figures of the profit report are
// the sums of.
//
//	@Summary	The lines behind the profit report
//	@Tags		ledger
//	@Param		query	query	wire.ProfitQuery	false	"grouping and period"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ProfitLinePage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/profit-lines [get]
//	@Router		/v1/reports/profit-lines.csv [get]
func (s *Server) listProfitLines(r web.Request, in wire.ProfitQuery) ([]wire.ProfitLine, error) {
	report, err := s.profitReport(r.Context, r.Actor, profit.Query{By: in.By, From: in.From, To: in.To, WithLines: true})
	return report.Lines, err
}

// listStock tells which pieces were not sold by the end of a period, at what
// they cost by then.
//
//	@Summary	What is paid for and unsold
//	@Tags		ledger
//	@Param		query	query	wire.PeriodQuery	false	"its last day counts"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.StockReport
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/stock [get]
//	@Router		/v1/reports/stock.csv [get]
func (s *Server) listStock(r web.Request, in wire.PeriodQuery) (wire.StockReport, error) {
	report, err := s.profitReport(r.Context, r.Actor, profit.Query{From: in.From, To: in.To})
	return wire.StockReport{Items: report.Stock, Total: report.StockTotal, StockOn: report.StockOn}, err
}

// listLetGo tells which pieces left without a sale within a period, at all that
// they cost.
//
//	@Summary	What left without a sale
//	@Tags		ledger
//	@Param		query	query	wire.PeriodQuery	false	"when it left"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.StockReport
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/let-go [get]
//	@Router		/v1/reports/let-go.csv [get]
func (s *Server) listLetGo(r web.Request, in wire.PeriodQuery) (wire.StockReport, error) {
	report, err := s.profitReport(r.Context, r.Actor, profit.Query{From: in.From, To: in.To})
	return wire.StockReport{Items: report.LetGo, Total: report.LetGoTotal, StockOn: report.StockOn}, err
}

// listQuickSales tells which listings were gone by the day after listing, at the
// full first ask.
//
//	@Summary	What sold at once at the full ask
//	@Tags		ledger
//	@Param		query	query	wire.PeriodQuery	false	"of the sale"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.QuickSalePage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/quick-sales [get]
//	@Router		/v1/reports/quick-sales.csv [get]
func (s *Server) listQuickSales(r web.Request, in wire.PeriodQuery) ([]wire.QuickSale, error) {
	report, err := s.profitReport(r.Context, r.Actor, profit.Query{From: in.From, To: in.To})
	return report.QuickSales, err
}
