package api_test

import (
	"context"
	"encoding/csv"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/servicetest"
)

// BenchmarkAgainstBare holds requests over the demo against the least that they
// could take: gin, pgx and encoding/csv alone, without keys, groups, rules or a
// model, over the same PostgreSQL. "ratio" is the time of the one by that of
// the other, measured in turn.
//
//	go test ./api -run xxx -bench AgainstBare -benchtime 50x
func BenchmarkAgainstBare(b *testing.B) {
	f := servicetest.Demo(b)
	s := newSite(b, f, web.Limits{RequestsPerMinute: 1e9, FailuresPerMinute: 1e9})
	bare := bareServer(b, f.DB.AdminDSN)
	rows := f.Select(b, "select ref from askwright.listing where source = 'own' and outcome = 'open' order by ref limit 1")
	id := f.Select(b, "select listing_id::text from askwright.listing where ref = '"+rows[0]+"' order by listing_id limit 1")[0]
	key := f.Keys["Maren"]
	export := s.do(b, call{method: "GET", path: "/v1/listings.csv", key: key}).body
	for _, one := range []struct {
		name  string
		ours  call
		least string
	}{
		{"a listing", call{method: "GET", path: "/v1/listings/" + id}, "/listing/" + id},
		{"all listings as CSV", call{method: "GET", path: "/v1/listings.csv"}, "/listings.csv"},
		{"the same CSV again", call{method: "POST", path: "/v1/imports?commit=true", body: export, header: []string{"Content-Type", "text/csv"}}, "/listings"},
		{"a suggestion", call{method: "POST", path: "/v1/suggestions", body: `{"subjects":[{"category":"desk","width":48}]}`}, "/listing/" + id},
		{"what needs a hand", call{method: "GET", path: "/v1/reviews"}, "/listings.csv"},
	} {
		b.Run(one.name, func(b *testing.B) {
			one.ours.key = key
			ours := func() {
				if r := s.do(b, one.ours); r.StatusCode != http.StatusOK {
					b.Fatalf("%d %s", r.StatusCode, r.body)
				}
			}
			least := call{method: one.ours.method, path: one.least, body: one.ours.body}
			if one.least != "/listings" {
				least = call{method: "GET", path: one.least}
			}
			theirs := func() {
				if r := (&site{server: bare}).do(b, least); r.StatusCode != http.StatusOK {
					b.Fatalf("%d %s", r.StatusCode, r.body)
				}
			}
			ours() // fits the model
			theirs()
			var spent [2]time.Duration
			for b.Loop() {
				for i, request := range []func(){ours, theirs} {
					start := time.Now()
					request()
					spent[i] += time.Since(start)
				}
			}
			b.ReportMetric(float64(spent[0].Nanoseconds())/float64(b.N), "ns/ours")
			b.ReportMetric(float64(spent[0])/float64(spent[1]), "ratio")
		})
	}
}

// bareServer answers from the tables with the libraries alone.
func bareServer(b *testing.B, dsn string) *httptest.Server {
	b.Helper()
	pool, err := pgxpool.New(b.Context(), dsn)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pool.Close)
	var columns []string
	for _, c := range service.Columns {
		if c.Name != "member" && !c.OwnerOnly {
			columns = append(columns, c.Name)
		}
	}
	text := strings.Join(columns, " text, ") + " text"
	if _, err := pool.Exec(b.Context(), "create schema bare; create table bare.listing ("+text+")"); err != nil {
		b.Fatal(err)
	}
	gin.SetMode(gin.ReleaseMode)
	g := gin.New()
	g.GET("/listing/:id", func(c *gin.Context) {
		var row string
		err := pool.QueryRow(c, "select row_to_json(l)::text from askwright.listing l where listing_id = $1", c.Param("id")).Scan(&row)
		answerBare(c, err, "application/json", row)
	})
	g.GET("/listings.csv", func(c *gin.Context) {
		var out strings.Builder
		w := csv.NewWriter(&out)
		err := readBare(c, pool, w)
		w.Flush()
		answerBare(c, err, "text/csv", out.String())
	})
	g.POST("/listings", func(c *gin.Context) {
		records, err := csv.NewReader(c.Request.Body).ReadAll()
		if err == nil {
			values := make([][]any, len(records)-1)
			for i, r := range records[1:] {
				for _, cell := range r[:len(columns)] {
					values[i] = append(values[i], cell)
				}
			}
			_, err = pool.CopyFrom(c, pgx.Identifier{"bare", "listing"}, columns, pgx.CopyFromRows(values))
		}
		answerBare(c, err, "application/json", "{}")
	})
	server := httptest.NewServer(g)
	b.Cleanup(server.Close)
	return server
}

func readBare(ctx context.Context, pool *pgxpool.Pool, w *csv.Writer) error {
	rows, err := pool.Query(ctx, "select ref, category, width::text, depth::text, height::text, material, wood, finish, color, listed_on::text, ask::text, outcome, ended_on::text, sale_price::text from askwright.listing order by ref")
	if err != nil {
		return err
	}
	defer rows.Close()
	cells := make([]*string, 14)
	targets := make([]any, len(cells))
	for i := range cells {
		targets[i] = &cells[i]
	}
	record := make([]string, len(cells))
	for rows.Next() {
		if err := rows.Scan(targets...); err != nil {
			return err
		}
		for i, c := range cells {
			if record[i] = ""; c != nil {
				record[i] = *c
			}
		}
		if err := w.Write(record); err != nil {
			return err
		}
	}
	return rows.Err()
}

func answerBare(c *gin.Context, err error, kind, body string) {
	if err != nil {
		c.String(http.StatusInternalServerError, "%v", err)
		return
	}
	c.Data(http.StatusOK, kind, []byte(body))
}
