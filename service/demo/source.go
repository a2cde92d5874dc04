package demo

import "askwright/service"

// Source yields the rows as a file would, to be imported.
func Source(rows []Row) service.RowSource {
	return func(yield func(service.Row) error) error {
		for i, row := range rows {
			if err := yield(service.Row{Number: i + 1, Cells: service.Cells(row)}); err != nil {
				return err
			}
		}
		return nil
	}
}
