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
// those sold within the period, and what was unsold at its end, at cost. The
// costs of a piece are those of all its listings, once.
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
	p := web.ParamsOf(c)
	q, rows, columns := wire.ReadProfitQuery(p, form)
	options := web.CsvParams(p, form, columns)
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	report, err := s.app.Profit.Report(c.Request.Context(), a, q)
	if err != nil {
		return web.InQuery(err)
	}
	out := wire.ViewerOf(a).Profit(a, q, report)
	if form == web.FormJSON {
		return web.Answer(c, http.StatusOK, out)
	}
	c.Header(wire.TaxCaution, "no-tax-advice")
	switch rows {
	case wire.RowsLines:
		return web.WriteTable(c, "profit-lines.csv", wire.LineColumns, options, out.Lines)
	case wire.RowsStock:
		return web.WriteTable(c, "stock.csv", wire.StockColumns, options, out.Stock)
	case wire.RowsLetGo:
		return web.WriteTable(c, "let-go.csv", wire.StockColumns, options, out.LetGo)
	}
	return web.WriteTable(c, "profit.csv", wire.ProfitColumns(q.By), options, out.Items)
}
