package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"time"

	"github.com/google/uuid"

	"askwright/db"
	"askwright/db/private"
	"askwright/pricing"
	"askwright/service"
	"askwright/service/demo"
)

// withService runs do beside a running server, or with one started for the
// while.
func withService(ctx context.Context, p *program, do func(*service.Service) error) error {
	logger := p.config.logger()
	database, err := openDatabase(ctx, p.config, logger, sharedServer)
	if err != nil {
		return err
	}
	defer database.close(ctx)
	return do(service.New(service.Options{Store: database.store, Now: time.Now, Logger: logger}))
}

func makeDemo(ctx context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	return withService(ctx, p, func(s *service.Service) error {
		key, err := demo.Install(ctx, s, time.Now())
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "The demo group %s is on file. This key is for 30 days and is shown once:\n%s\n", demo.GroupName, key)
		return nil
	})
}

// printDemoRows writes all rows as one spreadsheet, to try an import with.
func printDemoRows(_ context.Context, p *program, args []string) error {
	if err := noArguments(args); err != nil {
		return err
	}
	var rows []demo.Row
	for _, m := range demo.Generate(pricing.DateOf(time.Now()), demo.Seed) {
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
	return withService(ctx, p, func(s *service.Service) error {
		made, key, err := s.CreateGroup(ctx, g, *member)
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
	return withService(ctx, p, func(s *service.Service) error {
		groups, err := s.Groups(ctx)
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
	id, err := uuid.Parse(*group)
	if err != nil {
		return fmt.Errorf("--group: %q is not an id; askwright group list shows them", *group)
	}
	return withService(ctx, p, func(s *service.Service) error {
		operator, err := s.Operator(ctx, id, *member)
		if err != nil {
			return err
		}
		wanted := service.NewKey{Scope: *scope, Label: *label}
		if *days > 0 {
			wanted.ExpiresAt = operator.Now.AddDate(0, 0, *days)
		}
		_, key, err := s.CreateKey(ctx, operator, wanted)
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "This %s key of %s is shown once:\n%s\n", *scope, operator.Member, key)
		return nil
	})
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
