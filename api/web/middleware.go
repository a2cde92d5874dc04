package web

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"regexp"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"
)

const noteKey = "askwright.note"

// Note is what the one log line of a request tells, gathered along the way.
type Note struct {
	ID         string
	trace      string
	Group, Key string // ids, never the key's text
	Cause      error
	cancelled  bool
}

// NoteOf is the request's note, made when it is first asked for.
func NoteOf(c *gin.Context) *Note {
	if n, ok := c.Value(noteKey).(*Note); ok {
		return n
	}
	n := &Note{ID: uuid.Must(uuid.NewV7()).String()}
	c.Set(noteKey, n)
	return n
}

var (
	requestID   = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)
	traceParent = regexp.MustCompile(`^[0-9a-f]{2}-([0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}$`) // W3C Trace Context
)

// Identify gives the request an id: the client's, where it is usable.
func Identify(c *gin.Context) {
	// A semicolon stands for itself (WHATWG, URL); Go would refuse the query.
	c.Request.URL.RawQuery = strings.ReplaceAll(c.Request.URL.RawQuery, ";", "%3B")
	n := NoteOf(c)
	if sent := c.GetHeader("X-Request-Id"); requestID.MatchString(sent) && Scrub(sent) == sent {
		n.ID = sent
	}
	if parent := c.GetHeader("traceparent"); traceParent.MatchString(parent) {
		n.trace = traceParent.FindStringSubmatch(parent)[1]
		c.Header("traceparent", parent)
	}
	c.Header("X-Request-Id", n.ID)
}

// metrics are those of HTTP, by route template and never by address.
type metrics struct {
	requests *prometheus.CounterVec
	duration *prometheus.HistogramVec
	inFlight prometheus.Gauge
}

func newMetrics(registry prometheus.Registerer) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "askwright_http_requests_total", Help: "Requests answered, by method, route and status.",
		}, []string{"method", "route", "status"}),
		duration: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "askwright_http_request_duration_seconds", Help: "Time to answer, by method and route.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30, 60},
		}, []string{"method", "route"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "askwright_http_requests_in_flight", Help: "Requests being answered.",
		}),
	}
	registry.MustRegister(m.requests, m.duration, m.inFlight)
	return m
}

// Observe writes one log line and counts, for each request.
func (s *Kit) Observe(c *gin.Context) {
	start := time.Now() // how long it took, not what day it is
	s.metrics.inFlight.Inc()
	defer func() {
		s.metrics.inFlight.Dec()
		took := time.Since(start)
		route, method := c.FullPath(), c.Request.Method
		if route == "" {
			route = "unmatched"
		}
		if !isKnownMethod(method) {
			method = "other"
		}
		status := strconv.Itoa(c.Writer.Status())
		s.metrics.requests.WithLabelValues(method, route, status).Inc()
		s.metrics.duration.WithLabelValues(method, route).Observe(took.Seconds())
		s.logRequest(c, method, route, took)
	}()
	c.Next()
}

func isKnownMethod(method string) bool {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return true
	}
	return false
}

func (s *Kit) logRequest(c *gin.Context, method, route string, took time.Duration) {
	n, status := NoteOf(c), c.Writer.Status()
	level := slog.LevelInfo
	if status >= http.StatusInternalServerError {
		level = slog.LevelError
	}
	attrs := []slog.Attr{
		slog.String("request_id", n.ID), slog.String("method", method), slog.String("route", route),
		slog.Int("status", status), slog.Duration("duration", took), slog.Int("bytes", max(0, c.Writer.Size())),
	}
	for _, a := range []slog.Attr{slog.String("trace_id", n.trace), slog.String("group", n.Group), slog.String("key", n.Key)} {
		if a.Value.String() != "" {
			attrs = append(attrs, a)
		}
	}
	if n.Cause != nil {
		attrs = append(attrs, slog.String("error", Scrub(n.Cause.Error())))
	}
	if n.cancelled {
		attrs = append(attrs, slog.Bool("cancelled", true))
	}
	s.logger.LogAttrs(context.WithoutCancel(c.Request.Context()), level, "request", attrs...)
}

// RecoverPanics answers 500 for a panic.
func (s *Kit) RecoverPanics(c *gin.Context) {
	defer func() {
		what := recover()
		if what == nil {
			return
		}
		if err, ok := what.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(what) // the connection is to be cut
		}
		s.recovered(c, what, debug.Stack())
	}()
	c.Next()
}

// Headers are on every answer.
func Headers(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	if path := c.Request.URL.Path; path != "/v1" && !strings.HasPrefix(path, "/v1/") {
		return
	}
	h.Set("Cache-Control", "private, no-cache")
	h.Set("Vary", "Authorization, Accept, Accept-Encoding")
	h.Set("Access-Control-Allow-Origin", "*")
	h.Set("Access-Control-Expose-Headers", "ETag, Link, Location, Retry-After, RateLimit, RateLimit-Policy, X-Request-Id")
}

// Options answers OPTIONS, also a browser's question before a request (Fetch
// standard).
func Options(allow string) gin.HandlerFunc {
	return func(c *gin.Context) {
		c.Header("Allow", allow)
		if c.GetHeader("Access-Control-Request-Method") != "" {
			c.Header("Access-Control-Allow-Methods", allow)
			c.Header("Access-Control-Allow-Headers", "Authorization, Content-Type, Idempotency-Key, If-Match, If-None-Match, X-Request-Id, traceparent")
			c.Header("Access-Control-Max-Age", "86400")
		}
		c.Status(http.StatusNoContent)
		c.Writer.WriteHeaderNow()
	}
}

// Deadline ends the work on a request in time.
func Deadline(d time.Duration) gin.HandlerFunc {
	return func(c *gin.Context) {
		ctx, cancel := context.WithTimeout(c.Request.Context(), d)
		defer cancel()
		c.Request = c.Request.WithContext(ctx)
		c.Next()
	}
}
