package db

import (
	"context"
	_ "embed"
	"regexp"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
)

// writtenSchema is what all migrations make; a test keeps it so.
//
//go:embed schema.sql
var writtenSchema string

// selectCatalogue names what the schema has: columns, constraints, indexes and
// policies. Not how they are written: that differs between versions of the server.
const selectCatalogue = `
	select 'the column ' || c.relname || '.' || a.attname from pg_attribute a join pg_class c on c.oid = a.attrelid
	where c.relnamespace = 'askwright'::regnamespace and c.relkind = 'r' and c.relname <> 'schema_version' and a.attnum > 0 and not a.attisdropped
	union all
	select 'the constraint ' || c.relname || '.' || x.conname from pg_constraint x join pg_class c on c.oid = x.conrelid
	where x.connamespace = 'askwright'::regnamespace and x.contype in ('c', 'f', 'p', 'u') and c.relname <> 'schema_version'
	union all
	select 'the index ' || indexname from pg_indexes i where schemaname = 'askwright'
	and not exists (select from pg_constraint where connamespace = 'askwright'::regnamespace and conname = i.indexname)
	union all
	select 'the policy ' || tablename || '.' || policyname from pg_policies where schemaname = 'askwright'`

var (
	madeTable  = regexp.MustCompile(`^create table (?:askwright\.)?(\w+) \($`)
	madeLine   = regexp.MustCompile(`^    (constraint )?"?([a-z]\w*)"? `)
	madeIndex  = regexp.MustCompile(`^CREATE (?:UNIQUE )?INDEX (\w+) ON `)
	madePolicy = regexp.MustCompile(`^create policy (\w+) on (?:askwright\.)?(\w+) `)
)

// catalogueOf names the same of a written schema.
func catalogueOf(written string) []string {
	var names []string
	table := ""
	for line := range strings.Lines(written) {
		if m := madeTable.FindStringSubmatch(strings.TrimSpace(line)); m != nil {
			table = m[1]
		} else if m := madeLine.FindStringSubmatch(line); m != nil {
			kind := "the column "
			if m[1] != "" {
				kind = "the constraint "
			}
			names = append(names, kind+table+"."+m[2])
		} else if m := madeIndex.FindStringSubmatch(line); m != nil {
			names = append(names, "the index "+m[1])
		} else if m := madePolicy.FindStringSubmatch(line); m != nil {
			names = append(names, "the policy "+m[2]+"."+m[1])
		}
	}
	return names
}

// strangeSchema tells what the schema lacks or has beside what the migrations of
// this program make: files that were changed after a database had run them, or a
// change by hand.
func (s *Store) strangeSchema(ctx context.Context) (faults []string, err error) {
	rows, err := s.pool.Query(ctx, selectCatalogue)
	if err != nil {
		return nil, translate(err)
	}
	there, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, translate(err)
	}
	wanted := catalogueOf(writtenSchema)
	for _, name := range wanted {
		if !slices.Contains(there, name) {
			faults = append(faults, name+" is missing: the database was migrated by other files; "+
				"restore its last backup into a new one, or add it by hand")
		}
	}
	for _, name := range there {
		if !slices.Contains(wanted, name) {
			faults = append(faults, name+" was made by no migration")
		}
	}
	slices.Sort(faults)
	return faults, nil
}
