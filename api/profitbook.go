package api

import (
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

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
type profitSheet struct{ by, name string }

var profitSheets = []profitSheet{
	{byPiece, "Pieces"}, {"month", "Months"}, {"year", "Years"}, {"category", "Categories"},
	{"finish", "Finishes"}, {"venue", "Venues"}, {"source", "Sources"},
}

// getProfitWorkbook answers with the profit report as a workbook: a sheet for
// each grouping, the lines, the stock, what was let go, quick sales, and one
// that tells what it is.
//
//	@Summary	Profit and loss as a workbook
//	@Tags		ledger
//	@Param		query	query	ProfitPeriod	false	"period"
//	@Produce	application/vnd.openxmlformats-officedocument.spreadsheetml.sheet,application/problem+json
//	@Success	200		{file}		file
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/reports/profit.xlsx [get]
func (s *Server) getProfitWorkbook(c *gin.Context, a *service.Actor) error {
	var in ProfitPeriod
	if err := readQuery(c, &in); err != nil {
		return err
	}
	q := profit.Query{From: in.From, To: in.To, WithLines: true}
	if notModified(c, s.listTag(c, a, "xlsx")) {
		return nil
	}
	groupings := make([]string, len(profitSheets))
	for i, sheet := range profitSheets {
		groupings[i] = sheet.by
	}
	found, err := s.service.Profit.Reports(c.Request.Context(), a, q, groupings...)
	if err != nil {
		return inQuery(err)
	}
	reports := make([]ProfitReport, len(found))
	for i, one := range found {
		q.By = groupings[i]
		reports[i] = viewerOf(a).profit(a, q, one)
	}
	book, err := newWorkbook(a.Group.Currency)
	if err != nil {
		return err
	}
	defer book.file.Close() // and its temporary files
	if err := book.profit(reports); err != nil {
		return err
	}
	c.Header(taxCaution, "no-tax-advice")
	return book.send(c, "profit.xlsx")
}

// profit writes the sheets of the report, which comes by each of profitSheets.
func (b *workbook) profit(reports []ProfitReport) error {
	report := reports[0]
	if err := addSheet(b, "About", aboutProfitColumns, aboutProfit(reports)); err != nil {
		return err
	}
	if err := addSheet(b, "Total", figureColumns, []ProfitItem{report.Total}); err != nil {
		return err
	}
	for i, sheet := range profitSheets {
		if err := addSheet(b, sheet.name, profitColumns(sheet.by), reports[i].Items); err != nil {
			return err
		}
	}
	if err := addSheet(b, "Lines", lineColumns, report.Lines); err != nil {
		return err
	}
	idLast := append(slices.Clone(stockColumns[1:]), stockColumns[0])
	if err := addSheet(b, "Stock", idLast, report.Stock); err != nil {
		return err
	}
	if err := addSheet(b, "Let go", idLast, report.LetGo); err != nil {
		return err
	}
	return addSheet(b, "Quick sales", quickSaleColumns, report.QuickSales)
}

// aboutProfitColumns tell what the report is about, a line each.
var aboutProfitColumns = []tableColumn[[2]string]{
	{name: "about", kind: textCell, value: func(line [2]string) string { return line[0] }},
	{name: "text", kind: plainCell, value: func(line [2]string) string { return line[1] }},
}

func aboutProfit(reports []ProfitReport) [][2]string {
	report := reports[0]
	lines := [][2]string{
		{"member", report.Member}, {"currency", report.Currency}, {"from", report.From}, {"to", report.To}, {"stock_on", report.StockOn},
	}
	var told []string
	for _, r := range reports {
		for _, sentence := range r.Sentences {
			if !slices.Contains(told, sentence) { // a grouping adds only its verdicts
				told = append(told, sentence)
				lines = append(lines, [2]string{"sentence", sentence})
			}
		}
	}
	for _, caution := range report.Cautions {
		lines = append(lines, [2]string{strings.ReplaceAll(caution.Code, "_", " "), caution.Text})
	}
	return lines
}
