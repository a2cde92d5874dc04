package db

import (
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
)

// field is a column or an expression with the place of its value: where it goes
// when read, and is taken from when written.
type field[T any] struct {
	sql   string
	place func(*T) any
}

// expressions are what is selected or inserted, as one list.
func expressions[T any](fields []field[T]) string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.sql
	}
	return strings.Join(names, ", ")
}

// fieldsNamed are some of the fields, in the order of their names.
func fieldsNamed[T any](fields []field[T], names string) []field[T] {
	var out []field[T]
	for name := range strings.FieldsSeq(names) {
		for _, f := range fields {
			if f.sql == name {
				out = append(out, f)
			}
		}
	}
	return out
}

// prefixed names the table of columns.
func prefixed[T any](table string, fields []field[T]) []field[T] {
	out := make([]field[T], len(fields))
	for i, f := range fields {
		out[i] = field[T]{table + f.sql, f.place}
	}
	return out
}

// places are those of one value.
func places[T any](fields []field[T], v *T) []any {
	out := make([]any, len(fields))
	for i, f := range fields {
		out[i] = f.place(v)
	}
	return out
}

// assignments set the columns from parameters counted from a number on.
func assignments[T any](fields []field[T], from int) string {
	sets := make([]string, len(fields))
	for i, f := range fields {
		sets[i] = f.sql + " = $" + strconv.Itoa(from+i)
	}
	return strings.Join(sets, ", ")
}

// parameters are n of them, counted from a number on.
func parameters(from, n int) string {
	marks := make([]string, n)
	for i := range marks {
		marks[i] = "$" + strconv.Itoa(from+i)
	}
	return strings.Join(marks, ", ")
}

// each reads rows of the fields one by one.
func each[T any](fields []field[T], yield func(*T) error) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		defer rows.Close()
		for rows.Next() {
			v := new(T)
			if err := rows.Scan(places(fields, v)...); err != nil {
				return err
			}
			if err := yield(v); err != nil {
				return err
			}
		}
		return rows.Err()
	}
}

// collect reads all rows of the fields.
func collect[T any](into *[]T, fields []field[T]) func(pgx.Rows) error {
	return each(fields, func(v *T) error {
		*into = append(*into, *v)
		return nil
	})
}

// collectByName reads all rows by the names of the struct's fields.
func collectByName[T any](into *[]T) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		found, err := pgx.CollectRows(rows, pgx.RowToStructByName[T])
		*into = append(*into, found...)
		return err
	}
}
