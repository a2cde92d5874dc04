package main

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// deployed is a file of what an operator runs.
func deployed(path string) string { return filepath.Join("..", "..", "..", "deploy", path) }

func readFile(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// prometheusTool finds a program of Prometheus, where deploy/test.sh puts it
// or in PATH.
func prometheusTool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if path, err = filepath.Abs(filepath.Join("..", "..", "..", "bin", name)); err == nil {
		if _, err = os.Stat(path); err == nil {
			return path
		}
	}
	t.Fatalf("%s is missing; sh deploy/test.sh fetches it (%v)", name, err)
	return ""
}

// dashboard is what is looked at of Grafana's dashboard.
type dashboard struct {
	UID        string
	Templating struct {
		List []struct{ Name, Type string }
	}
	Panels []struct {
		ID          int
		Type        string
		Title       string
		Description string
		GridPos     struct{ X, Y, W, H int }
		Datasource  struct{ UID string }
		Targets     []struct{ Expr string }
	}
}

// asShown is a query with every variable at its first value: all.
var asShown = strings.NewReplacer("$job", ".*", "$instance", ".*", "$group", ".*")

func readDashboard(t *testing.T) dashboard {
	t.Helper()
	var d dashboard
	if err := json.Unmarshal([]byte(readFile(t, deployed("grafana/askwright.json"))), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestPrometheusFiles(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{
		{"check", "config", deployed("prometheus/prometheus.yml")}, // and the rules that it names
		{"test", "rules", deployed("prometheus/rules.test.yml")},
	} {
		if out, err := exec.CommandContext(t.Context(), prometheusTool(t, "promtool"), args...).CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v\n%s", args, err, out)
		}
	}
	rules, tests := readFile(t, deployed("prometheus/rules.yml")), readFile(t, deployed("prometheus/rules.test.yml"))
	guide := readFile(t, filepath.Join("..", "..", "..", "docs", "operations.md"))
	for _, m := range regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(rules, -1) {
		if !strings.Contains(tests, "alertname: "+m[1]) || !strings.Contains(guide, "`"+m[1]+"`") {
			t.Errorf("the alert %s is not tested or not in docs/operations.md", m[1])
		}
	}
}

func TestDashboardLayout(t *testing.T) {
	t.Parallel()
	d := readDashboard(t)
	variables := map[string]bool{}
	for _, v := range d.Templating.List {
		variables[v.Name] = v.Type == "datasource" || v.Type == "query"
	}
	variable := regexp.MustCompile(`\$\{?(\w+)`)
	ids, taken := map[int]bool{}, map[[2]int]string{}
	for _, p := range d.Panels {
		if ids[p.ID] || p.Title == "" {
			t.Errorf("panel %d %q: its id is another's, or it has no title", p.ID, p.Title)
		}
		ids[p.ID] = true
		if p.Type != "row" && (len(p.Targets) == 0 || p.Description == "" || p.Datasource.UID != "${datasource}") {
			t.Errorf("%q has no query or no description, or does not take the chosen data source", p.Title)
		}
		for _, target := range p.Targets {
			for _, used := range variable.FindAllStringSubmatch(target.Expr, -1) {
				if !variables[used[1]] {
					t.Errorf("%q asks with $%s, which cannot be chosen", p.Title, used[1])
				}
			}
		}
		if p.GridPos.X+p.GridPos.W > 24 {
			t.Errorf("%q is outside of the 24 columns", p.Title)
		}
		for x := range p.GridPos.W {
			for y := range p.GridPos.H {
				cell := [2]int{p.GridPos.X + x, p.GridPos.Y + y}
				if other := taken[cell]; other != "" && other != p.Title {
					t.Errorf("%q lies over %q", p.Title, other)
				}
				taken[cell] = p.Title
			}
		}
	}
}

// Every file of this folder that the compose file mounts is there.
func TestComposeMountsWhatIsThere(t *testing.T) {
	t.Parallel()
	mounts := regexp.MustCompile(`- \./([^:\s]+):`).FindAllStringSubmatch(readFile(t, deployed("compose.yaml")), -1)
	for _, m := range mounts {
		if _, err := os.Stat(deployed(m[1])); err != nil {
			t.Error(err)
		}
	}
	if len(mounts) < 6 {
		t.Errorf("%d mounts found", len(mounts))
	}
}

// A real Prometheus scrapes the program with the deployed configuration and
// answers every query of the dashboard.
func TestPrometheusScrapesAndTheDashboardIsAnswered(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	key := mustRun(t, map[string]string{"ASKWRIGHT_DATA": data, "ASKWRIGHT_LOG_LEVEL": "error"}, "demo")
	stamp := filepath.Join(t.TempDir(), "last-success")
	if err := os.WriteFile(stamp, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	c := startChildWith(t, data, []string{"ASKWRIGHT_BACKUP_STAMP=" + stamp}, "serve")
	useDemo(t, c.urls[0], key)
	metrics := awaitMetrics(t, c.urls[1])
	checkMetrics(t, metrics)
	p := startPrometheus(t, strings.TrimPrefix(c.urls[1], "http://"))
	for range 40 { // rates need requests between scrapes
		useDemo(t, c.urls[0], key)
		if samples := p.query(t, "askwright:http_request_duration_seconds:p95_5m"); len(samples) > 0 && samples[0] != "NaN" {
			break
		}
		time.Sleep(250 * time.Millisecond)
	}
	names := p.names(t)
	known := regexp.MustCompile(`\b(askwright[a-z0-9_:]+|process_[a-z_]+|go_[a-z_]+)\b`)
	for _, panel := range readDashboard(t).Panels {
		for _, target := range panel.Targets {
			if samples := p.query(t, asShown.Replace(target.Expr)); len(samples) == 0 && !strings.Contains(target.Expr, "askwright_model_fit_") { // nothing was fitted lately
				t.Errorf("%q: no answer to %s", panel.Title, target.Expr)
			}
			for _, name := range known.FindAllString(target.Expr, -1) {
				if !slices.Contains(names, name) {
					t.Errorf("%q asks for %s, which there is not", panel.Title, name)
				}
			}
		}
	}
	for _, name := range known.FindAllString(readFile(t, deployed("prometheus/rules.yml")), -1) {
		if !slices.Contains(names, name) {
			t.Errorf("the rules ask for %s, which there is not", name)
		}
	}
	p.wantRules(t)
}

// awaitMetrics returns the metrics once the listings were reviewed.
func awaitMetrics(t *testing.T, ops string) string {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
		status, body := get(t, ops+"/metrics", "")
		if status == http.StatusOK && strings.Contains(body, "askwright_open_listings") {
			return body
		}
		if time.Now().After(deadline) {
			t.Fatalf("the listings are not reviewed: %d\n%s", status, body)
		}
	}
}

// checkMetrics holds the metrics against Prometheus' conventions, their table in
// docs/operations.md, and the labels that are allowed: all of few values.
func checkMetrics(t *testing.T, metrics string) {
	t.Helper()
	lint := exec.CommandContext(t.Context(), prometheusTool(t, "promtool"), "check", "metrics")
	lint.Stdin = strings.NewReader(metrics)
	if out, err := lint.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
	guide := readFile(t, filepath.Join("..", "..", "..", "docs", "operations.md"))
	told, there := map[string]bool{}, map[string]bool{}
	for _, m := range regexp.MustCompile("(?m)^\\| `(askwright_[a-z_]+)").FindAllStringSubmatch(guide, -1) {
		told[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`(?m)^# HELP (askwright_[a-z_]+) `).FindAllStringSubmatch(metrics, -1) {
		there[m[1]] = true
	}
	if !maps.Equal(told, there) {
		t.Errorf("docs/operations.md tells of\n%v\nthere are\n%v", slices.Sorted(maps.Keys(told)), slices.Sorted(maps.Keys(there)))
	}
	allowed := []string{"category", "go_version", "le", "method", "quantile", "refusal", "result", "route", "state", "status", "version"}
	series := 0
	for _, m := range regexp.MustCompile(`(?m)^askwright_[a-z_]+(?:\{(.*)\})? `).FindAllStringSubmatch(metrics, -1) {
		series++
		for _, label := range regexp.MustCompile(`(\w+)="`).FindAllStringSubmatch(m[1], -1) {
			if !slices.Contains(allowed, label[1]) {
				t.Errorf("the label %s is new: has it few values? %s", label[1], m[0])
			}
		}
	}
	t.Logf("%d series of askwright in %d bytes", series, len(metrics))
	if series > 1000 {
		t.Errorf("%d series, of the demo and a few requests", series)
	}
}

// prometheusServer is a running Prometheus.
type prometheusServer struct{ url string }

// startPrometheus runs it with the deployed files, on another target and faster.
func startPrometheus(t *testing.T, target string) prometheusServer {
	t.Helper()
	folder := t.TempDir()
	config := readFile(t, deployed("prometheus/prometheus.yml"))
	for old, changed := range map[string]string{"askwright:8081": target, "15s": "1s"} {
		if !strings.Contains(config, old) {
			t.Fatalf("prometheus.yml holds no %s", old)
		}
		config = strings.ReplaceAll(config, old, changed)
	}
	for name, text := range map[string]string{"prometheus.yml": config, "rules.yml": readFile(t, deployed("prometheus/rules.yml"))} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	address := freeAddress(t)
	log := &strings.Builder{}
	cmd := exec.Command(prometheusTool(t, "prometheus"), "--config.file="+filepath.Join(folder, "prometheus.yml"),
		"--storage.tsdb.path="+filepath.Join(folder, "data"), "--web.listen-address="+address, "--log.level=warn")
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
		if t.Failed() {
			t.Logf("Prometheus says:\n%s", log)
		}
	})
	p := prometheusServer{url: "http://" + address}
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
		if status, _, err := send(t.Context(), http.MethodGet, p.url+"/-/ready", "", ""); err == nil && status == http.StatusOK {
			return p
		}
		if time.Now().After(deadline) {
			t.Fatal("Prometheus does not start")
		}
	}
}

// freeAddress is a local address that nobody listened on just now.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := new(net.ListenConfig).Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func (p prometheusServer) ask(t *testing.T, path string, into any) {
	t.Helper()
	_, body := get(t, p.url+path, "")
	var answer struct {
		Status, Error string
		Data          json.RawMessage
	}
	if err := json.Unmarshal([]byte(body), &answer); err != nil || answer.Status != "success" {
		t.Fatalf("%s: %v %s %s", path, err, answer.Status, answer.Error)
	}
	if err := json.Unmarshal(answer.Data, into); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

// query returns the values that a query gives now. One that cannot be parsed
// fails the test.
func (p prometheusServer) query(t *testing.T, expr string) []string {
	t.Helper()
	var data struct {
		Result []struct{ Value [2]any }
	}
	p.ask(t, "/api/v1/query?query="+url.QueryEscape(expr), &data)
	var values []string
	for _, r := range data.Result {
		values = append(values, fmt.Sprint(r.Value[1]))
	}
	return values
}

// names are those of all metrics there are.
func (p prometheusServer) names(t *testing.T) []string {
	t.Helper()
	var names []string
	p.ask(t, "/api/v1/label/__name__/values", &names)
	return names
}

// wantRules checks that Prometheus has evaluated every rule without an error,
// and that nothing is wrong with the program.
func (p prometheusServer) wantRules(t *testing.T) {
	t.Helper()
	var data struct {
		Groups []struct {
			Rules []struct{ Name, Health, State, LastError string }
		}
	}
	p.ask(t, "/api/v1/rules", &data)
	evaluated := 0
	for _, g := range data.Groups {
		for _, r := range g.Rules {
			// Pending is what a loaded machine may make of a slow answer.
			if evaluated++; r.Health != "ok" || r.State == "firing" {
				t.Errorf("%s: %s, %s %s", r.Name, r.Health, r.State, r.LastError)
			}
		}
	}
	if rules := readFile(t, deployed("prometheus/rules.yml")); evaluated != strings.Count(rules, "- alert:")+strings.Count(rules, "- record:") {
		t.Errorf("%d rules were evaluated, not all", evaluated)
	}
}
