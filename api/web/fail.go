package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/renamed"
)

// Fail answers with the problem that err is. When the answer has begun already
// the connection is cut, so that nobody takes half an answer for a whole one.
func (s *Kit) Fail(c *gin.Context, err error) {
	p := ProblemOf(err)
	note := NoteOf(c)
	note.Cause = err
	if errors.Is(err, context.Canceled) && c.Request.Context().Err() != nil {
		note.cancelled = true // the client is gone: nobody reads an answer
		c.Abort()
		return
	}
	if c.Writer.Written() {
		s.logger.ErrorContext(c.Request.Context(), "an answer broke off", "request_id", note.ID, "error", Scrub(err.Error()))
		panic(http.ErrAbortHandler)
	}
	s.answerProblem(c, p)
}

// RetryAfterSeconds is when to try again what is unavailable.
const RetryAfterSeconds = "2"

func (s *Kit) answerProblem(c *gin.Context, p Problem) {
	p.Instance = NoteOf(c).ID
	p.Detail = Scrub(p.Detail)
	for i := range p.Errors {
		e := &p.Errors[i]
		for _, text := range []*string{&e.Pointer, &e.Parameter, &e.Ref, &e.Column, &e.Detail, &e.Nearest} {
			*text = Scrub(*text)
		}
	}
	h := c.Writer.Header()
	for _, name := range []string{"Etag", "Content-Disposition", "Link", "Location"} {
		h.Del(name)
	}
	switch {
	case p.Status == http.StatusUnauthorized:
		h.Set("WWW-Authenticate", `Bearer realm="askwright"`)
	case p.Status == http.StatusServiceUnavailable, p.Type == inProgress.URI():
		h.Set("Retry-After", RetryAfterSeconds)
	}
	if p.Now != "" {
		address, _, _ := strings.Cut(p.Now, "?")
		h.Set("Link", "<"+address+`>; rel="successor-version"`) // RFC 5829
	}
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", ProblemMediaType)
	body, err := json.Marshal(p)
	if err != nil {
		s.logger.Error("a problem could not be written", "error", err)
		c.AbortWithStatus(http.StatusInternalServerError)
		return
	}
	c.Abort()
	c.Status(p.Status)
	if _, err := c.Writer.Write(body); err != nil {
		s.logger.Debug("the client did not take the answer", "error", err)
	}
}

// NoRoute answers where nothing is.
func (s *Kit) NoRoute(c *gin.Context) {
	s.Fail(c, Refuse(NotFound, "there is nothing at this address"))
}

// Moved answers at an address that gave way to another one. No key is needed to
// learn of that.
func (s *Kit) Moved(r renamed.Route) gin.HandlerFunc {
	return func(c *gin.Context) {
		now := r.At(c.Param)
		detail := r.Method + " " + now
		if r.Why != "" {
			detail += ": " + r.Why
		}
		err := Refuse(Renamed, "this is now %s", detail)
		err.Now = now
		s.Fail(c, err)
	}
}

// NoMethod answers a method that a route does not have.
func (s *Kit) NoMethod(c *gin.Context) {
	s.Fail(c, Refuse(methodNotAllowed, "%s is not allowed here; allowed: %s", Clip(c.Request.Method, 20), c.Writer.Header().Get("Allow")))
}

// recovered turns a panic into a 500 and a log line with the stack.
func (s *Kit) recovered(c *gin.Context, what any, stack []byte) {
	s.logger.LogAttrs(c.Request.Context(), slog.LevelError, "panic", slog.String("request_id", NoteOf(c).ID),
		slog.String("panic", Scrub(fmt.Sprint(what))), slog.String("stack", string(stack)))
	if c.Writer.Written() {
		panic(http.ErrAbortHandler)
	}
	s.answerProblem(c, newProblem(Internal, ""))
}
