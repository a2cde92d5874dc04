package main

import (
	"log/slog"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// environment is a lookup of just these variables.
func environment(set map[string]string) func(string) (string, bool) {
	return func(name string) (string, bool) {
		text, ok := set[name]
		return text, ok
	}
}

func TestDefaultsAreGood(t *testing.T) {
	t.Parallel()
	c, err := readConfig(environment(nil))
	if err != nil {
		t.Fatal(err)
	}
	if c.Addr != "127.0.0.1:8080" || c.OpsAddr != "127.0.0.1:8081" || c.LogLevel != slog.LevelInfo || c.StopTimeout != 10*time.Second || c.Data == "" || c.ImportRows != 50_000 {
		t.Errorf("config %+v", c)
	}
}

func TestGoodValuesAreRead(t *testing.T) {
	t.Parallel()
	c, err := readConfig(environment(map[string]string{
		"ASKWRIGHT_OPS_ADDR": "", "ASKWRIGHT_ADDR": " [::1]:0 ", "ASKWRIGHT_LOG_LEVEL": "debug", "ASKWRIGHT_LOG_FORMAT": "json",
		"ASKWRIGHT_TRUSTED_PROXIES": "10.0.0.1, 192.168.0.0/16,", "ASKWRIGHT_STOP_TIMEOUT": "90s", "ASKWRIGHT_MAX_CONNS": "",
	}))
	if err != nil {
		t.Fatal(err)
	}
	if c.OpsAddr != "" || c.Addr != "[::1]:0" || c.LogLevel != slog.LevelDebug || c.LogFormat != "json" || c.StopTimeout != 90*time.Second || c.MaxConns != 10 ||
		!slices.Equal(c.TrustedProxies, []string{"10.0.0.1", "192.168.0.0/16"}) {
		t.Errorf("config %+v", c)
	}
}

// badValues are refused by the name of their variable; a variable without any
// takes every text, and is refused where it is used.
var badValues = map[string][]string{
	"DATABASE_URL":               nil,
	"ASKWRIGHT_DATA":             nil,
	"ASKWRIGHT_POSTGRES_BIN":     nil,
	"ASKWRIGHT_HOSTS":            {"https://flip.otterford.example", "flip.otterford.example:443"},
	"ASKWRIGHT_ADDR":             {"8080", "localhost", "1:2:3"},
	"ASKWRIGHT_OPS_ADDR":         {"8081", "off"},
	"ASKWRIGHT_LOG_LEVEL":        {"loud", "1"},
	"ASKWRIGHT_LOG_FORMAT":       {"xml", "JSON"},
	"ASKWRIGHT_MAX_CONNS":        {"0", "-1", "1001", "ten", "1.5"},
	"ASKWRIGHT_RATE_LIMIT":       {"0", "many"},
	"ASKWRIGHT_IMPORT_MAX_BYTES": {"0", "32MB", "99999999999"},
	"ASKWRIGHT_IMPORT_MAX_ROWS":  {"0", "50,000"},
	"ASKWRIGHT_TRUSTED_PROXIES":  {"proxy.local", "10.0.0.1 10.0.0.2", "10.0.0.0/33"},
	"ASKWRIGHT_STOP_TIMEOUT":     {"10", "-1s", "2h"},
	"ASKWRIGHT_METRICS_GROUPS":   {"yes", "ON"},
	"ASKWRIGHT_WEBHOOKS":         {"yes", "On"},
	"ASKWRIGHT_SECURITY_CONTACT": {"me@example.org", "http://example.org", "mailto:a b"},
	"ASKWRIGHT_BACKUP_STAMP":     nil,
}

func TestBadValuesAreRefusedByName(t *testing.T) {
	t.Parallel()
	for _, v := range variables {
		bad, listed := badValues[v.name]
		if !listed {
			t.Errorf("no bad value of %s is tested", v.name)
		}
		for _, value := range bad {
			_, err := readConfig(environment(map[string]string{v.name: value}))
			if err == nil || !strings.HasPrefix(err.Error(), v.name+": ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s=%s: %v; want a refusal that names it alone", v.name, value, err)
			}
		}
	}
}

func TestAllBadValuesAreToldAtOnce(t *testing.T) {
	t.Parallel()
	err := run(t.Context(), []string{"group", "list"}, environment(map[string]string{"ASKWRIGHT_ADDR": "x", "ASKWRIGHT_MAX_CONNS": "x", "ASKWRIGHT_LOG_LEVEL": "x"}), t.Output())
	for _, name := range []string{"ASKWRIGHT_ADDR", "ASKWRIGHT_MAX_CONNS", "ASKWRIGHT_LOG_LEVEL"} {
		if err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("error %v does not name %s", err, name)
		}
	}
}

var tableRow = regexp.MustCompile("(?m)^\\| `([A-Z_]+)` \\| ([^|]*)\\|")

// The README's table lists these variables and no others, with their defaults.
func TestReadmeListsTheVariables(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]string{}
	for _, m := range tableRow.FindAllStringSubmatch(string(text), -1) {
		listed[m[1]] = strings.TrimSpace(m[2])
	}
	for _, v := range variables {
		cell, ok := listed[v.name]
		switch {
		case !ok:
			t.Errorf("the README's table has no %s", v.name)
		case v.fallback != "" && cell != "`"+v.fallback+"`":
			t.Errorf("the README gives the default of %s as %s, want `%s`", v.name, cell, v.fallback)
		}
		delete(listed, v.name)
	}
	for name := range listed {
		t.Errorf("the README's table lists %s, which the program does not read", name)
	}
}

func TestReadmeNamesTheCommands(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range commands {
		if !strings.Contains(string(text), "askwright "+c.name) {
			t.Errorf("the README does not tell of askwright %s", c.name)
		}
		if !strings.Contains(usage(), "  "+c.name+" ") {
			t.Errorf("the usage does not tell of %s", c.name)
		}
	}
}
