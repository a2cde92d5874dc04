package db

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/service"
	"askwright/service/imports"
)

// KeepSheet keeps a new sheet and makes room for it.
func (s *Store) KeepSheet(ctx context.Context, t service.Tenant, sheet imports.Stored, before time.Time, most int) error {
	return s.run(ctx, t, statement{
		sql: `delete from sheet where group_id = $1 and member_id = $2 and (created_at < $3 or sheet_id in (
			select sheet_id from sheet where group_id = $1 and member_id = $2 order by created_at desc, sheet_id desc offset $4))`,
		args: []any{t.Group, t.Member, before, most - 1},
	}, statement{
		sql: `insert into sheet (group_id, member_id, sheet_id, name, state, created_at, cells, columns, answers)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		args: []any{t.Group, t.Member, sheet.ID, sheet.Name, sheet.State, sheet.CreatedAt, sheet.Cells, sheet.Columns, sheet.Answers},
	})
}

var sheetFields = []field[imports.Stored]{
	{"sheet_id", func(s *imports.Stored) any { return &s.ID }},
	{"name", func(s *imports.Stored) any { return &s.Name }},
	{"state", func(s *imports.Stored) any { return &s.State }},
	{"created_at", func(s *imports.Stored) any { return &s.CreatedAt }},
}

// Sheets lists the member's sheets, the newest first.
func (s *Store) Sheets(ctx context.Context, t service.Tenant) ([]imports.Stored, error) {
	var found []imports.Stored
	err := s.run(ctx, t, statement{
		sql:  "select " + expressions(sheetFields) + " from sheet where group_id = $1 and member_id = $2 order by created_at desc, sheet_id desc",
		args: []any{t.Group, t.Member}, read: collect(&found, sheetFields),
	})
	return found, err
}

// Sheet reads one of the member's sheets.
func (s *Store) Sheet(ctx context.Context, t service.Tenant, id uuid.UUID) (*imports.Stored, error) {
	found := &imports.Stored{}
	err := s.run(ctx, t, statement{
		sql:  "select " + expressions(sheetFields) + ", cells, columns, answers from sheet where group_id = $1 and member_id = $2 and sheet_id = $3",
		args: []any{t.Group, t.Member, id},
		read: one(append(places(sheetFields, found), &found.Cells, &found.Columns, &found.Answers)...),
	})
	return found, err
}

// ChangeSheet keeps what was said of a sheet.
func (s *Store) ChangeSheet(ctx context.Context, t service.Tenant, sheet imports.Stored) error {
	var id uuid.UUID
	return s.run(ctx, t, statement{
		sql: `update sheet set state = $4, columns = $5, answers = $6
			where group_id = $1 and member_id = $2 and sheet_id = $3 returning sheet_id`,
		args: []any{t.Group, t.Member, sheet.ID, sheet.State, sheet.Columns, sheet.Answers}, read: one(&id),
	})
}

// DeleteSheet forgets a sheet.
func (s *Store) DeleteSheet(ctx context.Context, t service.Tenant, id uuid.UUID) error {
	return s.run(ctx, t, statement{
		sql:  "delete from sheet where group_id = $1 and member_id = $2 and sheet_id = $3 returning sheet_id",
		args: []any{t.Group, t.Member, id}, read: one(&id),
	})
}

// SheetMemory reads what the member's headings and words mean.
func (s *Store) SheetMemory(ctx context.Context, t service.Tenant) (m imports.Memory, err error) {
	err = s.run(ctx, t, statement{
		sql:  "select columns, answers from sheet_memory where group_id = $1 and member_id = $2",
		args: []any{t.Group, t.Member},
		read: func(rows pgx.Rows) error {
			var columns, answers []byte
			_, err := pgx.ForEachRow(rows, []any{&columns, &answers}, func() error {
				if err := json.Unmarshal(columns, &m.Columns); err != nil {
					return err
				}
				return json.Unmarshal(answers, &m.Answers)
			})
			return err
		},
	})
	return m, err
}

// KeepSheetMemory keeps what the member's headings and words mean.
func (s *Store) KeepSheetMemory(ctx context.Context, t service.Tenant, m imports.Memory) error {
	return s.run(ctx, t, statement{
		sql: `insert into sheet_memory (group_id, member_id, columns, answers) values ($1, $2, $3, $4)
			on conflict (group_id, member_id) do update set columns = excluded.columns, answers = excluded.answers`,
		args: []any{t.Group, t.Member, m.Columns, m.Answers},
	})
}
