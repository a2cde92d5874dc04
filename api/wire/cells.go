package wire

import (
	"cmp"
	"reflect"

	"askwright/api/rowfile"
	"askwright/api/web"
	"askwright/service"
)

// Cells are a row on its way in: column names to the text of their values.
type Cells map[string]string

// FindCells are a find on its way in: a row with the columns of its plan.
type FindCells map[string]string

// ReadNode reads a row.
func (cells *Cells) ReadNode(b *web.Binder, n web.Node, pointer string) {
	*cells = readCells(b, n, pointer, rowfile.RowColumns)
}

// ReadNode reads a find.
func (cells *FindCells) ReadNode(b *web.Binder, n web.Node, pointer string) {
	*cells = FindCells(readCells(b, n, pointer, rowfile.FindColumns))
}

// readCells reads an object as a row of such columns.
func readCells(b *web.Binder, n web.Node, pointer string, columns rowfile.ColumnSet) Cells {
	if !b.Want(n, pointer, web.ObjectNode) {
		return nil
	}
	cells := make(Cells, len(n.Members))
	for _, m := range n.Members {
		at := pointer + "/" + web.EscapePointer(m.Name)
		column, known := columns.ByName(m.Name)
		if !known {
			b.Unknown(at, columns.Unknown(m.Name))
			continue
		}
		text, inside, wrong := rowfile.CellOf(column, m.Value)
		if wrong != "" {
			b.Refuse(at+inside, "%s", wrong)
			continue
		}
		cells[m.Name] = text
	}
	return cells
}

// ReadNode reads an object that is a row with a plan beside it.
func (s *RefinishSubject) ReadNode(b *web.Binder, n web.Node, pointer string) {
	if !b.Want(n, pointer, web.ObjectNode) {
		return
	}
	v := reflect.ValueOf(&s.Plan).Elem()
	fields := web.JSONFields(v.Type())
	row, plan := web.Node{Kind: web.ObjectNode}, web.Node{Kind: web.ObjectNode}
	for _, m := range n.Members {
		if _, planned := fields[m.Name]; planned {
			plan.Members = append(plan.Members, m)
		} else {
			row.Members = append(row.Members, m)
		}
	}
	s.Row = readCells(b, row, pointer, rowfile.ColumnSet{
		ByName: service.ColumnByName,
		Near: func(name string) string {
			return cmp.Or(web.NearestName(name, web.KeysOf(fields)), service.NearestColumn(name))
		},
	})
	b.SetStruct(plan, v, pointer)
}

// ReadNode reads an object of numbers; true and false are 1 and 0.
func (a *Amounts) ReadNode(b *web.Binder, n web.Node, pointer string) {
	if !b.Want(n, pointer, web.ObjectNode) {
		return
	}
	out := make(Amounts, len(n.Members))
	*a = out
	for _, m := range n.Members {
		at := pointer + "/" + web.EscapePointer(m.Name)
		if m.Value.Kind == web.BoolNode {
			out[m.Name] = 0
			if m.Value.Text == "true" {
				out[m.Name] = 1
			}
			continue
		}
		var x float64
		b.SetFloat(m.Value, reflect.ValueOf(&x).Elem(), at)
		out[m.Name] = x
	}
}
