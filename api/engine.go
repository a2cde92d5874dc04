package api

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/pprof"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"askwright/api/board"
	"askwright/api/renamed"
	"askwright/api/web"
	"askwright/service"
	"askwright/service/app"
)

// OpsHandler answers what only the operator should reach: metrics, profiles
// and health.
func (s *Server) OpsHandler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{
		ErrorLog: promLogger{s}, ErrorHandling: promhttp.ContinueOnError,
	}))
	mux.HandleFunc("GET /debug/pprof/", pprof.Index)
	mux.HandleFunc("GET /debug/pprof/cmdline", pprof.Cmdline)
	mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
	mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	mux.Handle("GET /healthz", s.handler)
	mux.Handle("GET /readyz", s.handler)
	return s.guardOps(mux)
}

// Options are what a Server is made of.
type Options struct {
	App            *app.App
	Logger         *slog.Logger
	Registry       *prometheus.Registry        // takes the metrics of HTTP and is served at /metrics
	Ready          func(context.Context) error // what /readyz asks; nil: always ready
	Build          string                      // goes into the entity tags of lists, and to /
	Limits         web.Limits
	Security       string           // whom to tell of a vulnerability, an address as in security.txt; empty: there is none
	Hosts          []string         // names that this server answers to; none: any
	TrustedProxies []string         // addresses or CIDR ranges that may tell a client's address; none by default
	Now            func() time.Time // for the rate limits; nil: time.Now
}

// Handler answers the routes of the API, packed where the client takes that.
func (s *Server) Handler() http.Handler {
	packed, err := web.Compressed(s.handler)
	if err != nil {
		s.logger.Error("answers are not compressed", "error", err)
		return s.handler
	}
	return packed
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
	e.Use(web.Identify, s.Observe, s.RecoverPanics, web.Headers, s.checkHost)
	e.NoRoute(s.NoRoute)
	e.NoMethod(s.NoMethod)
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
	for _, r := range renamed.Routes {
		e.Handle(r.Method, r.Was, s.Moved(r))
		allowed[r.Was] = append(allowed[r.Was], r.Method)
		if r.Method == http.MethodGet {
			e.HEAD(r.Was, s.Moved(r))
			allowed[r.Was] = append(allowed[r.Was], http.MethodHead)
		}
	}
	for was, now := range boardMoved {
		e.GET(was, func(c *gin.Context) { c.Redirect(http.StatusMovedPermanently, moved(c.Request.URL, now)) })
	}
	for path, methods := range allowed {
		methods = append(methods, http.MethodOptions)
		slices.Sort(methods)
		e.OPTIONS(path, web.Options(strings.Join(methods, ", ")))
	}
	return e
}

// boardMoved are pages of the board that moved: bookmarks go on.
var boardMoved = map[string]string{"/board/try": "/board/what-if", "/board/kerb": "/board/finds"}

// moved is an address with another path.
func moved(from *url.URL, path string) string {
	to := url.URL{Path: path, RawQuery: from.RawQuery}
	return to.String()
}

// chain is what a request to the route passes through.
func (s *Server) chain(r route) []gin.HandlerFunc {
	timeout, body := s.limits.Timeout, s.limits.BodyBytes
	if r.bulk {
		timeout, body = s.limits.LongTimeout, s.limits.ImportBytes
	}
	if r.method == http.MethodPost && r.scope != read && r.scope != web.NoKey {
		r.handle = s.Once(r.handle)
	}
	if weight, ok := weights[r.method+" "+r.path]; ok {
		r.handle = s.weighed(weight, r.handle)
	}
	chain := []gin.HandlerFunc{web.Deadline(timeout)}
	if r.scope != web.NoKey {
		chain = append(chain, s.Authenticate(r.scope))
	}
	return append(chain, func(c *gin.Context) {
		err := web.LimitBody(c, body)
		if err == nil {
			actor, _ := c.Value(web.ActorKey).(*service.Actor)
			err = r.handle(c, actor)
		}
		if err != nil {
			s.Fail(c, err)
		}
	})
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

// New returns a Server.
func New(o Options) *Server {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Ready == nil {
		o.Ready = func(context.Context) error { return nil }
	}
	limits := o.Limits.WithDefaults()
	kit := web.NewKit(web.KitOptions{
		Members:  o.App.Members,
		Repeats:  o.App.Recording,
		Logger:   o.Logger,
		Registry: o.Registry,
		Limits:   limits,
		Now:      o.Now,
		Build:    o.Build,
	})
	s := &Server{
		Kit:       kit,
		app:       o.App,
		logger:    o.Logger,
		now:       o.Now,
		board:     board.New(kit, o.App, o.Build),
		registry:  o.Registry,
		ready:     o.Ready,
		build:     o.Build,
		security:  o.Security,
		hosts:     hosts(o.Hosts),
		limits:    limits,
		workbooks: web.NewShares(1, 2, limits.Timeout),
	}
	s.handler = web.Paced(s.engine(o.TrustedProxies), limits)
	return s
}
