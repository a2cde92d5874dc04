// Command bench tells what a request takes of the processors, in the program and
// in PostgreSQL together, against one read of a row with gin and pgx alone, and
// how that grows with the listings of the group. See docs/performance.md.
package main

import (
	"context"
	_ "embed"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"askwright/db"
	"askwright/db/private"
	"askwright/service"
	"askwright/service/app"
)

//go:embed fill.sql
var fillSQL string

// config is what is measured.
type config struct {
	sizes  []int
	only   *regexp.Regexp // names of requests
	budget time.Duration  // of processor time for each figure
	json   string         // file for the figures; empty: none
	folder string         // for profiles; empty: none are taken

	fewest int // turns for a figure, after as many that are not counted
	atOnce int // requests of a turn, where nothing is to be done before each: the counters lag by a tick
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	err := run(ctx, os.Args[1:])
	stop()
	if err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	if len(args) == 2 && args[0] == "serve" {
		return serve(ctx, args[1])
	}
	c, err := readConfig(args)
	if err != nil {
		return err
	}
	figures, err := measureAll(ctx, c)
	if err != nil {
		return err
	}
	fmt.Print(figures.table())
	if c.json != "" {
		return figures.write(c.json)
	}
	return nil
}

func readConfig(args []string) (c config, err error) {
	c.fewest, c.atOnce = 3, 20
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	sizes := flags.String("sizes", "1000,10000,100000", "listings of each group")
	only := flags.String("only", ".", "a regular expression: requests to measure, by name")
	flags.DurationVar(&c.budget, "budget", 400*time.Millisecond, "processor time for each figure")
	flags.StringVar(&c.json, "json", "", "a file for the figures")
	flags.StringVar(&c.folder, "profiles", "", "a folder for a profile of the program in each request")
	if err := flags.Parse(args); err != nil {
		return c, err
	}
	for size := range strings.SplitSeq(*sizes, ",") {
		n, err := strconv.Atoi(size)
		if err != nil || n < 100 {
			return c, fmt.Errorf("sizes: %q: expected whole numbers from 100 up, separated by commas", size)
		}
		c.sizes = append(c.sizes, n)
	}
	c.only, err = regexp.Compile(*only)
	return c, err
}

// bench is what is measured on: a private PostgreSQL with a group of each size,
// and the measured server.
type bench struct {
	config
	admin      *pgx.Conn // superuser
	postmaster int       // process id
	server     *served
	groups     []group
}

// group is a workshop with so many listings.
type group struct {
	id       string
	size     int
	key      string
	listings []string // ids of some
}

// measureAll starts all that it needs in a folder of its own and leaves nothing.
func measureAll(ctx context.Context, c config) (out *figures, err error) {
	folder, err := os.MkdirTemp("", "askwright-bench-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	server, err := private.Start(ctx, private.Options{
		DataDir: folder, Logger: slog.New(slog.DiscardHandler),
		Settings: map[string]string{"autovacuum": "off", "fsync": "off"}, // what comes at its own time is no request's
	})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, server.Stop(context.WithoutCancel(ctx))) }()
	if err := db.Migrate(ctx, server.AdminDSN(), private.LoginRole); err != nil {
		return nil, err
	}
	b := &bench{config: c}
	if b.postmaster, err = postmasterOf(folder); err != nil {
		return nil, err
	}
	if b.admin, err = pgx.Connect(ctx, server.AdminDSN()); err != nil {
		return nil, err
	}
	defer b.admin.Close(context.WithoutCancel(ctx))
	if err := b.fill(ctx, server.DSN()); err != nil {
		return nil, err
	}
	if b.server, err = startServer(ctx, server.DSN()); err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, b.server.stop()) }()
	return b.measure(ctx)
}

// postmasterOf reads the process id of the server on a data folder.
func postmasterOf(folder string) (int, error) {
	text, err := os.ReadFile(filepath.Join(folder, "postgresql", "postmaster.pid"))
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	return strconv.Atoi(strings.TrimSpace(first))
}

// fill makes the groups, as the server knows them after a while.
func (b *bench) fill(ctx context.Context, dsn string) error {
	store, err := db.Open(ctx, dsn, db.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	bench := app.New(app.Options{Store: store, Now: time.Now, Logger: slog.New(slog.DiscardHandler)})
	euro, _ := service.CurrencyByCode("EUR")
	// Keys are sure to be there: their checks would take most of the time.
	if _, err := b.admin.Exec(ctx, "set session_replication_role = replica"); err != nil {
		return err
	}
	for _, size := range b.sizes {
		settings := service.NewGroup("Bench", euro)
		settings.HourValue = 2000 // without it no purchase limit is given
		made, key, err := bench.Members.CreateGroup(ctx, settings, "Maren")
		if err != nil {
			return err
		}
		g := group{id: made.ID.String(), size: size, key: key}
		began := time.Now()
		if _, err := b.admin.Exec(ctx, fillSQL, g.id, size); err != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "filled a group of %d listings in %.1f s\n", size, time.Since(began).Seconds())
		rows, err := b.admin.Query(ctx, `select listing_id::text from askwright.listing
			where group_id = $1 and outcome = 'sold' order by ref desc limit 50`, g.id)
		if err != nil {
			return err
		}
		if g.listings, err = pgx.CollectRows(rows, pgx.RowTo[string]); err != nil {
			return err
		}
		b.groups = append(b.groups, g)
	}
	if _, err = b.admin.Exec(ctx, "vacuum analyze"); err != nil {
		return err
	}
	for _, g := range b.groups { // the first fit of a large group takes longer than a request may
		actor, err := bench.Members.Authenticate(ctx, g.key)
		if err != nil {
			return err
		}
		if _, err := bench.Fits.Current(ctx, actor); err != nil {
			return err
		}
	}
	return nil
}
