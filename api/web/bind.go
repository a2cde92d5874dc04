package web

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/api/renamed"
	"askwright/service"
)

// Binder decodes nodes and gathers what is wrong.
type Binder struct{ wrong []service.FieldError }

// nodeReader is a type that reads itself from a node and leaves with the binder
// what is wrong with it.
type nodeReader interface {
	ReadNode(b *Binder, n Node, pointer string)
}

// decode puts a value into target: a pointer to a struct with json tags, or
// to Cells. Unlike encoding/json it knows names only as they are written,
// refuses unknown ones, and says where and what is wrong.
func decode(n Node, target any) error {
	b := &Binder{}
	b.set(n, reflect.ValueOf(target).Elem(), "")
	if b.wrong != nil {
		return &service.InvalidError{Fields: b.wrong}
	}
	return nil
}

// Refuse notes what is wrong with a value of the body.
func (b *Binder) Refuse(pointer, format string, args ...any) {
	column := pointer[strings.LastIndexByte(pointer, '/')+1:]
	b.wrong = append(b.wrong, service.FieldError{Pointer: pointer, Column: column, Reason: fmt.Sprintf(format, args...)})
}

// Unknown notes a name that is not known at its place in the body.
func (b *Binder) Unknown(pointer string, f service.FieldError) {
	f.Pointer = pointer
	b.wrong = append(b.wrong, f)
}

// Want reports whether the value is of one of the kinds.
func (b *Binder) Want(n Node, pointer string, kinds ...nodeKind) bool {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		if n.Kind == k {
			return true
		}
		names[i] = k.String()
	}
	b.Refuse(pointer, "is %s; expected %s", n.Kind, strings.Join(names, " or "))
	return false
}

func (b *Binder) set(n Node, v reflect.Value, pointer string) {
	switch target := v.Addr().Interface().(type) {
	case nodeReader:
		target.ReadNode(b, n, pointer)
		return
	case *Decimal:
		if b.Want(n, pointer, NumberNode, StringNode) {
			*target = Decimal(strings.TrimSpace(n.Text))
		}
		return
	case *time.Time:
		b.setTime(n, target, pointer)
		return
	case *uuid.UUID:
		b.setID(n, target, pointer)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if n.Kind == NullNode {
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		b.set(n, v.Elem(), pointer)
	case reflect.String:
		if b.Want(n, pointer, StringNode) {
			v.SetString(n.Text)
		}
	case reflect.Bool:
		if b.Want(n, pointer, BoolNode) {
			v.SetBool(n.Text == "true")
		}
	case reflect.Int:
		b.setInt(n, v, pointer)
	case reflect.Float64:
		b.SetFloat(n, v, pointer)
	case reflect.Slice:
		b.setSlice(n, v, pointer)
	case reflect.Struct:
		b.SetStruct(n, v, pointer)
	default:
		panic(fmt.Sprintf("api: no way to decode into %s", v.Type()))
	}
}

func (b *Binder) setTime(n Node, target *time.Time, pointer string) {
	if !b.Want(n, pointer, StringNode) {
		return
	}
	t, err := time.Parse(time.RFC3339, n.Text)
	if err != nil {
		b.Refuse(pointer, "%q is not an instant like 2026-03-05T09:30:00Z", Clip(n.Text, 40))
		return
	}
	*target = t
}

func (b *Binder) setID(n Node, target *uuid.UUID, pointer string) {
	if !b.Want(n, pointer, StringNode) {
		return
	}
	id, err := ParseID(n.Text)
	if err != nil {
		b.Refuse(pointer, "%q is not an id", Clip(n.Text, 40))
		return
	}
	*target = id
}

func (b *Binder) setInt(n Node, v reflect.Value, pointer string) {
	if !b.Want(n, pointer, NumberNode) {
		return
	}
	i, err := strconv.Atoi(n.Text)
	if err != nil {
		b.Refuse(pointer, "%s is not a whole number", Clip(n.Text, 40))
		return
	}
	v.SetInt(int64(i))
}

// SetFloat is for shares and hours; money is a Decimal.
func (b *Binder) SetFloat(n Node, v reflect.Value, pointer string) {
	if !b.Want(n, pointer, NumberNode) {
		return
	}
	f, err := strconv.ParseFloat(n.Text, 64)
	if err != nil {
		b.Refuse(pointer, "%s is out of range", Clip(n.Text, 40))
		return
	}
	v.SetFloat(f)
}

func (b *Binder) setSlice(n Node, v reflect.Value, pointer string) {
	if !b.Want(n, pointer, ArrayNode) {
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.Items), len(n.Items)))
	for i, item := range n.Items {
		b.set(item, v.Index(i), pointer+"/"+strconv.Itoa(i))
	}
}

// SetStruct reads an object into the fields of a struct.
func (b *Binder) SetStruct(n Node, v reflect.Value, pointer string) {
	if !b.Want(n, pointer, ObjectNode) {
		return
	}
	fields := JSONFields(v.Type())
	for _, m := range n.Members {
		at := pointer + "/" + EscapePointer(m.Name)
		i, known := fields[m.Name]
		if !known {
			names := KeysOf(fields)
			b.Unknown(at, UnknownName(renamed.Field, m.Name, "is not known here", renamed.Among(names), NearestName(m.Name, names)))
			continue
		}
		b.set(m.Value, v.Field(i), at)
	}
}

// JSONFields maps the json names of a struct to its fields.
func JSONFields(t reflect.Type) map[string]int {
	fields := make(map[string]int, t.NumField())
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		if name != "" && name != "-" {
			fields[name] = i
		}
	}
	return fields
}
