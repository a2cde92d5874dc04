package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/service"
)

// weights are what a request of a route weighs where that is more than 1: the
// processor time that it takes for 5,000 listings, in fifths of a second. An
// answer that the client has already weighs 1.
var weights = map[string]int{
	"GET /v1/listings.xlsx":            20,
	"GET /v1/next-steps":               3,
	"GET /v1/next-steps.csv":           3,
	"GET /v1/next-steps.ics":           3,
	"GET /v1/reviews":                  3,
	"GET /v1/reviews.csv":              3,
	"GET /v1/reviews.atom":             3,
	"GET /v1/digest":                   25,
	"GET /v1/digest.txt":               25,
	"GET /v1/digest.html":              25,
	"GET /v1/reports/profit":           8,
	"GET /v1/reports/profit.csv":       8,
	"GET /v1/reports/profit.xlsx":      25,
	"GET /v1/reports/profit-lines":     8,
	"GET /v1/reports/profit-lines.csv": 8,
	"GET /v1/reports/stock":            8,
	"GET /v1/reports/stock.csv":        8,
	"GET /v1/reports/let-go":           8,
	"GET /v1/reports/let-go.csv":       8,
	"GET /v1/reports/quick-sales":      8,
	"GET /v1/reports/quick-sales.csv":  8,
	"GET /v1/work-queue":               5,
	"GET /v1/work-queue.csv":           5,
	"GET /v1/track-record":             2,
	// These weigh by their subjects.
	"GET /v1/suggestions":         1,
	"GET /v1/suggestions.csv":     1,
	"POST /v1/suggestions":        1,
	"POST /v1/purchase-limits":    1,
	"POST /v1/refinish-estimates": 1,
}

// ofDayBefore is what an answer as of another day weighs: nothing of it is kept.
const ofDayBefore = 4

// A group larger than the 5,000 listings gets larger answers, which took longer:
// one more for each bytesPerUnit beyond usualBytes. Measured with 50,000: 3.0 MB of
// reviews take 6 s of processors, 10.9 MB of the profit workbook 17 s.
const (
	usualBytes   = 500_000
	bytesPerUnit = 100_000
)

// weighed lets a handler that takes long wait for its turn, and books what it
// weighs.
func (s *Server) weighed(weight int, h web.Handler) web.Handler {
	return func(c *gin.Context, a *service.Actor) error {
		if c.Request.Method == http.MethodHead { // as dear as GET, and nothing is booked on it before
			if err := s.Limit(c, a, 1); err != nil {
				return err
			}
		}
		end, err := s.Turn(c, a)
		if err != nil {
			return err
		}
		defer end()
		err = h(c, a)
		if c.Writer.Status() == http.StatusNotModified {
			return err
		}
		owed := weight - 1
		if c.Request.URL.Query().Has("as_of") {
			owed += ofDayBefore
		}
		s.Owe(a, owed+max(0, c.Writer.Size()-usualBytes)/bytesPerUnit)
		return err
	}
}
