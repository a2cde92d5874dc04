package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"askwright/db/private"
)

// config is all that the program can be told, by environment variables. The
// README's table lists the same.
type config struct {
	DatabaseURL    string        // DATABASE_URL: PostgreSQL to use; empty: a private server below Data
	Data           string        // ASKWRIGHT_DATA: folder of the private server
	PostgresBin    string        // ASKWRIGHT_POSTGRES_BIN: folder of initdb and postgres; empty: searched
	Addr           string        // ASKWRIGHT_ADDR: where the API is served
	OpsAddr        string        // ASKWRIGHT_OPS_ADDR: metrics and profiling; empty: off
	LogLevel       slog.Level    // ASKWRIGHT_LOG_LEVEL: debug, info, warn or error
	LogFormat      string        // ASKWRIGHT_LOG_FORMAT: text or json
	MaxConns       int           // ASKWRIGHT_MAX_CONNS: connections to the database
	RateLimit      int           // ASKWRIGHT_RATE_LIMIT: requests a minute and key
	ImportBytes    int           // ASKWRIGHT_IMPORT_MAX_BYTES: largest file of rows
	ImportRows     int           // ASKWRIGHT_IMPORT_MAX_ROWS: most rows of a file
	MetricsGroups  bool          // ASKWRIGHT_METRICS_GROUPS: on: metrics of listing age for each group
	Webhooks       bool          // ASKWRIGHT_WEBHOOKS: on: messages go to addresses that admins give
	Security       string        // ASKWRIGHT_SECURITY_CONTACT: whom to tell of a vulnerability; empty: nobody is named
	BackupStamp    string        // ASKWRIGHT_BACKUP_STAMP: file that backup.sh leaves; empty: no metric
	Hosts          []string      // ASKWRIGHT_HOSTS: names that the service answers to; none: any
	TrustedProxies []string      // ASKWRIGHT_TRUSTED_PROXIES: addresses whose X-Forwarded-For is believed
	StopTimeout    time.Duration // ASKWRIGHT_STOP_TIMEOUT: for requests under way at the end
}

// variable is one environment variable with its default.
type variable struct {
	name, fallback string
	read           func(c *config, text string) error
}

var variables = []variable{
	{"DATABASE_URL", "", text(func(c *config) *string { return &c.DatabaseURL })},
	{"ASKWRIGHT_DATA", "", text(func(c *config) *string { return &c.Data })},
	{"ASKWRIGHT_POSTGRES_BIN", "", text(func(c *config) *string { return &c.PostgresBin })},
	{"ASKWRIGHT_ADDR", "127.0.0.1:8080", address(func(c *config) *string { return &c.Addr })},
	{"ASKWRIGHT_OPS_ADDR", "127.0.0.1:8081", address(func(c *config) *string { return &c.OpsAddr })},
	{"ASKWRIGHT_LOG_LEVEL", "info", func(c *config, s string) error { return c.LogLevel.UnmarshalText([]byte(s)) }},
	{"ASKWRIGHT_LOG_FORMAT", "text", func(c *config, s string) error {
		c.LogFormat = s
		if s != "text" && s != "json" {
			return errors.New("expected text or json")
		}
		return nil
	}},
	{"ASKWRIGHT_MAX_CONNS", "10", number(1, 1000, func(c *config) *int { return &c.MaxConns })},
	{"ASKWRIGHT_RATE_LIMIT", "600", number(1, 1_000_000, func(c *config) *int { return &c.RateLimit })},
	{"ASKWRIGHT_IMPORT_MAX_BYTES", "33554432", number(1<<10, 1<<30, func(c *config) *int { return &c.ImportBytes })},
	{"ASKWRIGHT_IMPORT_MAX_ROWS", "50000", number(1, 1_000_000, func(c *config) *int { return &c.ImportRows })},
	{"ASKWRIGHT_METRICS_GROUPS", "off", onOff(func(c *config) *bool { return &c.MetricsGroups })},
	{"ASKWRIGHT_WEBHOOKS", "off", onOff(func(c *config) *bool { return &c.Webhooks })},
	{"ASKWRIGHT_SECURITY_CONTACT", "", func(c *config, s string) error {
		u, err := url.Parse(s)
		if s != "" && (err != nil || (u.Scheme != "mailto" && u.Scheme != "https" && u.Scheme != "tel") || strings.ContainsAny(s, " \r\n")) {
			return fmt.Errorf("%q is no mailto:, https: or tel: address", s)
		}
		c.Security = s
		return nil
	}},
	{"ASKWRIGHT_BACKUP_STAMP", "", text(func(c *config) *string { return &c.BackupStamp })},
	{"ASKWRIGHT_HOSTS", "", func(c *config, s string) error {
		for part := range strings.SplitSeq(s, ",") {
			if part = strings.ToLower(strings.TrimSpace(part)); part == "" {
				continue
			}
			if strings.ContainsAny(part, ":/ ") {
				return fmt.Errorf("%q is no name: without scheme and port", part)
			}
			c.Hosts = append(c.Hosts, part)
		}
		return nil
	}},
	{"ASKWRIGHT_TRUSTED_PROXIES", "", func(c *config, s string) error {
		for part := range strings.SplitSeq(s, ",") {
			if part = strings.TrimSpace(part); part == "" {
				continue
			}
			if _, _, err := net.ParseCIDR(part); err != nil && net.ParseIP(part) == nil {
				return fmt.Errorf("%q is no address or network", part)
			}
			c.TrustedProxies = append(c.TrustedProxies, part)
		}
		return nil
	}},
	{"ASKWRIGHT_STOP_TIMEOUT", "10s", func(c *config, s string) (err error) {
		if c.StopTimeout, err = time.ParseDuration(s); err == nil && (c.StopTimeout < 0 || c.StopTimeout > time.Hour) {
			err = errors.New("expected 0s to 1h")
		}
		return err
	}},
}

// readConfig reads the environment and complains of all that is wrong at once.
// A variable that is set but empty counts as set only where empty means "off".
func readConfig(lookup func(string) (string, bool)) (*config, error) {
	c := &config{}
	var wrong []error
	for _, v := range variables {
		text, set := lookup(v.name)
		text = strings.TrimSpace(text)
		if !set || (text == "" && v.name != "ASKWRIGHT_OPS_ADDR") {
			text = v.fallback
		}
		if err := v.read(c, text); err != nil {
			wrong = append(wrong, fmt.Errorf("%s: %w", v.name, err))
		}
	}
	if c.Data == "" {
		c.Data = private.DefaultDataDir()
	}
	folder, err := filepath.Abs(c.Data)
	if err != nil {
		wrong = append(wrong, fmt.Errorf("ASKWRIGHT_DATA: %w", err))
	}
	c.Data = folder
	return c, errors.Join(wrong...)
}

// logger writes to standard error: standard output is for answers.
func (c *config) logger() *slog.Logger {
	options := &slog.HandlerOptions{Level: c.LogLevel}
	if c.LogFormat == "json" {
		return slog.New(slog.NewJSONHandler(os.Stderr, options))
	}
	return slog.New(slog.NewTextHandler(os.Stderr, options))
}

func text(field func(*config) *string) func(*config, string) error {
	return func(c *config, s string) error {
		*field(c) = s
		return nil
	}
}

func onOff(field func(*config) *bool) func(*config, string) error {
	return func(c *config, s string) error {
		*field(c) = s == "on"
		if s != "on" && s != "off" {
			return errors.New("expected on or off")
		}
		return nil
	}
}

func address(field func(*config) *string) func(*config, string) error {
	return func(c *config, s string) error {
		*field(c) = s
		if s == "" {
			return nil
		}
		_, _, err := net.SplitHostPort(s)
		return err
	}
}

func number(low, high int, field func(*config) *int) func(*config, string) error {
	return func(c *config, s string) error {
		n, err := strconv.Atoi(s)
		if err != nil || n < low || n > high {
			return fmt.Errorf("expected %d to %d", low, high)
		}
		*field(c) = n
		return nil
	}
}
