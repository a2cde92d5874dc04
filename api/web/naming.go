package web

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"askwright/api/renamed"
	"askwright/service"
)

// The codes of faults.
const (
	CodeInvalid      = "invalid"       // the value is wrong
	CodeUnknownField = "unknown_field" // there is no field, column or parameter of that name
	CodeUnknownWord  = "unknown_word"  // the value is not on the closed list
	CodeRenamed      = "renamed"       // the name or word is another one now: nearest
)

// UnknownName is the fault of a name that is not known where it was sent; nearest
// is the one that was probably meant, what says what it is not.
func UnknownName(kind renamed.Kind, name, what string, isKnown func(string) bool, nearest string) service.FieldError {
	f := service.FieldError{Column: Clip(name, 60), Code: CodeUnknownField, Reason: what + DidYouMean(nearest), Nearest: nearest}
	if now := renamed.Now(kind, name, isKnown); now != "" {
		f.Code, f.Reason, f.Nearest = CodeRenamed, "is now called "+now, now
	}
	return f
}

// explained says of a word that is on no list which one it is now, or which one
// was probably meant.
func explained(f service.FieldError) service.FieldError {
	var wrong *service.WordError
	if f.Code != "" || !errors.As(f.Cause, &wrong) {
		return f
	}
	f.Code, f.Nearest = CodeUnknownWord, NearestName(wrong.Word, wrong.Allowed)
	if now := renamed.Now(renamed.Word, wrong.Word, renamed.Among(wrong.Allowed)); now != "" {
		f.Code, f.Nearest, f.Reason = CodeRenamed, now, fmt.Sprintf("%q is now called %s", Clip(wrong.Word, 40), now)
	}
	return f
}

// NearestName is the name that was probably meant, or "".
func NearestName(name string, known []string) string {
	return service.Nearest(service.CanonicalWord(Clip(name, 60)), known)
}

// KeysOf are the keys of a map in their order.
func KeysOf(m map[string]int) []string { return slices.Sorted(maps.Keys(m)) }

// DidYouMean goes on after a name that is not known; "" where none is near.
func DidYouMean(name string) string {
	if name == "" {
		return ""
	}
	return "; did you mean " + name + "?"
}

// Clip shortens text for a message.
func Clip(s string, most int) string { return service.ClipTo(s, most) }

// ByteCount writes a size in words.
func ByteCount(n int64) string {
	if n >= 1<<20 {
		return fmt.Sprintf("%d MB", n>>20)
	}
	return fmt.Sprintf("%d bytes", n)
}

// Each shows every item.
func Each[S, T any](from []S, show func(S) T) []T {
	out := make([]T, len(from))
	for i, one := range from {
		out[i] = show(one)
	}
	return out
}
