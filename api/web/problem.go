package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"

	"askwright/service"
)

// ImportCounts is what became of the rows of a file.
type ImportCounts struct {
	Received  int        `json:"received" example:"312"`
	Created   int        `json:"created" example:"300"`
	Updated   int        `json:"updated" example:"9"`
	Unchanged int        `json:"unchanged" example:"1"`
	Rejected  int        `json:"rejected" example:"2"`
	NewValues []NewValue `json:"new_values,omitempty"` // words that no list knew; they were taken
}

// NewValue is a word that no list knew.
type NewValue struct {
	Column  string `json:"column" example:"color"`
	Value   string `json:"value" example:"gren"`
	Nearest string `json:"nearest,omitempty" example:"green"` // the known word that may have been meant
}

// ProblemMediaType is that of RFC 9457.
const ProblemMediaType = "application/problem+json"

// Problem is an RFC 9457 problem document.
type Problem struct {
	Type     string         `json:"type" example:"/problems/invalid"`                 // URI reference; what it means stands there
	Title    string         `json:"title" example:"Some values are wrong"`            // fixed for a type
	Status   int            `json:"status" example:"422"`                             // the HTTP status
	Detail   string         `json:"detail,omitempty" example:"ask: \"abc\" is wrong"` // one line about this occurrence
	Instance string         `json:"instance,omitempty"`                               // the request id, also in X-Request-Id
	Now      string         `json:"now,omitempty" example:"/v1/reviews?state=stale"`  // of an address that moved: the present one
	Errors   []ProblemError `json:"errors,omitempty"`                                 // what is wrong, value by value

	*ImportCounts // of an import of which nothing landed
}

// ProblemError is what is wrong with one value.
type ProblemError struct {
	Pointer   string `json:"pointer,omitempty" example:"#/subjects/0/width"` // RFC 6901, into the body
	Parameter string `json:"parameter,omitempty" example:"limit"`            // of the query
	Row       int    `json:"row,omitempty" example:"17"`                     // data rows count from 1
	Ref       string `json:"ref,omitempty" example:"B-17"`
	Column    string `json:"column,omitempty" example:"ask"`
	Cell      string `json:"cell,omitempty" example:"Listings!D17"` // of a workbook
	Code      string `json:"code" enums:"invalid,unknown_field,unknown_word,renamed" example:"renamed"`
	Detail    string `json:"detail"`                                // what is wrong, in words
	Nearest   string `json:"nearest,omitempty" example:"fee_share"` // of a name or word that is not known: the one that was probably meant
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
	Malformed = &ProblemType{"malformed", "The request cannot be understood", http.StatusBadRequest,
		"The address or the body cannot be read: broken JSON or CSV, an unknown or wrong query parameter, a cursor that belongs to another list. Correct the request."}
	keyInAddress = &ProblemType{"key-in-address", "A key must not stand in an address", http.StatusBadRequest,
		"Addresses end up in logs and histories. Revoke the key, make another one, and send it as Authorization: Bearer KEY. Only a feed key may stand in the address of a .csv feed."}
	Unauthenticated = &ProblemType{"unauthenticated", "A valid key is needed", http.StatusUnauthorized,
		"Send Authorization: Bearer KEY. The key is missing, mistyped, revoked or expired."}
	Forbidden = &ProblemType{"forbidden", "The key does not allow this", http.StatusForbidden,
		"The key is valid but its scope is too small (feed, read, write, admin), or the row belongs to another member."}
	NotFound = &ProblemType{"not-found", "There is no such thing", http.StatusNotFound,
		"Nothing is there, or it belongs to another group."}
	methodNotAllowed = &ProblemType{"method-not-allowed", "The method is not allowed here", http.StatusMethodNotAllowed,
		"The header Allow lists the methods that are."}
	NotAcceptable = &ProblemType{"not-acceptable", "The answer cannot be given in that form", http.StatusNotAcceptable,
		"Answers are application/json; lists also text/csv. Change the header Accept."}
	Conflict = &ProblemType{"conflict", "The present state does not allow it", http.StatusConflict,
		"For instance an offer for a listing that ended, a second open listing of one piece, or a name that is taken."}
	inProgress = &ProblemType{"in-progress", "The same request is still being worked on", http.StatusConflict,
		"Another request with this Idempotency-Key has not been answered yet. Repeat after as many seconds as Retry-After says: the answer will be that one's."}
	Renamed = &ProblemType{"renamed", "This address moved", http.StatusGone,
		"now is the address that took its place, as does the header Link. docs/changelog.md lists all names that changed, with those of parameters and fields."}
	Changed = &ProblemType{"changed", "It was changed in the meantime", http.StatusPreconditionFailed,
		"The revision in If-Match is not the present one. Fetch it again, look, and repeat."}
	TooLarge = &ProblemType{"too-large", "The request is too large", http.StatusRequestEntityTooLarge,
		"Nothing of it was taken. Send it in parts; importing in parts is safe because rows are known by their ref."}
	unsupportedMedia = &ProblemType{"unsupported-media-type", "The form of the body is not supported", http.StatusUnsupportedMediaType,
		"Send application/json; imports also take text/csv."}
	Misdirected = &ProblemType{"misdirected", "The request is for another server", http.StatusMisdirectedRequest,
		"This server does not answer to the name in the header Host. Whoever runs it lists its names in ASKWRIGHT_HOSTS."}
	Invalid = &ProblemType{"invalid", "Some values are wrong", http.StatusUnprocessableEntity,
		"The request was understood but values are wrong. errors names each one with its place and the reason."}
	NothingLanded = &ProblemType{"nothing-landed", "None of the rows could be kept", http.StatusUnprocessableEntity,
		"Every row was rejected, or one was and atomic=true was asked for. errors names each row; the counts are those of a successful import."}
	TooMany = &ProblemType{"too-many-requests", "Too many requests", http.StatusTooManyRequests,
		"Wait for as many seconds as Retry-After says. Asking for many subjects in one call is cheaper than one call for each."}
	Internal = &ProblemType{"internal", "Something went wrong here", http.StatusInternalServerError,
		"The fault is on this side. The instance names the line in the log that tells more."}
	Unavailable = &ProblemType{"unavailable", "Busy, or the database is away", http.StatusServiceUnavailable,
		"Repeat after as many seconds as Retry-After says. Rows can be sent again safely: they are known by their ref."}
)

// ProblemTypes are all kinds of problems, as /problems lists them.
var ProblemTypes = []*ProblemType{
	Malformed, keyInAddress, Unauthenticated, Forbidden, NotFound, methodNotAllowed, NotAcceptable, Conflict, inProgress,
	Renamed, Changed, TooLarge, unsupportedMedia, Misdirected, Invalid, NothingLanded, TooMany, Internal, Unavailable,
}

// URI is the type's address.
func (t *ProblemType) URI() string { return "/problems/" + t.Name }

// problemTable says which problem an error becomes: the first match counts,
// anything else is internal.
var problemTable = []struct {
	is   error
	kind *ProblemType
}{
	{service.ErrNotFound, NotFound},
	{service.ErrConflict, Conflict},
	{service.ErrInProgress, inProgress},
	{service.ErrStale, Changed},
	{service.ErrUnauthenticated, Unauthenticated},
	{service.ErrForbidden, Forbidden},
	{service.ErrUnavailable, Unavailable},
	{context.DeadlineExceeded, Unavailable},
}

// RequestError is a refusal that arises in this package.
type RequestError struct {
	Kind   *ProblemType
	Detail string
	Now    string
	Errors []ProblemError
	Counts *ImportCounts
}

func (e *RequestError) Error() string { return e.Detail }

// Refuse makes the error that becomes a problem of that kind.
func Refuse(kind *ProblemType, format string, args ...any) *RequestError {
	return &RequestError{Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

// BadParameter refuses a query parameter.
func BadParameter(name, format string, args ...any) *RequestError {
	return wrongParameter(service.FieldError{Column: name, Reason: fmt.Sprintf(format, args...)})
}

// wrongParameter refuses a query parameter, which is the column of a fault.
func wrongParameter(f service.FieldError) *RequestError {
	e := problemError(f)
	e.Column, e.Parameter = "", f.Column
	return &RequestError{Kind: Malformed, Detail: f.Column + ": " + e.Detail, Errors: []ProblemError{e}}
}

// ProblemOf finds the document for an error. The text of an internal error or
// of one from the database is not shown.
func ProblemOf(err error) Problem {
	var own *RequestError
	if errors.As(err, &own) {
		p := newProblem(own.Kind, own.Detail)
		p.Now, p.Errors, p.ImportCounts = own.Now, own.Errors, own.Counts
		return p
	}
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		p := newProblem(Invalid, OneLine(wrong))
		p.Errors = ProblemErrors(wrong.Fields)
		return p
	}
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return newProblem(TooLarge, fmt.Sprintf("the body is larger than %s", ByteCount(large.Limit)))
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
	return newProblem(Internal, "")
}

func newProblem(t *ProblemType, detail string) Problem {
	return Problem{Type: t.URI(), Title: t.Title, Status: t.Status, Detail: Clip(detail, maxDetail)}
}

// maxDetail bounds a detail: scripts see it cut off anyway; errors has it all.
const maxDetail = 500

// OneLine is the first fault in full and the number of the others.
func OneLine(e *service.InvalidError) string {
	first := (&service.InvalidError{Fields: Each(e.Fields[:min(1, len(e.Fields))], explained)}).Error()
	if len(e.Fields) > 0 && e.Fields[0].Row > 0 {
		first = fmt.Sprintf("row %d, %s", e.Fields[0].Row, first)
	}
	if more := len(e.Fields) - 1; more > 0 {
		return fmt.Sprintf("%s (and %d more)", first, more)
	}
	return first
}

// ProblemErrors tells faults of fields as a problem does.
func ProblemErrors(fields []service.FieldError) []ProblemError {
	return Each(fields, problemError)
}

func problemError(f service.FieldError) ProblemError {
	f = explained(f)
	if f.Pointer != "" {
		f.Pointer = "#" + f.Pointer // a fragment (RFC 6901, 6), as in RFC 9457
	}
	return ProblemError{
		Pointer: f.Pointer, Row: f.Row, Ref: f.Ref, Column: f.Column, Code: cmp.Or(f.Code, CodeInvalid), Detail: f.Reason, Nearest: f.Nearest,
	}
}

// WithPointers gives each wrong column its place in a body that is one object.
func WithPointers(err error) error {
	var wrong *service.InvalidError
	if errors.As(err, &wrong) {
		for i, f := range wrong.Fields {
			if f.Pointer == "" && f.Column != "" {
				wrong.Fields[i].Pointer = "/" + EscapePointer(f.Column)
			}
		}
	}
	return err
}

// ProblemTypeByName finds a kind of problem.
func ProblemTypeByName(name string) (*ProblemType, bool) {
	i := slices.IndexFunc(ProblemTypes, func(t *ProblemType) bool { return t.Name == name })
	if i < 0 {
		return nil, false
	}
	return ProblemTypes[i], true
}

// InQuery turns wrong values into wrong parameters: they came in the address.
func InQuery(err error) error {
	var wrong *service.InvalidError
	if !errors.As(err, &wrong) {
		return err
	}
	refused := &RequestError{Kind: Malformed, Detail: OneLine(&service.InvalidError{Fields: withoutRows(wrong.Fields)})}
	for _, f := range wrong.Fields {
		refused.Errors = append(refused.Errors, wrongParameter(f).Errors...)
	}
	return refused
}

func withoutRows(fields []service.FieldError) []service.FieldError {
	out := slices.Clone(fields)
	for i := range out {
		out[i].Row, out[i].Pointer = 0, ""
	}
	return out
}
