// Package probe reads odd values off fuzz data and judges numbers, for the
// tests of pricing and of its sub-packages.
package probe

import (
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
)

// Tape reads values off fuzz data; at its end all are zero.
type Tape []byte

// Byte is the next byte.
func (t *Tape) Byte() int {
	if len(*t) == 0 {
		return 0
	}
	b := (*t)[0]
	*t = (*t)[1:]
	return int(b)
}

// Number is any float64 one time in eight, else one of a few awkward or likely values.
func (t *Tape) Number() float64 {
	values := [...]float64{
		0, 1, 40, 200, 220.5, 1000, 99_999, 1e6, -5, 1e-9, 1e12, 1e300, math.Inf(1), math.NaN(),
	}
	b := t.Byte()
	if b%8 == 7 && len(*t) >= 8 {
		v := math.Float64frombits(binary.LittleEndian.Uint64(*t))
		*t = (*t)[8:]
		return v
	}
	return values[b%len(values)]
}

// Word is none, a category, a wood, a finish or a color.
func (t *Tape) Word() string {
	return [...]string{"", "desk", "oak", "painted", "white"}[t.Byte()%5]
}

// NonFinite finds a number that is not finite anywhere in v; empty: none.
func NonFinite(path string, v reflect.Value) string {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			return fmt.Sprintf("%s = %g", path, v.Float())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return NonFinite(path, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if found := NonFinite(path+"."+v.Type().Field(i).Name, v.Field(i)); found != "" {
				return found
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if found := NonFinite(fmt.Sprintf("%s[%d]", path, i), v.Index(i)); found != "" {
				return found
			}
		}
	}
	return ""
}

// Near reports whether got is want to so many decimals.
func Near(got, want float64, decimals int) bool {
	return math.Abs(got-want) <= 0.5000001*math.Pow10(-decimals)
}
