// Command askwright serves a group's listings, asking prices and reviews over
// HTTP, and manages groups and keys. Run it without arguments for its commands.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	_ "time/tzdata" // time zones also where the machine has none
)

func main() {
	os.Exit(exitCode())
}

func exitCode() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := run(ctx, os.Args[1:], os.LookupEnv, os.Stdout)
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return 0
	case errors.Is(err, errUsage):
		fmt.Fprintf(os.Stderr, "%v\n\n%s", err, usage())
		return 2
	default:
		fmt.Fprintln(os.Stderr, "askwright:", err)
		return 1
	}
}

// command is what the program can be asked to do.
type command struct {
	name string
	help string
	run  func(ctx context.Context, p *program, args []string) error
}

var commands = []command{
	{"serve", "serve the API", serve},
	{"demo rows", "print the demo group's rows as CSV", printDemoRows},
	{"demo", "make the demo group once, and print a key for it", makeDemo},
	{"group create", "make a group with its first member, and print an admin key", createGroup},
	{"group list", "list the groups", listGroups},
	{"group export", "print all rows of a group as JSON, or write them as CSV files", exportGroup},
	{"group delete", "remove a group with all that belongs to it", deleteGroup},
	{"member invite", "print an invitation for a new member of a group", inviteMember},
	{"key create", "print a new key of a group's member", createKey},
	{"verify", "check that what is on file agrees", verify},
	{"migrate", "bring the database up to date", migrate},
	{"version", "print the version", printVersion},
}

// program is what every command gets.
type program struct {
	config *config
	out    io.Writer
}

var errUsage = errors.New("not a command")

// run finds the command and runs it; tests call it as main does.
func run(ctx context.Context, args []string, lookup func(string) (string, bool), out io.Writer) error {
	line := strings.Join(args, " ")
	for _, c := range commands {
		if line != c.name && !strings.HasPrefix(line, c.name+" ") {
			continue
		}
		config, err := readConfig(lookup)
		if err != nil {
			return fmt.Errorf("the environment:\n%w", err)
		}
		return c.run(ctx, &program{config: config, out: out}, args[len(strings.Fields(c.name)):])
	}
	if line == "" || line == "help" || line == "-h" || line == "--help" {
		fmt.Fprint(out, usage())
		return nil
	}
	return fmt.Errorf("%w: %s", errUsage, line)
}

func usage() string {
	var b strings.Builder
	b.WriteString("askwright COMMAND\n\n")
	for _, c := range commands {
		fmt.Fprintf(&b, "  %-16s %s\n", c.name, c.help)
	}
	b.WriteString("\nSettings come from environment variables; the README lists them.\n")
	return b.String()
}
