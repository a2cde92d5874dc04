package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// flood lets one group do its worst at once, within its limits, and measures what
// another one, which reads a page again and again, feels of it.
func (r *report) flood(ctx context.Context, p plan, loud, quiet, spy *member) error {
	if err := loud.fill(ctx, "L", p.rows); err != nil {
		return err
	}
	if err := quiet.fill(ctx, "Q", 100); err != nil {
		return err
	}
	targets, err := quiet.ids(ctx)
	if err != nil {
		return err
	}
	mine, err := loud.ids(ctx)
	if err != nil {
		return err
	}
	r.quiet, _ = quiet.reads(ctx, p.flood/3)
	flooding, end := context.WithCancel(ctx)
	var all sync.WaitGroup
	for range p.readers {
		all.Go(func() { loud.doNotRead(flooding) })
	}
	again := func(do func(i int)) {
		all.Go(func() {
			for i := 0; flooding.Err() == nil; i++ {
				do(i)
			}
		})
	}
	sent := func(method, path, body string) {
		status, _, err := loud.send(flooding, method, path, loud.key, "", body)
		if err != nil || status == http.StatusTooManyRequests {
			pause(flooding, time.Second)
		}
	}
	again(func(i int) { sent(http.MethodPost, "/v1/imports?commit=true", rows(fmt.Sprint("I", i), 0, p.rows)) })
	again(func(int) {
		sent(http.MethodPost, "/v1/imports?commit=true&dry_run=true", "ref,category\n"+strings.Repeat(",", p.commas))
	})
	again(func(int) { sent(http.MethodPost, "/v1/imports", strings.Repeat(",", p.commas)) }) // a sheet as it is
	again(func(int) { sent(http.MethodGet, "/v1/reports/profit.xlsx", "") })
	for w := range p.writers {
		again(func(i int) {
			sent(http.MethodPost, "/v1/listings/"+mine[w%len(mine)]+"/events", fmt.Sprintf(`{"kind":"interest","views":%d}`, i+1))
		})
	}
	all.Go(func() { r.spy(flooding, spy, targets) })
	all.Go(func() {
		for flooding.Err() == nil {
			status, _, err := quiet.send(flooding, http.MethodGet, "/readyz", "", "", "")
			if flooding.Err() == nil && (err != nil || status != http.StatusOK) {
				r.unready++
			}
			pause(flooding, 50*time.Millisecond)
		}
	})
	r.loud, r.reads = quiet.reads(ctx, p.flood)
	end()
	all.Wait()
	return nil
}

// pause waits, but not beyond the end.
func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// reads reads a page ten times a second, which is within the limit, and returns the
// 99th of 100 durations.
func (m *member) reads(ctx context.Context, span time.Duration) (p99 time.Duration, n int) {
	var took []time.Duration
	for began := time.Now(); time.Since(began) < span; pause(ctx, 110*time.Millisecond) {
		at := time.Now()
		status, _, err := m.send(ctx, http.MethodGet, "/v1/listings?limit=5", m.key, "", "")
		if err != nil || status != http.StatusOK {
			took = append(took, time.Minute) // worse than any
			continue
		}
		took = append(took, time.Since(at))
	}
	slices.Sort(took)
	return took[len(took)*99/100], len(took)
}

// doNotRead asks for all rows and takes nothing of the answer, until it is cut off;
// and again.
func (m *member) doNotRead(ctx context.Context) {
	for ctx.Err() == nil {
		conn, err := new(net.Dialer).DialContext(ctx, "tcp", m.address)
		if err != nil {
			return
		}
		if c, ok := conn.(*net.TCPConn); ok {
			_ = c.SetReadBuffer(4096)
		}
		fmt.Fprintf(conn, "GET /v1/listings.csv HTTP/1.1\r\nHost: %s\r\nAuthorization: Bearer %s\r\n\r\n", m.address, m.key)
		pause(ctx, 30*time.Second)
		conn.Close()
	}
}

// spy asks for what belongs to another group, to read and to change.
func (r *report) spy(ctx context.Context, m *member, ids []string) {
	for ctx.Err() == nil {
		for _, id := range ids {
			for _, c := range [][2]string{
				{http.MethodGet, ""}, {http.MethodGet, "/events"}, {http.MethodGet, "/suggestion"}, {http.MethodDelete, ""},
			} {
				status, _, err := m.send(ctx, c[0], "/v1/listings/"+id+c[1], m.key, "", "")
				switch {
				case err == nil && status < 300:
					r.leaks++
				case status == http.StatusTooManyRequests:
					pause(ctx, 100*time.Millisecond)
				}
			}
		}
	}
}
