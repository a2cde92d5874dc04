// Command faults does to a running askwright what breaks others, and reports what
// was tried, acknowledged, lost, doubled and seen by others. run.sh builds and
// starts it.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"time"
)

// plan is how much is done.
type plan struct {
	rows    int           // of the group that floods, and of its import
	readers int           // that do not read
	writers int           // at once, of one group
	commas  int           // bytes of a body of commas
	flood   time.Duration // how long the neighbor is watched
	kills   int           // of PostgreSQL, and as many of the program
}

var whole = plan{rows: 20_000, readers: 12, writers: 60, commas: 32 << 20, flood: 30 * time.Second, kills: 10}

// report is what came of it.
type report struct {
	tried, acknowledged, lost, doubled int
	outage                             time.Duration // the longest without an answer to /readyz
	healed                             time.Duration // the longest after a kill of PostgreSQL

	leaks       int
	quiet, loud time.Duration // the neighbor's p99 alone, and beside the flood
	reads       int
	unready     int // times that /readyz was no 200 in the flood
	verified    error
}

func (r *report) print(out io.Writer) {
	fmt.Fprintf(out, "kills: %d writes tried, %d acknowledged, %d lost, %d doubled\n", r.tried, r.acknowledged, r.lost, r.doubled)
	fmt.Fprintf(out, "longest outage %v, after a kill of PostgreSQL alone %v\n",
		r.outage.Round(time.Millisecond), r.healed.Round(time.Millisecond))
	fmt.Fprintf(out, "flood: neighbor's p99 of %d reads %v, alone %v (%.1f times); /readyz not 200: %d\n",
		r.reads, r.loud.Round(time.Millisecond), r.quiet.Round(time.Millisecond), float64(r.loud)/float64(r.quiet), r.unready)
	fmt.Fprintf(out, "rows of another group seen: %d\n", r.leaks)
	if r.verified != nil {
		fmt.Fprintln(out, "askwright verify:", r.verified)
	}
}

// isSound reports whether all that must be zero is.
func (r *report) isSound() bool {
	return r.lost+r.doubled+r.leaks+r.unready == 0 && r.verified == nil && r.acknowledged > 0
}

func main() {
	p := whole
	path := flag.String("program", "askwright", "the program")
	flag.IntVar(&p.rows, "rows", p.rows, "of the group that floods")
	flag.IntVar(&p.kills, "kills", p.kills, "of PostgreSQL, and as many of the program")
	flag.Parse()
	data, err := os.MkdirTemp("", "askwright-faults-")
	if err == nil {
		err = os.Chmod(data, 0o711) //nolint:gosec // for PostgreSQL's user
	}
	var r *report
	if err == nil {
		r, err = try(context.Background(), p, *path, data, nil)
	}
	_ = os.RemoveAll(data)
	if err != nil {
		fmt.Fprintln(os.Stderr, "faults:", err)
		os.Exit(1)
	}
	r.print(os.Stdout)
	if !r.isSound() {
		os.Exit(1)
	}
}

// try does all of the plan to a program in a folder.
func try(ctx context.Context, p plan, path, folder string, env []string) (*report, error) {
	r := &report{}
	askwright, err := newProgram(path, folder+"/data", env) //nolint:contextcheck // it only finds a free port
	if err != nil {
		return nil, err
	}
	if err := askwright.start(ctx); err != nil {
		return nil, err
	}
	defer askwright.kill()
	loud, err := askwright.newGroup(ctx, "Loud")
	if err != nil {
		return nil, err
	}
	quiet, err := askwright.newGroup(ctx, "Quiet")
	if err != nil {
		return nil, err
	}
	spy, err := askwright.newGroup(ctx, "Spy")
	if err != nil {
		return nil, err
	}
	if err := r.flood(ctx, p, loud, quiet, spy); err != nil {
		return nil, fmt.Errorf("the flood: %w", err)
	}
	writer, err := askwright.newGroup(ctx, "Writer")
	if err != nil {
		return nil, err
	}
	if err := r.kill(ctx, p, writer); err != nil {
		return nil, fmt.Errorf("the kills: %w", err)
	}
	_, r.verified = askwright.run(ctx, "verify")
	return r, askwright.stop()
}
