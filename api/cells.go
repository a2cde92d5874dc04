package api

import (
	"cmp"
	"reflect"

	"askwright/service"
)

// Cells are a row on its way in: column names to the text of their values.
type Cells map[string]string

// FindCells are a find on its way in: a row with the columns of its plan.
type FindCells map[string]string

func (cells *Cells) readNode(b *binder, n node, pointer string) {
	*cells = readCells(b, n, pointer, rowColumns)
}

func (cells *FindCells) readNode(b *binder, n node, pointer string) {
	*cells = FindCells(readCells(b, n, pointer, findColumns))
}

// readCells reads an object as a row of such columns.
func readCells(b *binder, n node, pointer string, columns columnSet) Cells {
	if !b.want(n, pointer, objectNode) {
		return nil
	}
	cells := make(Cells, len(n.members))
	for _, m := range n.members {
		at := pointer + "/" + escapePointer(m.name)
		if _, known := columns.byName(m.name); !known {
			b.refuse(at, "is no column%s", didYouMean(columns.nearest(m.name)))
			continue
		}
		if m.value.kind == nullNode || b.want(m.value, at, numberNode, stringNode) {
			cells[m.name] = m.value.text // null is a blank cell
		}
	}
	return cells
}

// readNode reads an object that is a row with a plan beside it.
func (s *RefinishSubject) readNode(b *binder, n node, pointer string) {
	if !b.want(n, pointer, objectNode) {
		return
	}
	v := reflect.ValueOf(&s.Plan).Elem()
	fields := jsonFields(v.Type())
	row, plan := node{kind: objectNode}, node{kind: objectNode}
	for _, m := range n.members {
		if _, planned := fields[m.name]; planned {
			plan.members = append(plan.members, m)
		} else {
			row.members = append(row.members, m)
		}
	}
	s.Row = readCells(b, row, pointer, columnSet{
		byName: service.ColumnByName,
		nearest: func(name string) string {
			return cmp.Or(nearestName(name, keysOf(fields)), service.NearestColumn(name))
		},
	})
	b.setStruct(plan, v, pointer)
}

// readNode reads an object of numbers; true and false are 1 and 0.
func (a *Amounts) readNode(b *binder, n node, pointer string) {
	if !b.want(n, pointer, objectNode) {
		return
	}
	out := make(Amounts, len(n.members))
	*a = out
	for _, m := range n.members {
		at := pointer + "/" + escapePointer(m.name)
		if m.value.kind == boolNode {
			out[m.name] = 0
			if m.value.text == "true" {
				out[m.name] = 1
			}
			continue
		}
		var x float64
		b.setFloat(m.value, reflect.ValueOf(&x).Elem(), at)
		out[m.name] = x
	}
}
