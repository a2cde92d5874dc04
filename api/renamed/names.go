package renamed

// Names are the names that changed.
var Names = []Name{
	{Parameter, "/v1/reports/profit", "lines", "/v1/reports/profit-lines"},
	{Parameter, "/v1/reports/profit", "rows", "/v1/reports/profit-lines, /v1/reports/stock or /v1/reports/let-go"},
	{Answer, "POST /v1/suggestions", "suggestions", "items"},
	{Answer, "POST /v1/purchase-limits", "limits", "items"},
	{Answer, "POST /v1/refinish-estimates", "estimates", "items"},
	{Answer, "/v1/reports/profit", "lines, stock, let_go, quick_sales", "lists of their own under /v1/reports"},
	{Answer, "/v1/pieces/{id}", "story", "/v1/pieces/{id}/story"},
}
