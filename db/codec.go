package db

import (
	"context"
	"encoding/json"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"askwright/pricing"
)

// registerCodecs teaches a connection how days and values that may be unknown
// are stored, for arguments and for what is read.
func registerCodecs(_ context.Context, conn *pgx.Conn) error {
	m := conn.TypeMap()
	m.TryWrapEncodePlanFuncs = append([]pgtype.TryWrapEncodePlanFunc{encodeOwn}, m.TryWrapEncodePlanFuncs...)
	m.TryWrapScanPlanFuncs = append([]pgtype.TryWrapScanPlanFunc{scanOwn}, m.TryWrapScanPlanFuncs...)
	return nil
}

// day is a pricing.Date as pgx reads and writes dates; no date is NULL.
type day pricing.Date

// DateValue is for arguments.
func (d day) DateValue() (pgtype.Date, error) {
	return pgtype.Date{Time: pricing.Date(d).Time(), Valid: d != 0}, nil
}

// ScanDate is for what is read.
func (d *day) ScanDate(v pgtype.Date) error {
	*d = day(pricing.DateOf(v.Time))
	return nil
}

// unlessZero is an argument that is NULL where the value is zero, which means
// unknown.
func unlessZero[T comparable](v T) any {
	var zero T
	if v == zero {
		return nil
	}
	return v
}

// blanks is a place for a value that is not there where the column is NULL.
type blanks interface {
	value() any              // what is written; nil: NULL
	place(isNull bool) any   // where it is read to
	sample() (value, at any) // by which reading and writing are planned
}

type kind[T any] struct{}

func (kind[T]) sample() (value, at any) { return *new(T), new(T) }

// blankOr is the place for a value of which zero is NULL, both ways.
type blankOr[T comparable] struct {
	kind[T]
	at *T
}

func blank[T comparable](at *T) any { return blankOr[T]{at: at} }

func (b blankOr[T]) value() any { return unlessZero(*b.at) }

func (b blankOr[T]) place(isNull bool) any {
	if isNull {
		*b.at = *new(T)
	}
	return b.at
}

// partOr is the place for a part of a whole that may be missing.
type partOr[W, T any] struct {
	kind[T]
	whole **W
	part  func(*W) *T
}

func (p partOr[W, T]) value() any {
	if *p.whole == nil {
		return nil
	}
	return *p.part(*p.whole)
}

func (p partOr[W, T]) place(isNull bool) any {
	if *p.whole == nil && !isNull {
		*p.whole = new(W)
	}
	if *p.whole == nil {
		return nil
	}
	return p.part(*p.whole)
}

// encoder writes another value in place of one; nil is NULL.
type encoder struct {
	pgtype.EncodePlan
	stored func(any) any
}

// SetNext takes the plan for the other value.
func (p *encoder) SetNext(next pgtype.EncodePlan) { p.EncodePlan = next }

// Encode writes it.
func (p *encoder) Encode(v any, buf []byte) ([]byte, error) {
	stored := p.stored(v)
	if stored == nil {
		return nil, nil
	}
	return p.EncodePlan.Encode(stored, buf)
}

func encodeOwn(v any) (pgtype.WrappedEncodePlanNextSetter, any, bool) {
	switch v := v.(type) {
	case pricing.Date:
		return &encoder{stored: func(v any) any { return day(v.(pricing.Date)) }}, day(v), true
	case blanks:
		sample, _ := v.sample()
		return &encoder{stored: func(v any) any { return v.(blanks).value() }}, sample, true
	}
	return nil, nil, false
}

// scanner reads to another place.
type scanner struct {
	pgtype.ScanPlan
	place func(to any, isNull bool) any
}

// SetNext takes the plan for the other place.
func (p *scanner) SetNext(next pgtype.ScanPlan) { p.ScanPlan = next }

// Scan reads there.
func (p *scanner) Scan(src []byte, to any) error {
	if place := p.place(to, src == nil); src != nil {
		return p.ScanPlan.Scan(src, place)
	}
	return nil
}

func scanOwn(to any) (pgtype.WrappedScanPlanNextSetter, any, bool) {
	switch to := to.(type) {
	case *pricing.Date:
		return &scanner{place: dayPlace}, (*day)(to), true
	case blanks:
		_, sample := to.sample()
		return &scanner{place: func(to any, isNull bool) any { return to.(blanks).place(isNull) }}, sample, true
	}
	return nil, nil, false
}

func dayPlace(to any, isNull bool) any {
	d := to.(*pricing.Date)
	if isNull {
		*d = 0
	}
	return (*day)(d)
}

// list is a place for a list in JSON; none is [].
type list[T any] struct{ at *[]T }

// MarshalJSON writes the list.
func (l list[T]) MarshalJSON() ([]byte, error) { return json.Marshal(append([]T{}, *l.at...)) }

// ScanBytes reads it.
func (l list[T]) ScanBytes(text []byte) error { return json.Unmarshal(text, l.at) }
