package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

const problemMediaType = "application/problem+json"

// Problem is an RFC 9457 problem document.
type Problem struct {
	Type     string         `json:"type" example:"/problems/invalid"`                 // URI reference; what it means stands there
	Title    string         `json:"title" example:"Some values are wrong"`            // fixed for a type
	Status   int            `json:"status" example:"422"`                             // the HTTP status
	Detail   string         `json:"detail,omitempty" example:"ask: \"abc\" is wrong"` // one line about this occurrence
	Instance string         `json:"instance,omitempty"`                               // the request id, also in X-Request-Id
	Errors   []ProblemError `json:"errors,omitempty"`                                 // what is wrong, value by value

	*ImportCounts // of an import of which nothing landed
}

// ProblemError is what is wrong with one value.
type ProblemError struct {
	Pointer   string `json:"pointer,omitempty" example:"/subjects/0/width"` // RFC 6901, into the body
	Parameter string `json:"parameter,omitempty" example:"limit"`           // of the query
	Row       int    `json:"row,omitempty" example:"17"`                    // data rows count from 1
	Ref       string `json:"ref,omitempty" example:"B-17"`
	Column    string `json:"column,omitempty" example:"ask"`
	Cell      string `json:"cell,omitempty" example:"Listings!D17"` // of a workbook
	Reason    string `json:"reason"`
}

// ProblemType is one kind of problem with its documentation.
type ProblemType struct {
	Name   string `json:"name" example:"invalid"` // the end of type in a problem document
	Title  string `json:"title"`
	Status int    `json:"status" example:"422"`
	About  string `json:"about"` // what it means and what to do
}

// The problem types, in the order of their statuses.
var (
	malformed = &ProblemType{"malformed", "The request cannot be understood", http.StatusBadRequest,
		"The address or the body cannot be read: broken JSON or CSV, an unknown or wrong query parameter, a cursor that belongs to another list. Correct the request."}
	keyInAddress = &ProblemType{"key-in-address", "A key must not stand in an address", http.StatusBadRequest,
		"Addresses end up in logs and histories. Revoke the key, make another one, and send it as Authorization: Bearer KEY. Only a feed key may stand in the address of a .csv feed."}
	unauthenticated = &ProblemType{"unauthenticated", "A valid key is needed", http.StatusUnauthorized,
		"Send Authorization: Bearer KEY. The key is missing, mistyped, revoked or expired."}
	forbidden = &ProblemType{"forbidden", "The key does not allow this", http.StatusForbidden,
		"The key is valid but its scope is too small (feed, read, write, admin), or the row belongs to another member."}
	notFound = &ProblemType{"not-found", "There is no such thing", http.StatusNotFound,
		"Nothing is there, or it belongs to another group."}
	methodNotAllowed = &ProblemType{"method-not-allowed", "The method is not allowed here", http.StatusMethodNotAllowed,
		"The header Allow lists the methods that are."}
	notAcceptable = &ProblemType{"not-acceptable", "The answer cannot be given in that form", http.StatusNotAcceptable,
		"Answers are application/json; lists also text/csv. Change the header Accept."}
	conflict = &ProblemType{"conflict", "The present state does not allow it", http.StatusConflict,
		"For instance an offer for a listing that ended, a second open listing of one piece, or a name that is taken."}
	inProgress = &ProblemType{"in-progress", "The same request is still being worked on", http.StatusConflict,
		"Another request with this Idempotency-Key has not been answered yet. Repeat after as many seconds as Retry-After says: the answer will be that one's."}
	changed = &ProblemType{"changed", "It was changed in the meantime", http.StatusPreconditionFailed,
		"The revision in If-Match is not the present one. Fetch it again, look, and repeat."}
	tooLarge = &ProblemType{"too-large", "The request is too large", http.StatusRequestEntityTooLarge,
		"Nothing of it was taken. Send it in parts; importing in parts is safe because rows are known by their ref."}
	unsupportedMedia = &ProblemType{"unsupported-media-type", "The form of the body is not supported", http.StatusUnsupportedMediaType,
		"Send application/json; imports also take text/csv."}
	invalid = &ProblemType{"invalid", "Some values are wrong", http.StatusUnprocessableEntity,
		"The request was understood but values are wrong. errors names each one with its place and the reason."}
	nothingLanded = &ProblemType{"nothing-landed", "None of the rows could be kept", http.StatusUnprocessableEntity,
		"Every row was rejected, or one was and atomic=true was asked for. errors names each row; the counts are those of a successful import."}
	tooMany = &ProblemType{"too-many-requests", "Too many requests", http.StatusTooManyRequests,
		"Wait for as many seconds as Retry-After says. Asking for many subjects in one call is cheaper than one call for each."}
	internal = &ProblemType{"internal", "Something went wrong here", http.StatusInternalServerError,
		"The fault is on this side. The instance names the line in the log that tells more."}
	unavailable = &ProblemType{"unavailable", "Busy, or the database is away", http.StatusServiceUnavailable,
		"Repeat after as many seconds as Retry-After says. Rows can be sent again safely: they are known by their ref."}
)

var problemTypes = []*ProblemType{
	malformed, keyInAddress, unauthenticated, forbidden, notFound, methodNotAllowed, notAcceptable, conflict, inProgress,
	changed, tooLarge, unsupportedMedia, invalid, nothingLanded, tooMany, internal, unavailable,
}

func (t *ProblemType) uri() string { return "/problems/" + t.Name }

// problemTable says which problem an error becomes: the first match counts,
// anything else is internal.
var problemTable = []struct {
	is   error
	kind *ProblemType
}{
	{service.ErrNotFound, notFound},
	{service.ErrConflict, conflict},
	{service.ErrInProgress, inProgress},
	{service.ErrStale, changed},
	{service.ErrUnauthenticated, unauthenticated},
	{service.ErrForbidden, forbidden},
	{service.ErrUnavailable, unavailable},
	{context.DeadlineExceeded, unavailable},
}

// requestError is a refusal that arises in this package.
type requestError struct {
	kind   *ProblemType
	detail string
	errors []ProblemError
	counts *ImportCounts
}

func (e *requestError) Error() string { return e.detail }

func refuse(kind *ProblemType, format string, args ...any) *requestError {
	return &requestError{kind: kind, detail: fmt.Sprintf(format, args...)}
}

// badParameter refuses a query parameter.
func badParameter(name, format string, args ...any) *requestError {
	reason := fmt.Sprintf(format, args...)
	return &requestError{kind: malformed, detail: name + ": " + reason, errors: []ProblemError{{Parameter: name, Reason: reason}}}
}

// problemOf finds the document for an error. The text of an internal error or
// of one from the database is not shown.
func problemOf(err error) Problem {
	var own *requestError
	if errors.As(err, &own) {
		p := newProblem(own.kind, own.detail)
		p.Errors, p.ImportCounts = own.errors, own.counts
		return p
	}
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		p := newProblem(invalid, oneLine(wrong))
		p.Errors = problemErrors(wrong.Fields)
		return p
	}
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return newProblem(tooLarge, fmt.Sprintf("the body is larger than %s", byteCount(large.Limit)))
	}
	for _, row := range problemTable {
		if !errors.Is(err, row.is) {
			continue
		}
		var refused *service.Error
		if errors.As(err, &refused) {
			return newProblem(row.kind, refused.Detail)
		}
		return newProblem(row.kind, "")
	}
	return newProblem(internal, "")
}

func newProblem(t *ProblemType, detail string) Problem {
	return Problem{Type: t.uri(), Title: t.Title, Status: t.Status, Detail: clip(detail, maxDetail)}
}

// maxDetail bounds a detail: scripts see it cut off anyway; errors has it all.
const maxDetail = 500

// oneLine is the first fault in full and the number of the others.
func oneLine(e *service.InvalidError) string {
	first := (&service.InvalidError{Fields: e.Fields[:min(1, len(e.Fields))]}).Error()
	if len(e.Fields) > 0 && e.Fields[0].Row > 0 {
		first = fmt.Sprintf("row %d, %s", e.Fields[0].Row, first)
	}
	if more := len(e.Fields) - 1; more > 0 {
		return fmt.Sprintf("%s (and %d more)", first, more)
	}
	return first
}

func problemErrors(fields []service.FieldError) []ProblemError {
	out := make([]ProblemError, len(fields))
	for i, f := range fields {
		out[i] = ProblemError{Pointer: f.Pointer, Row: f.Row, Ref: f.Ref, Column: f.Column, Reason: f.Reason}
	}
	return out
}

// withPointers gives each wrong column its place in a body that is one object.
func withPointers(err error) error {
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		for i, f := range wrong.Fields {
			if f.Pointer == "" && f.Column != "" {
				wrong.Fields[i].Pointer = "/" + escapePointer(f.Column)
			}
		}
	}
	return err
}

// fail answers with the problem that err is. When the answer has begun already
// the connection is cut, so that nobody takes half an answer for a whole one.
func (s *Server) fail(c *gin.Context, err error) {
	p := problemOf(err)
	note := noteOf(c)
	note.cause = err
	if errors.Is(err, context.Canceled) && c.Request.Context().Err() != nil {
		note.cancelled = true // the client is gone: nobody reads an answer
		c.Abort()
		return
	}
	if c.Writer.Written() {
		s.logger.ErrorContext(c.Request.Context(), "an answer broke off", "request_id", note.id, "error", scrub(err.Error()))
		panic(http.ErrAbortHandler)
	}
	s.answerProblem(c, p)
}

const retryAfterSeconds = "2"

func (s *Server) answerProblem(c *gin.Context, p Problem) {
	p.Instance = noteOf(c).id
	p.Detail = scrub(p.Detail)
	for i := range p.Errors {
		e := &p.Errors[i]
		for _, text := range []*string{&e.Pointer, &e.Parameter, &e.Ref, &e.Column, &e.Reason} {
			*text = scrub(*text)
		}
	}
	h := c.Writer.Header()
	for _, name := range []string{"Etag", "Content-Disposition", "Link", "Location"} {
		h.Del(name)
	}
	switch {
	case p.Status == http.StatusUnauthorized:
		h.Set("WWW-Authenticate", `Bearer realm="askwright"`)
	case p.Status == http.StatusServiceUnavailable, p.Type == inProgress.uri():
		h.Set("Retry-After", retryAfterSeconds)
	}
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Type", problemMediaType)
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

func (s *Server) noRoute(c *gin.Context) {
	s.fail(c, refuse(notFound, "there is nothing at this address"))
}

func (s *Server) noMethod(c *gin.Context) {
	s.fail(c, refuse(methodNotAllowed, "%s is not allowed here; allowed: %s", clip(c.Request.Method, 20), c.Writer.Header().Get("Allow")))
}

// recovered turns a panic into a 500 and a log line with the stack.
func (s *Server) recovered(c *gin.Context, what any, stack []byte) {
	s.logger.LogAttrs(c.Request.Context(), slog.LevelError, "panic", slog.String("request_id", noteOf(c).id),
		slog.String("panic", scrub(fmt.Sprint(what))), slog.String("stack", string(stack)))
	if c.Writer.Written() {
		panic(http.ErrAbortHandler)
	}
	s.answerProblem(c, newProblem(internal, ""))
}

func problemTypeByName(name string) (*ProblemType, bool) {
	i := slices.IndexFunc(problemTypes, func(t *ProblemType) bool { return t.Name == name })
	if i < 0 {
		return nil, false
	}
	return problemTypes[i], true
}

// clip shortens text for a message.
func clip(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}

func byteCount(n int64) string {
	if n >= 1<<20 {
		return fmt.Sprintf("%d MB", n>>20)
	}
	return fmt.Sprintf("%d bytes", n)
}
