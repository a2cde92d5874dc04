package api

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/semaphore"

	"askwright/service"
	"askwright/service/app"
)

// Options are what a Server is made of.
type Options struct {
	Service        *app.App
	Logger         *slog.Logger
	Registry       *prometheus.Registry        // takes the metrics of HTTP and is served at /metrics
	Ready          func(context.Context) error // what /readyz asks; nil: always ready
	Build          string                      // goes into the entity tags of lists, and to /
	OpenAPI        []byte                      // served at /openapi.json
	Limits         Limits
	Security       string           // whom to tell of a vulnerability, an address as in security.txt; empty: there is none
	TrustedProxies []string         // addresses or CIDR ranges that may tell a client's address; none by default
	Now            func() time.Time // for the rate limits; nil: time.Now
}

// Server answers HTTP requests.
type Server struct {
	service  *app.App
	logger   *slog.Logger
	registry *prometheus.Registry
	ready    func(context.Context) error
	build    string
	openAPI  []byte
	security string
	limits   Limits
	now      func() time.Time

	metrics   *metrics
	requests  *limiters           // by key
	failures  *limiters           // of authentication, by address
	workbooks *semaphore.Weighted // being read
	handler   http.Handler
}

// New returns a Server.
func New(o Options) *Server {
	s := &Server{
		service: o.Service, logger: o.Logger, registry: o.Registry, ready: o.Ready, build: o.Build, openAPI: o.OpenAPI, security: o.Security,
		limits: o.Limits.withDefaults(), now: o.Now, workbooks: semaphore.NewWeighted(1),
	}
	if s.now == nil {
		s.now = time.Now
	}
	if s.ready == nil {
		s.ready = func(context.Context) error { return nil }
	}
	s.metrics = newMetrics(s.registry)
	s.requests = newLimiters(s.limits.RequestsPerMinute, s.now)
	s.failures = newLimiters(s.limits.FailuresPerMinute, s.now)
	s.handler = s.engine(o.TrustedProxies)
	return s
}

// Handler answers the routes of the API.
func (s *Server) Handler() http.Handler { return s.handler }

// handler answers a request for an actor; nil where no key is needed. What it
// returns becomes a problem document.
type handler func(c *gin.Context, a *service.Actor) error

// route is one row of the table. An empty scope needs no key; bulk routes may
// send and take longer.
type route struct {
	method, path, scope string
	bulk                bool
	handle              handler
}

const (
	noKey = ""
	feed  = service.ScopeFeed
	read  = service.ScopeRead
	write = service.ScopeWrite
	admin = service.ScopeAdmin
)

// routes is every route there is. HEAD goes with each GET, OPTIONS with all.
func (s *Server) routes() []route {
	return []route{
		{"GET", "/v1/listings", read, true, s.listListings},
		{"GET", "/v1/listings.csv", feed, true, s.listListings},
		{"GET", "/v1/listings.xlsx", read, true, s.exportWorkbook},
		{"POST", "/v1/listings", write, false, s.createListing},
		{"POST", "/v1/listings/import", write, true, s.importListings},
		{"GET", "/v1/listings/:id", read, false, s.getListing},
		{"PATCH", "/v1/listings/:id", write, false, s.patchListing},
		{"DELETE", "/v1/listings/:id", write, false, s.deleteListing},
		{"GET", "/v1/listings/:id/events", read, false, s.listEvents},
		{"POST", "/v1/listings/:id/events", write, false, s.createEvent},
		{"GET", "/v1/listings/:id/offers", read, false, s.listOffers},
		{"POST", "/v1/listings/:id/offers", write, false, s.createOffer},
		{"GET", "/v1/listings/:id/suggestion", read, false, s.getSuggestion},
		{"GET", "/v1/listings/:id/text", read, false, s.getListingText},
		{"GET", "/v1/listings/:id/curve.svg", feed, false, s.getCurve},
		{"GET", "/v1/listings/:id/curve.png", feed, false, s.getCurve},
		{"GET", "/v1/pieces", read, false, s.listPieces},
		{"GET", "/v1/pieces.csv", feed, false, s.listPieces},
		{"POST", "/v1/pieces", write, false, s.createPiece},
		{"GET", "/v1/pieces/:id", read, false, s.getPiece},
		{"PATCH", "/v1/pieces/:id", write, false, s.patchPiece},
		{"GET", "/v1/pieces/:id/story.csv", feed, false, s.getStory},
		{"POST", "/v1/pieces/:id/refinish", write, false, s.refinishPiece},
		{"GET", "/v1/pieces/:id/costs", read, false, listEndpoint(s, "costs.csv", costColumns, s.listCosts)},
		{"GET", "/v1/pieces/:id/costs.csv", read, false, listEndpoint(s, "costs.csv", costColumns, s.listCosts)},
		{"POST", "/v1/pieces/:id/costs", write, false, s.createCost},
		{"GET", "/v1/comparables", read, false, listEndpoint(s, "comparables.csv", comparableColumns, s.listComparables)},
		{"GET", "/v1/comparables.csv", feed, false, listEndpoint(s, "comparables.csv", comparableColumns, s.listComparables)},
		{"GET", "/v1/suggestions", read, true, listEndpoint(s, "suggestions.csv", suggestionColumns, s.listSuggestions)},
		{"GET", "/v1/suggestions.csv", feed, true, listEndpoint(s, "suggestions.csv", suggestionColumns, s.listSuggestions)},
		{"POST", "/v1/suggestions", read, false, s.createSuggestions},
		{"POST", "/v1/purchase-limits", read, false, s.createPurchaseLimits},
		{"POST", "/v1/delivery-quotes", read, false, s.createDeliveryQuote},
		{"POST", "/v1/refinish-estimates", read, true, s.createRefinishEstimates},
		{"GET", "/v1/stale", read, false, listEndpoint(s, "stale.csv", reviewColumns, s.listStale)},
		{"GET", "/v1/stale.csv", feed, false, listEndpoint(s, "stale.csv", reviewColumns, s.listStale)},
		{"GET", "/v1/stale.atom", feed, false, s.staleFeed},
		{"GET", "/v1/digest", read, true, s.getDigest},
		{"GET", "/v1/digest.txt", read, true, s.getDigest},
		{"GET", "/v1/digest.html", read, true, s.getDigest},
		{"GET", "/v1/reports/listing-age", read, false, listEndpoint(s, "listing-age.csv", ageColumns, s.listingAge)},
		{"GET", "/v1/reports/listing-age.csv", feed, false, listEndpoint(s, "listing-age.csv", ageColumns, s.listingAge)},
		{"GET", "/v1/listing-age.csv", feed, false, listEndpoint(s, "listing-age.csv", ageColumns, s.listingAge)}, // short, for formulas
		{"GET", "/v1/reports/listing-age.svg", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/listing-age.png", feed, false, s.getAgePicture},
		{"GET", "/v1/reports/profit", read, true, s.getProfit},
		{"GET", "/v1/reports/profit.csv", read, true, s.getProfit},
		{"GET", "/v1/reports/profit.xlsx", read, true, s.getProfitWorkbook},
		{"GET", "/v1/work-queue", read, false, s.getWorkQueue},
		{"GET", "/v1/work-queue.csv", read, false, s.getWorkQueue},
		{"GET", "/v1/model", read, false, s.getModel},
		{"GET", "/v1/model/record", read, true, s.getTrackRecord},
		{"GET", "/v1/group", read, false, s.getGroup},
		{"PATCH", "/v1/group", admin, false, s.patchGroup},
		{"GET", "/v1/members", read, false, s.listMembers},
		{"POST", "/v1/members", admin, false, s.createMember},
		{"DELETE", "/v1/members/:id", admin, false, s.deleteMember},
		{"GET", "/v1/keys", read, false, s.listKeys},
		{"POST", "/v1/keys", write, false, s.createKey},
		{"DELETE", "/v1/keys/:id", write, false, s.deleteKey},
		{"GET", "/v1/webhooks", admin, false, s.listWebhooks},
		{"GET", "/v1/webhooks.csv", admin, false, s.listWebhooks},
		{"POST", "/v1/webhooks", admin, false, s.createWebhook},
		{"DELETE", "/v1/webhooks/:id", admin, false, s.deleteWebhook},
		{"POST", "/v1/webhooks/:id/test", admin, false, s.testWebhook},
		{"GET", "/v1/webhooks/:id/deliveries", admin, false, s.listWebhookDeliveries},
		{"GET", "/v1/webhooks/:id/deliveries.csv", admin, false, s.listWebhookDeliveries},
		{"POST", "/v1/webhooks/:id/deliveries/:delivery/resend", admin, false, s.resendWebhookDelivery},
		{"GET", "/v1/reports/days-to-sell", read, false, listEndpoint(s, "days-to-sell.csv", daysToSellColumns, s.listDaysToSell)},
		{"GET", "/v1/reports/days-to-sell.csv", feed, false, listEndpoint(s, "days-to-sell.csv", daysToSellColumns, s.listDaysToSell)},
		{"GET", "/", noKey, false, s.getRoot},
		{"GET", "/board", noKey, false, s.page(feed, s.getBoard)},
		{"GET", "/board/style.css", noKey, false, s.getBoardStyle},
		{"GET", "/board/listings/:id", noKey, false, s.page(read, s.getBoardListing)},
		{"GET", "/board/listings/:id/confirm", noKey, false, s.page(write, s.getBoardConfirm)},
		{"POST", "/board/listings/:id/events", noKey, false, s.page(write, s.postBoardEvent)},
		{"GET", "/board/try", noKey, false, s.page(read, s.getBoardTry)},
		{"GET", "/board/kerb", noKey, false, s.page(read, s.getBoardKerb)},
		{"POST", "/board/finds", noKey, false, s.page(write, s.postBoardFind)},
		{"GET", "/board/icon.svg", noKey, false, s.getBoardIcon},
		{"GET", "/board/sign-in", noKey, false, s.page(noKey, s.getSignIn)},
		{"POST", "/board/sign-in", noKey, false, s.page(noKey, s.postSignIn)},
		{"POST", "/board/sign-out", noKey, false, s.page(read, s.postSignOut)},
		{"GET", "/healthz", noKey, false, s.getHealth},
		{"GET", "/readyz", noKey, false, s.getReadiness},
		{"GET", "/openapi.json", noKey, false, s.getOpenAPI},
		{"GET", "/docs/*file", noKey, false, s.getDocs()},
		{"GET", "/.well-known/security.txt", noKey, false, s.getSecurity},
		{"GET", "/problems", noKey, false, s.listProblems},
		{"GET", "/problems/:name", noKey, false, s.getProblem},
	}
}

// engine registers the routes behind the middleware, outermost first.
func (s *Server) engine(proxies []string) *gin.Engine {
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = false
	e.ForwardedByClientIP = len(proxies) > 0
	if err := e.SetTrustedProxies(proxies); err != nil {
		e.ForwardedByClientIP = false
		s.logger.Error("no proxy is trusted: one of the addresses cannot be read", "error", err)
	}
	e.Use(identify, s.observe, s.recoverPanics, headers)
	e.NoRoute(s.noRoute)
	e.NoMethod(s.noMethod)
	allowed := make(map[string][]string)
	for _, r := range s.routes() {
		chain := s.chain(r)
		e.Handle(r.method, r.path, chain...)
		allowed[r.path] = append(allowed[r.path], r.method)
		if r.method == http.MethodGet {
			e.HEAD(r.path, chain...)
			allowed[r.path] = append(allowed[r.path], http.MethodHead)
		}
	}
	for path, methods := range allowed {
		methods = append(methods, http.MethodOptions)
		slices.Sort(methods)
		e.OPTIONS(path, options(strings.Join(methods, ", ")))
	}
	return e
}

// chain is what a request to the route passes through.
func (s *Server) chain(r route) []gin.HandlerFunc {
	timeout, body := s.limits.Timeout, s.limits.BodyBytes
	if r.bulk {
		timeout, body = s.limits.LongTimeout, s.limits.ImportBytes
	}
	if r.method == http.MethodPost && r.scope != read && r.scope != noKey {
		r.handle = s.once(r.handle)
	}
	chain := []gin.HandlerFunc{deadline(timeout)}
	if r.scope != noKey {
		chain = append(chain, s.authenticate(r.scope))
	}
	return append(chain, func(c *gin.Context) {
		err := limitBody(c, body)
		if err == nil {
			actor, _ := c.Value(actorKey).(*service.Actor)
			err = r.handle(c, actor)
		}
		if err != nil {
			s.fail(c, err)
		}
	})
}

// answer writes a value as JSON. It is written into memory first, so that a
// failure can still become a problem.
func answer(c *gin.Context, status int, v any) error {
	if err := wantJSON(c); err != nil && c.Request.Method == http.MethodGet {
		return err
	}
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	c.Header("Content-Type", "application/json; charset=utf-8")
	c.Status(status)
	_, err = c.Writer.Write(body)
	return err
}

// answerTagged is answer for a resource whose tag is the hash of its body.
func answerTagged(c *gin.Context, v any) error {
	if notModified(c, hashTag(v)) {
		return nil
	}
	return answer(c, http.StatusOK, v)
}

func noContent(c *gin.Context) error {
	c.Status(http.StatusNoContent)
	c.Writer.WriteHeaderNow()
	return nil
}

// NewHTTPServer returns a server that a slow or idle client cannot hold up
// for long.
func NewHTTPServer(h http.Handler, logger *slog.Logger) *http.Server {
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       2 * time.Minute, // 32 MB on a slow line
		WriteTimeout:      5 * time.Minute, // a little more than Limits.LongTimeout
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          slog.NewLogLogger(logger.Handler(), slog.LevelWarn),
	}
}
