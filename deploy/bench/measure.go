package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// cost is what one request took.
type cost struct {
	Program  float64 `json:"program_ms"`  // of the processors
	Database float64 `json:"database_ms"` // of the processors
	Objects  float64 `json:"objects"`     // allocated by the program
	Bytes    float64 `json:"bytes"`       // allocated by the program
	Requests int     `json:"requests"`    // that it is the mean of
	Answers  float64 `json:"answers"`     // that one request holds: subjects, listings
}

func (c cost) total() float64 { return c.Program + c.Database }

// request is one kind of request. An answer may hold several answers: its cost is
// told for each.
type request struct {
	name   string
	target float64 // of the bare read's cost; zero: none is set
	// prepare goes before each one and is not counted; nil: nothing does.
	prepare func(ctx context.Context, b *bench, g group, i int) error
	// send makes the i-th request and tells how many answers it held.
	send func(ctx context.Context, b *bench, g group, i int) (answers float64, err error)
}

// measure measures all requests for all groups, and the bare read before each: of
// that the median counts, as other programs on the machine disturb it.
func (b *bench) measure(ctx context.Context) (*figures, error) {
	out := &figures{Sizes: b.sizes, MeasuredOn: time.Now().UTC().Format(time.DateOnly)}
	var bare []cost
	for _, r := range requests {
		if !b.only.MatchString(r.name) {
			continue
		}
		line := figure{Name: r.name, Target: r.target}
		for _, g := range b.groups {
			least, err := b.costOf(ctx, bareRead, g, b.budget/4)
			if err != nil {
				return nil, err
			}
			bare = append(bare, least)
			one, err := b.costOf(ctx, r, g, b.budget)
			if err != nil {
				return nil, fmt.Errorf("%s at %d listings: %w", r.name, g.size, err)
			}
			line.Costs = append(line.Costs, one)
			fmt.Fprintf(os.Stderr, "%-28s %8d listings: %8.2f ms program, %8.2f ms database, bare %.3f ms: %.1f\n",
				r.name, g.size, one.Program, one.Database, least.total(), one.total()/least.total())
		}
		out.Figures = append(out.Figures, line)
	}
	slices.SortFunc(bare, func(x, y cost) int { return cmp.Compare(x.total(), y.total()) })
	if len(bare) > 0 {
		out.Bare = bare[len(bare)/2]
	}
	return out, nil
}

const most = 2000 // turns for a figure

// costOf sends a kind of request, a few times unmeasured and then until so much
// processor time is spent.
func (b *bench) costOf(ctx context.Context, r request, g group, budget time.Duration) (cost, error) {
	for i := range b.fewest {
		if _, err := b.sendOne(ctx, r, g, i); err != nil {
			return cost{}, err
		}
	}
	finish := b.startProfile(ctx, r, g)
	var sum cost
	for i := 0; i < most && (i < b.fewest || sum.total() < float64(budget.Milliseconds())); i++ {
		one, err := b.sendOne(ctx, r, g, b.fewest+i)
		if err != nil {
			return cost{}, err
		}
		sum.Program, sum.Database = sum.Program+one.Program, sum.Database+one.Database
		sum.Objects, sum.Bytes = sum.Objects+one.Objects, sum.Bytes+one.Bytes
		sum.Requests, sum.Answers = sum.Requests+one.Requests, sum.Answers+one.Answers
	}
	if err := finish(); err != nil {
		return cost{}, err
	}
	n := sum.Answers
	return cost{
		Program: sum.Program / n, Database: sum.Database / n, Objects: sum.Objects / n, Bytes: sum.Bytes / n,
		Requests: sum.Requests, Answers: n / float64(sum.Requests),
	}, nil
}

// sendOne sends a request, or some where nothing goes before each.
func (b *bench) sendOne(ctx context.Context, r request, g group, i int) (c cost, err error) {
	repeat := b.atOnce
	if r.prepare != nil {
		repeat = 1
		if err := r.prepare(ctx, b, g, i); err != nil {
			return c, err
		}
	}
	before, err := b.counters(ctx)
	if err != nil {
		return c, err
	}
	for j := range repeat {
		answers, err := r.send(ctx, b, g, i*repeat+j)
		if err != nil {
			return c, err
		}
		c.Answers += answers
	}
	after, err := b.counters(ctx)
	c.Program, c.Database = after.Program-before.Program, after.Database-before.Database
	c.Objects, c.Bytes, c.Requests = after.Objects-before.Objects, after.Bytes-before.Bytes, repeat
	return c, err
}

// counters are what was spent since the processes started.
func (b *bench) counters(ctx context.Context) (c cost, err error) {
	allocated, err := b.server.allocations(ctx)
	if err != nil {
		return c, err
	}
	program, err := processorTime(b.server.command.Process.Pid)
	if err != nil {
		return c, err
	}
	database, err := processorTime(b.postmaster)
	const inMilliseconds = 1e6
	return cost{
		Program: float64(program) / inMilliseconds, Database: float64(database) / inMilliseconds,
		Objects: float64(allocated.Objects), Bytes: float64(allocated.Bytes),
	}, err
}

// startProfile begins a profile of the program, where they are asked for; finish
// waits for its end.
func (b *bench) startProfile(ctx context.Context, r request, g group) (finish func() error) {
	if b.folder == "" || r.name == bareRead.name {
		return func() error { return nil }
	}
	const seconds = 2
	done := make(chan error, 1)
	go func() {
		profile, err := get(ctx, fmt.Sprintf("%s/debug/pprof/profile?seconds=%d", b.server.url, seconds))
		name := fmt.Sprintf("%s-%d.pprof", strings.ReplaceAll(r.name, " ", "-"), g.size)
		done <- errors.Join(err, os.WriteFile(filepath.Join(b.folder, name), profile, 0o600))
	}()
	return func() error { return <-done }
}

// call sends a request and returns the body of an answer with one of the
// statuses of success.
func (b *bench) call(ctx context.Context, g group, method, path, contentType, body string) ([]byte, error) {
	request, err := http.NewRequestWithContext(ctx, method, b.server.url+path, bytes.NewBufferString(body))
	if err != nil {
		return nil, err
	}
	request.Header.Set("Authorization", "Bearer "+g.key)
	if contentType != "" {
		request.Header.Set("Content-Type", contentType)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return nil, err
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	if err == nil && response.StatusCode >= http.StatusMultipleChoices {
		const enough = 300
		err = fmt.Errorf("%s %s: %s: %.*s", method, path, response.Status, enough, answer)
	}
	return answer, err
}
