package wire

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"askwright/service"
)

// The row that is documented is the row that is served.
func TestListingRowIsTheRegistry(t *testing.T) {
	var names []string
	row := reflect.TypeFor[ListingRow]()
	for i := range row.NumField() {
		name, _, _ := strings.Cut(row.Field(i).Tag.Get("json"), ",")
		names = append(names, name)
		column, ok := service.ColumnByName(name)
		if !ok {
			continue
		}
		if isList := row.Field(i).Type.Kind() == reflect.Slice; isList != (column.Entries != nil) {
			t.Errorf("%s is documented as %s, the registry has the entries %v", name, row.Field(i).Type, column.Entries)
		}
		of := row.Field(i).Type
		if of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		isNumber := of.Kind() != reflect.String && column.Entries == nil
		if isNumber != column.Kind.IsNumeric() {
			t.Errorf("%s is documented as %s, but the registry says numeric: %t", name, row.Field(i).Type, column.Kind.IsNumeric())
		}
		if enums := row.Field(i).Tag.Get("enums"); column.Closed && name != "condition_found" && enums != strings.Join(column.Words, ",") {
			t.Errorf("%s is documented with the values %q, the registry has %v", name, enums, column.Words)
		}
	}
	var registry []string
	for _, c := range service.Columns {
		registry = append(registry, c.Name)
	}
	if diff := cmp.Diff(registry, names); diff != "" {
		t.Errorf("registry against documentation: %s", diff)
	}
}

// Every filter of the service is documented, and no other.
func TestQueriesAreTheService(t *testing.T) {
	var wanted []string
	wanted = append(wanted, service.WordFilters...)
	for _, name := range service.DateFilters {
		wanted = append(wanted, name+"_from", name+"_to")
	}
	for _, name := range service.NumberFilters {
		wanted = append(wanted, name+"_min", name+"_max")
	}
	var got []string
	query := reflect.TypeFor[ListingQuery]()
	for i := range query.NumField() {
		name := query.Field(i).Tag.Get("form")
		if !slices.Contains([]string{"", "member", "piece", "unlisted", "sort", "limit", "cursor"}, name) {
			got = append(got, name)
		}
	}
	slices.Sort(wanted)
	slices.Sort(got)
	if diff := cmp.Diff(wanted, got); diff != "" {
		t.Error(diff)
	}
}
