package demo

import (
	"askwright/service"
	"askwright/service/recording"
)

// Source yields the rows as a file would, to be imported.
func Source(rows []Row) recording.RowSource {
	return func(yield func(recording.Row) error) error {
		for i, row := range rows {
			if err := yield(recording.Row{Number: i + 1, Cells: service.Cells(row)}); err != nil {
				return err
			}
		}
		return nil
	}
}
