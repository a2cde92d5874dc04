package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"

	"askwright/api/wire"
	"askwright/db"
	"askwright/db/private"
	"askwright/service"
	"askwright/service/app"
	"askwright/service/demo"
	"askwright/service/members"
)

// withService runs do beside a running server, or with one started for the
// while.
func withService(ctx context.Context, p *program, do func(*app.App) error) error {
	logger := p.config.logger()
	database, err := openDatabase(ctx, p.config, logger, sharedServer)
	if err != nil {
		return err
	}
	defer database.close(ctx)
	return do(app.New(app.Options{Store: database.store, Now: time.Now, Logger: logger}))
}

func makeDemo(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error { return installDemo(ctx, p, s) })
}

func installDemo(ctx context.Context, p *program, s *app.App) error {
	key, err := demo.Install(ctx, s, time.Now())
	if err != nil {
		return err
	}
	fmt.Fprintf(p.out, "The demo group %s is on file. This key is for 30 days and is shown once:\n%s\n", demo.GroupName, key)
	return nil
}

// printDemoRows writes all rows as one spreadsheet, to try an import with.
func printDemoRows(_ context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	var rows []demo.Row
	for _, m := range demo.Generate(demo.Today(time.Now()), demo.Seed) {
		rows = append(rows, m.Rows...)
	}
	return demo.WriteCSV(p.out, rows)
}

func createGroup(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("group create NAME", flag.ContinueOnError)
	currency := flags.String("currency", "", "ISO 4217 code of all amounts, such as USD")
	unit := flags.String("unit", "", "of lengths without one: in or cm")
	timezone := flags.String("timezone", "", "whose days the dates are, such as America/Chicago")
	hourValue := flags.String("hour-value", "", "what an hour of work must bring")
	member := flags.String("member", "", "name of the first member")
	name, err := parse(flags, args)
	if err != nil {
		return err
	}
	unitOfMoney, known := service.CurrencyByCode(*currency)
	if !known {
		return fmt.Errorf("--currency: expected an ISO 4217 code such as USD, have %q", *currency)
	}
	g := service.NewGroup(name, unitOfMoney)
	g.Unit, g.TimeZone = *unit, *timezone
	if *hourValue != "" {
		if g.HourValue, err = service.ParseMoney(*hourValue, unitOfMoney, '.'); err != nil {
			return fmt.Errorf("--hour-value: %w", err)
		}
	}
	return withService(ctx, p, func(s *app.App) error {
		made, key, err := s.Members.CreateGroup(ctx, g, *member)
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "The group %s has the id %s. This admin key of %s is shown once:\n%s\n", made.Name, made.ID, *member, key)
		return nil
	})
}

func listGroups(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		groups, err := s.Members.Groups(ctx)
		for _, g := range groups {
			fmt.Fprintf(p.out, "%s  %s  %s  %s\n", g.ID, g.CreatedAt.Format(time.DateOnly), g.Currency.Code, g.Name)
		}
		return err
	})
}

func createKey(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("key create", flag.ContinueOnError)
	group := flags.String("group", "", "id of the group")
	member := flags.String("member", "", "name of the member")
	scope := flags.String("scope", service.ScopeWrite, "read, write, admin or feed")
	label := flags.String("label", "", "what the key is for")
	days := flags.Int("days", 0, "until the key expires; 0: never")
	if _, err := parse(flags, args); err != nil {
		return err
	}
	id, err := groupID(*group)
	if err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		operator, err := s.Members.Operator(ctx, id, *member)
		if err != nil {
			return err
		}
		wanted := members.NewKey{Scope: *scope, Label: *label}
		if *days > 0 {
			wanted.ExpiresAt = operator.Now.AddDate(0, 0, *days)
		}
		_, key, err := s.Members.CreateKey(ctx, operator, wanted)
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "This %s key of %s is shown once:\n%s\n", *scope, operator.Member, key)
		return nil
	})
}

func groupID(text string) (uuid.UUID, error) {
	id, err := uuid.Parse(text)
	if err != nil {
		return id, fmt.Errorf("--group: %q is not an id; askwright group list shows them", text)
	}
	return id, nil
}

// exportGroup hands out all rows of all members, each with what only they see.
func exportGroup(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("group export", flag.ContinueOnError)
	group := flags.String("group", "", "id of the group")
	folder := flags.String("folder", "", "where to write a CSV file for each member; default: JSON on standard output")
	if err := onlyFlags(flags, args); err != nil {
		return err
	}
	id, err := groupID(*group)
	if err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		members, err := s.Members.Operators(ctx, id)
		if err != nil {
			return err
		}
		if *folder == "" {
			return printGroup(ctx, p.out, s, members)
		}
		return writeMembers(ctx, p.out, s, members, *folder)
	})
}

func rowsOf(ctx context.Context, s *app.App, a *service.Actor) func(func(*service.Listing) error) error {
	return func(yield func(*service.Listing) error) error {
		return s.Recording.EachListing(ctx, a, service.Query{Member: a.MemberID, Sort: []service.SortKey{{Column: "ref"}}}, yield)
	}
}

// printGroup writes {"group": …, "members": [{"name": …, "rows": […]}]}, row by
// row; the rows are such as the import takes.
func printGroup(ctx context.Context, out io.Writer, s *app.App, members []*service.Actor) error {
	settings, err := wire.GroupJSON(members[0])
	if err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	fmt.Fprintf(w, "{\"group\": %s,\n \"members\": [", settings)
	for i, a := range members {
		name, err := json.Marshal(a.Member)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s\n  {\"name\": %s, \"rows\": [", comma(i), name)
		n := 0
		err = rowsOf(ctx, s, a)(func(l *service.Listing) error {
			_, err := fmt.Fprintf(w, "%s\n    %s", comma(n), wire.RowJSON(a, l))
			n++
			return err
		})
		if err != nil {
			return err
		}
		fmt.Fprint(w, "]}")
	}
	fmt.Fprint(w, "]}\n")
	return w.Flush()
}

// comma goes between things, not before the first.
func comma(i int) string {
	if i == 0 {
		return ""
	}
	return ","
}

// writeMembers writes a CSV file for each member and overwrites none.
func writeMembers(ctx context.Context, out io.Writer, s *app.App, members []*service.Actor, folder string) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	for _, a := range members {
		path := filepath.Join(folder, fileName(a.Member)+".csv")
		file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return err
		}
		err = wire.WriteRows(file, a, rowsOf(ctx, s, a))
		if closing := file.Close(); err == nil {
			err = closing
		}
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		fmt.Fprintln(out, path)
	}
	return nil
}

// fileName is a member's name without what a file's may not hold.
func fileName(member string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(" -_", r) {
			return r
		}
		return '_'
	}, member)
}

func deleteGroup(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("group delete", flag.ContinueOnError)
	group := flags.String("group", "", "id of the group")
	yes := flags.Bool("yes", false, "really, and for good")
	if err := onlyFlags(flags, args); err != nil {
		return err
	}
	id, err := groupID(*group)
	if err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		members, err := s.Members.Operators(ctx, id)
		if err != nil {
			return err
		}
		name := members[0].Group.Name
		if !*yes {
			return fmt.Errorf("%s with its %d members and all their rows would be removed for good; export it first (askwright group export), then add --yes", name, len(members))
		}
		if err := s.Members.DeleteGroup(ctx, id); err != nil {
			return err
		}
		fmt.Fprintf(p.out, "The group %s is removed.\n", name)
		return nil
	})
}

// verify reports what does not agree; anything is an error.
func verify(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		all, err := s.Members.Verify(ctx)
		if err != nil {
			return err
		}
		faults := 0
		for _, v := range all {
			if g, c := v.Group, v.Counts; g != nil {
				fmt.Fprintf(p.out, "%s  %s: %d members, %d keys, %d pieces, %d rows, %d events, %d cost lines, %d suggestions\n",
					g.ID, g.Name, c.Members, c.Keys, c.Pieces, c.Listings, c.Events, c.CostLines, c.Suggestions)
			}
			for _, fault := range v.Faults {
				fmt.Fprintln(p.out, "  wrong:", fault)
			}
			faults += len(v.Faults)
		}
		if faults > 0 {
			return fmt.Errorf("%d things do not agree", faults)
		}
		fmt.Fprintln(p.out, "All agrees.")
		return nil
	})
}

// onlyFlags reads flags and takes no word beside them.
func onlyFlags(flags *flag.FlagSet, args []string) error {
	word, err := parse(flags, args)
	if err == nil && word != "" {
		err = fmt.Errorf("%s: unexpected %q", flags.Name(), word)
	}
	return err
}

func migrate(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	if p.config.DatabaseURL != "" {
		if err := db.Migrate(ctx, p.config.DatabaseURL, ""); err != nil {
			return err
		}
	} else {
		server, err := privateServer(ctx, p.config, p.config.logger(), sharedServer)
		if err != nil {
			return err
		}
		d := &database{server: server, logger: p.config.logger()}
		defer d.close(ctx)
		if err := db.Migrate(ctx, server.AdminDSN(), private.LoginRole); err != nil {
			return err
		}
	}
	fmt.Fprintln(p.out, "The database is up to date.")
	return nil
}

func printVersion(_ context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	fmt.Fprintln(p.out, "askwright", version())
	return nil
}

// parse reads flags in any place and at most one word beside them.
func parse(flags *flag.FlagSet, args []string) (word string, err error) {
	for len(args) > 0 {
		if err := flags.Parse(args); err != nil {
			return "", err
		}
		if args = flags.Args(); len(args) > 0 {
			if word != "" {
				return "", fmt.Errorf("%s: unexpected %q; put quotes around a name of several words", flags.Name(), args[0])
			}
			word, args = args[0], args[1:]
		}
	}
	return word, nil
}

func noArguments(args []string) error {
	if len(args) > 0 {
		return errors.New("unexpected " + args[0])
	}
	return nil
}
