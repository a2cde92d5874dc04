package service

import (
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

// The kinds of refusal. Each is matched with errors.Is; the api turns them
// into statuses.
var (
	ErrNotFound        = errors.New("not found")                // also for what belongs to another group
	ErrConflict        = errors.New("conflict")                 // the present state does not allow it
	ErrStale           = errors.New("changed in the meantime")  // another revision than the caller saw
	ErrUnauthenticated = errors.New("key missing or not valid") // no key, unknown, expired or revoked
	ErrForbidden       = errors.New("not allowed with this key")
	ErrInProgress      = errors.New("the same request is still being worked on")
	ErrUnavailable     = errors.New("the database is busy or away") // try again later
)

// Error is a refusal of one kind with a sentence for the person who asked.
type Error struct {
	Kind   error
	Detail string
}

func (e *Error) Error() string { return e.Detail }

func (e *Error) Unwrap() error { return e.Kind }

// Refuse makes an error of a kind with its detail in the user's words.
func Refuse(kind error, format string, args ...any) error {
	return &Error{Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

// NoListing says of a listing that was not found which one that is.
func NoListing(err error, id uuid.UUID) error {
	if IsNotFound(err) {
		return Refuse(ErrNotFound, "there is no listing with the id %s", id)
	}
	return err
}

// FieldError is what is wrong with one value.
type FieldError struct {
	Pointer string // JSON pointer into the request body, where there is one
	Row     int    // data row from 1; 0 outside bulk requests
	Ref     string
	Column  string
	Reason  string
	Code    string // what kind of fault it is; "": the value is wrong
	Nearest string // what was probably meant
	Cause   error  // a *WordError, where the value is no word of a closed list
}

// FaultOf is what is wrong with a column.
func FaultOf(column string, err error) FieldError {
	return FieldError{Column: column, Reason: err.Error(), Cause: err}
}

// WordError is a word that is not on a closed list.
type WordError struct {
	Word    string
	Allowed []string
}

func (e *WordError) Error() string {
	return fmt.Sprintf("%q is not one of %s", Clip(e.Word), strings.Join(e.Allowed, ", "))
}

// NotAllowed says which words a cell may have.
func NotAllowed(cell string, allowed []string) error { return &WordError{cell, allowed} }

// InvalidError says that a request was understood but its values are wrong.
type InvalidError struct {
	Fields []FieldError
}

func (e *InvalidError) Error() string {
	parts := make([]string, 0, len(e.Fields))
	for _, f := range e.Fields {
		switch {
		case f.Column != "":
			parts = append(parts, f.Column+": "+f.Reason)
		case f.Pointer != "":
			parts = append(parts, f.Pointer+": "+f.Reason)
		default:
			parts = append(parts, f.Reason)
		}
	}
	return strings.Join(parts, "; ")
}

// Invalid is an InvalidError of one field.
func Invalid(column, format string, args ...any) *InvalidError {
	fault := FieldError{Column: column, Reason: fmt.Sprintf(format, args...)}
	for _, arg := range args {
		if err, ok := arg.(*WordError); ok {
			fault.Cause = err
		}
	}
	return &InvalidError{Fields: []FieldError{fault}}
}

// IsNotFound reports whether an error says that something is not there.
func IsNotFound(err error) bool { return errors.Is(err, ErrNotFound) }
