package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
)

// bareRead is what all else is told against.
var bareRead = request{
	name: "bare read",
	send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		_, err := b.call(ctx, g, http.MethodGet, "/bare/"+g.id+"/"+g.listings[i%len(g.listings)], "", "")
		return 1, err
	},
}

// requests are what is measured, in the order of the table.
var requests = []request{
	{name: "one listing", target: 2, send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		_, err := b.call(ctx, g, http.MethodGet, "/v1/listings/"+g.listings[i%len(g.listings)], "", "")
		return 1, err
	}},
	{name: "one suggestion", target: 8, send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		_, err := b.call(ctx, g, http.MethodPost, "/v1/suggestions", jsonType, subjects(i, 1, ""))
		return 1, err
	}},
	{name: "suggestion within 500", target: 6, prepare: nothing, send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		const many = 500
		_, err := b.call(ctx, g, http.MethodPost, "/v1/suggestions", jsonType, subjects(i, many, ""))
		return many, err
	}},
	{name: "listings?limit=50", target: 10, send: func(ctx context.Context, b *bench, g group, _ int) (float64, error) {
		_, err := b.call(ctx, g, http.MethodGet, "/v1/listings?limit=50", "", "")
		return 1, err
	}},
	{name: "comparables", target: 4, send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		path := fmt.Sprintf("/v1/comparables?category=%s&width=%d&depth=45&height=80", categories[i%len(categories)], 70+i%60)
		_, err := b.call(ctx, g, http.MethodGet, path, "", "")
		return 1, err
	}},
	{name: "purchase limit", target: 12, send: func(ctx context.Context, b *bench, g group, i int) (float64, error) {
		plan := `,"planned_finish":"painted","planned_color":"navy","price":"20"`
		_, err := b.call(ctx, g, http.MethodPost, "/v1/purchase-limits", jsonType, subjects(i, 1, plan))
		return 1, err
	}},
	{name: "review, repeated", target: 1, prepare: nothing, send: reviews},
	{name: "review, after a change", target: 8, prepare: changeOne, send: reviews},
	{name: "import of 1,000 new rows", prepare: nothing, send: importNew},
}

const jsonType = "application/json"

var categories = []string{"desk", "sideboard", "dresser", "nightstand", "coffee_table", "bookcase"}

// subjects are n pieces to be priced, each with more members of the object.
func subjects(i, n int, more string) string {
	list := make([]string, n)
	for j := range list {
		k := i*n + j
		list[j] = fmt.Sprintf(`{"category":%q,"width":"%d","depth":"%d","height":"%d","finish":"painted","condition":"good"%s}`,
			categories[k%len(categories)], 70+k%50, 38+k%20, 65+k%80, more)
	}
	return `{"subjects":[` + strings.Join(list, ",") + `]}`
}

// nothing has a request measured by itself.
func nothing(context.Context, *bench, group, int) error { return nil }

// changeOne changes one listing, and with it all that rests on the change number.
func changeOne(ctx context.Context, b *bench, g group, i int) error {
	body := fmt.Sprintf(`{"views":%d}`, 1000+i)
	_, err := b.call(ctx, g, http.MethodPatch, "/v1/listings/"+g.listings[0], jsonType, body)
	return err
}

// reviews reads where all open listings stand, page by page.
func reviews(ctx context.Context, b *bench, g group, _ int) (answers float64, err error) {
	for path := "/v1/reviews?limit=1000"; ; {
		body, err := b.call(ctx, g, http.MethodGet, path, "", "")
		if err != nil {
			return 0, err
		}
		var page struct {
			Items []json.RawMessage
			Next  *string
		}
		if err := json.Unmarshal(body, &page); err != nil {
			return 0, err
		}
		if len(page.Items) == 0 {
			return 0, fmt.Errorf("there is no review in %.200s", body)
		}
		answers += float64(len(page.Items))
		if page.Next == nil {
			return answers, nil
		}
		path = "/v1/reviews?limit=1000&cursor=" + url.QueryEscape(*page.Next)
	}
}

// importNew imports rows with refs of their own.
func importNew(ctx context.Context, b *bench, g group, i int) (float64, error) {
	const rows = 1000
	var csv strings.Builder
	csv.WriteString("ref,category,width,depth,height,finish,color,listed_on,ask,outcome,ended_on,sale_price,hours,materials_cost\r\n")
	for j := range rows {
		fmt.Fprintf(&csv, "N-%d-%d,%s,%d,45,80,painted,navy,2024-03-%02d,%d,sold,2024-04-%02d,%d,3.5,22\r\n",
			i, j, categories[j%len(categories)], 70+j%60, 1+j%28, 200+j%90, 1+j%28, 180+j%80)
	}
	_, err := b.call(ctx, g, http.MethodPost, "/v1/imports", "text/csv", csv.String())
	return rows, err
}
