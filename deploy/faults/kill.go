package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// kill ends PostgreSQL and the program in turn while rows are sent, each until it
// is acknowledged, and looks for them afterwards.
func (r *report) kill(ctx context.Context, p plan, m *member) error {
	writing, end := context.WithCancel(ctx)
	defer end()
	var all sync.WaitGroup
	acknowledged := make([][]string, 8)
	var tried atomic.Int64
	for w := range acknowledged {
		all.Go(func() {
			for i := 0; writing.Err() == nil; i++ {
				ref := fmt.Sprintf("K%d-%d", w, i)
				for ctx.Err() == nil { // the last one, too, until it is acknowledged
					tried.Add(1)
					status, _, err := m.send(ctx, http.MethodPost, "/v1/listings", m.key, ref, `{"ref":"`+ref+`","category":"desk","stage":"found"}`)
					if err == nil && status < 300 {
						acknowledged[w] = append(acknowledged[w], ref)
						break
					}
					time.Sleep(20 * time.Millisecond)
				}
			}
		})
	}
	all.Go(func() { r.outage = m.watch(writing) })
	for range p.kills {
		if err := r.killPostgresOnce(ctx, m); err != nil {
			return err
		}
		m.kill()
		if err := m.start(ctx); err != nil {
			return err
		}
		time.Sleep(200 * time.Millisecond)
	}
	end()
	all.Wait()
	r.tried = int(tried.Load())
	return r.count(ctx, m, acknowledged)
}

// killPostgresOnce measures how long it takes until the program is ready again.
func (r *report) killPostgresOnce(ctx context.Context, m *member) error {
	if err := m.killPostgres(); err != nil {
		return err
	}
	began := time.Now()
	for time.Sleep(50 * time.Millisecond); ; time.Sleep(10 * time.Millisecond) {
		if status, _, err := m.send(ctx, http.MethodGet, "/v1/group", m.key, "", ""); err == nil && status == http.StatusOK {
			r.healed = max(r.healed, time.Since(began))
			return nil
		}
		if time.Since(began) > time.Minute {
			return fmt.Errorf("not back a minute after the kill of PostgreSQL")
		}
	}
}

// watch returns the longest time without an answer.
func (m *member) watch(ctx context.Context) (longest time.Duration) {
	last := time.Now()
	for ctx.Err() == nil {
		if status, _, err := m.send(ctx, http.MethodGet, "/readyz", "", "", ""); err == nil && status == http.StatusOK {
			longest = max(longest, time.Since(last))
			last = time.Now()
		}
		time.Sleep(10 * time.Millisecond)
	}
	return longest
}

// count looks for what was acknowledged.
func (r *report) count(ctx context.Context, m *member, acknowledged [][]string) error {
	status, text, err := m.send(ctx, http.MethodGet, "/v1/listings.csv?fields=ref", m.key, "", "")
	if err != nil || status != http.StatusOK {
		return fmt.Errorf("export: %d %w", status, err)
	}
	there := map[string]int{}
	for line := range strings.Lines(text) {
		there[strings.TrimSpace(line)]++
	}
	for _, refs := range acknowledged {
		r.acknowledged += len(refs)
		for _, ref := range refs {
			if there[ref] == 0 {
				r.lost++
			}
			r.doubled += max(0, there[ref]-1)
		}
	}
	return nil
}
