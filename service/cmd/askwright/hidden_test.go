package main

import (
	"go/types"
	"testing"
)

// A field that hides one of an embedded struct leaves both in the value: who
// reaches for the inner one, or writes it out, shows what the outer was to keep
// back, such as everybody's sales beside one's own.
func TestNoFieldHidesOneOfAnEmbeddedStruct(t *testing.T) {
	t.Parallel()
	for _, p := range typedPackages(t) {
		for _, name := range p.Types.Scope().Names() {
			outer, ok := p.Types.Scope().Lookup(name).Type().Underlying().(*types.Struct)
			if !ok {
				continue
			}
			fields := make(map[string]bool)
			for f := range outer.Fields() {
				fields[f.Name()] = !f.Embedded()
			}
			for f := range outer.Fields() {
				for _, hidden := range embeddedFields(f) {
					if fields[hidden.Name()] {
						t.Errorf("%s: %s.%s hides that of the embedded %s", p.PkgPath, name, hidden.Name(), f.Name())
					}
				}
			}
		}
	}
}

// embeddedFields are the exported fields of a struct that is embedded as f.
func embeddedFields(f *types.Var) (fields []*types.Var) {
	inner := f.Type()
	if pointer, ok := inner.Underlying().(*types.Pointer); ok {
		inner = pointer.Elem()
	}
	of, ok := inner.Underlying().(*types.Struct)
	if !ok || !f.Embedded() {
		return nil
	}
	for one := range of.Fields() {
		if one.Exported() {
			fields = append(fields, one)
		}
	}
	return fields
}
