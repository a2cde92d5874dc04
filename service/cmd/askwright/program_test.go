package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"askwright/db"
	"askwright/db/dbtest"
	"askwright/service/demo"
)

var keyText = regexp.MustCompile(`^ask_[a-z][0-9A-Za-z]{71}$`) // 22 + 43 + 6

func TestUsage(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{nil, {"help"}, {"--help"}} {
		out, err := runCommand(t, nil, args...)
		if err != nil || !strings.Contains(out, "askwright COMMAND") {
			t.Errorf("%v: %q, %v", args, out, err)
		}
	}
	for _, args := range [][]string{{"sreve"}, {"group"}, {"serves"}, {"key", "revoke"}} {
		if _, err := runCommand(t, nil, args...); !errors.Is(err, errUsage) || !strings.Contains(err.Error(), strings.Join(args, " ")) {
			t.Errorf("%v: %v, want that it is no command", args, err)
		}
	}
	if _, err := runCommand(t, nil, "version", "please"); err == nil || !strings.Contains(err.Error(), "unexpected please") {
		t.Errorf("an argument too many: %v", err)
	}
	if out, err := runCommand(t, nil, "version"); err != nil || !strings.HasPrefix(out, "askwright ") {
		t.Errorf("version: %q, %v", out, err)
	}
}

func TestExitCodes(t *testing.T) {
	t.Parallel()
	for code, args := range map[int][]string{0: {"version"}, 1: {"version", "please"}, 2: {"sreve"}} {
		c := startChild(t, dataFolder(t), args...)
		<-c.done
		if got := c.cmd.ProcessState.ExitCode(); got != code {
			t.Errorf("askwright %v ends with %d, want %d:\n%s", args, got, code, c.logged())
		}
	}
}

func TestDemoRowsAreCSV(t *testing.T) {
	t.Parallel()
	out, err := runCommand(t, nil, "demo", "rows")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) < 300 || rows[0][0] != "ref" {
		t.Errorf("%d rows, %v; want a heading and some hundred", len(rows), err)
	}
}

// Groups and keys on a server that DATABASE_URL names.
func TestGroupsAndKeys(t *testing.T) {
	t.Parallel()
	env := map[string]string{"DATABASE_URL": dbtest.New(t).DSN, "ASKWRIGHT_LOG_LEVEL": "error"}
	key := mustRun(t, env, "group", "create", "Mill Lane", "--currency", "USD", "--unit", "in", "--timezone", "America/Chicago", "--hour-value", "18.50", "--member", "Wilda")
	if !keyText.MatchString(key) {
		t.Errorf("the last line is %q, want the key alone", key)
	}
	id, rest, _ := strings.Cut(mustRun(t, env, "group", "list"), "  ")
	if !strings.HasSuffix(rest, "  USD  Mill Lane") {
		t.Errorf("listed as %q", rest)
	}
	for _, scope := range []string{"read", "feed", "admin"} {
		if key := mustRun(t, env, "key", "create", "--group", id, "--member", "wilda", "--scope", scope, "--days", "7"); !keyText.MatchString(key) || key[4] != scope[0] {
			t.Errorf("the last line is %q, want a %s key alone", key, scope)
		}
	}
	for _, test := range []struct {
		args []string
		want string
	}{
		{[]string{"group", "create", "X", "--currency", "dollars"}, `--currency: expected an ISO 4217 code such as USD, have "dollars"`},
		{[]string{"group", "create", "X", "--currency", "USD", "--hour-value", "much"}, "--hour-value"},
		{[]string{"group", "create", "Two", "words", "--currency", "USD"}, `unexpected "words"; put quotes`},
		{[]string{"group", "create", "X", "--currency", "USD", "--unit", "ft", "--timezone", "UTC", "--member", "W"}, "unit"},
		{[]string{"group", "create", "X", "--currency", "USD", "--unit", "in", "--timezone", "Otterford", "--member", "W"}, "timezone"},
		{[]string{"group", "create", "X", "--currency", "USD", "--unit", "in", "--timezone", "UTC"}, "name"},
		{[]string{"key", "create", "--group", "Mill Lane"}, `--group: "Mill Lane" is not an id`},
		{[]string{"key", "create", "--group", id, "--member", "Nobody"}, `no member named "Nobody"; it has Wilda`},
		{[]string{"key", "create", "--group", id, "--member", "Wilda", "--scope", "root"}, "scope"},
		{[]string{"key", "create", "--group", "00000000-0000-7000-8000-000000000001", "--member", "Wilda"}, "no group with the id"},
	} {
		if _, err := runCommand(t, env, test.args...); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("askwright %s: %v, want %q", strings.Join(test.args, " "), err, test.want)
		}
	}
	if out, err := runCommand(t, env, "group", "list"); err != nil || strings.Count(out, "\n") != 1 {
		t.Errorf("groups after the refusals:\n%s%v; want one", out, err)
	}
}

func TestMigrateAGivenDatabase(t *testing.T) {
	t.Parallel()
	d := dbtest.New(t)
	env := map[string]string{"DATABASE_URL": d.AdminDSN}
	if last := mustRun(t, env, "migrate"); last != "The database is up to date." {
		t.Errorf("migrate says %q", last)
	}
	env["DATABASE_URL"] = "postgres://nobody@127.0.0.1:1/x?connect_timeout=2"
	if _, err := runCommand(t, env, "migrate"); err == nil || !strings.Contains(err.Error(), "connect to migrate") {
		t.Errorf("without a server: %v", err)
	}
	if _, err := runCommand(t, env, "serve"); err == nil || errors.Is(err, db.ErrNotMigrated) {
		t.Errorf("serve without a server: %v", err)
	}
}

// The whole of a trial: the demo without a server and beside one, its key in
// use, a second server refused, a clean stop.
func TestTrial(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	env := map[string]string{"ASKWRIGHT_DATA": data, "ASKWRIGHT_LOG_LEVEL": "error"}
	keys := []string{mustRun(t, env, "demo"), mustRun(t, env, "demo")}
	began := time.Now()
	mustRun(t, env, "group", "list")
	if took := time.Since(began); took > 8*time.Second {
		t.Errorf("a command without a server takes %s: it waits for one that nobody starts", took)
	}
	c := startChild(t, data, "serve")
	pid := postgresPID(t, data)
	api := c.urls[0]
	if status, body := get(t, api+"/readyz", ""); status != http.StatusOK {
		t.Errorf("not ready: %d %s", status, body)
	}
	before := listings(t, api, keys[0])
	if len(before) < 300 {
		t.Errorf("%d rows of the demo, want some hundred", len(before))
	}
	keys = append(keys, mustRun(t, env, "demo")) // beside the server
	for i, key := range keys {
		if !keyText.MatchString(key) {
			t.Errorf("the last line of demo is %q, want the key alone", key)
		}
		if got := listings(t, api, key); strings.Join(got, "\n") != strings.Join(before, "\n") {
			t.Errorf("with key %d %d rows, want the %d of before", i, len(got), len(before))
		}
	}
	if keys[0] == keys[1] || keys[1] == keys[2] {
		t.Error("a key was handed out twice")
	}
	id, rest, _ := strings.Cut(mustRun(t, env, "group", "list"), "  ")
	if !strings.Contains(rest, demo.GroupName) {
		t.Errorf("group list beside the server: %q", rest)
	}
	member := demo.Generate(0, demo.Seed)[1].Name
	if status, _ := get(t, api+"/v1/group", mustRun(t, env, "key", "create", "--group", id, "--member", member, "--scope", "read")); status != http.StatusOK {
		t.Errorf("a key made beside the server: status %d", status)
	}
	useDemo(t, api, keys[2])
	if status, body := get(t, c.urls[1]+"/metrics", ""); status != http.StatusOK || !strings.Contains(body, "go_goroutines") {
		t.Errorf("metrics: %d", status)
	}

	began = time.Now()
	second := startChild(t, data, "serve")
	if code := second.cmd.ProcessState.ExitCode(); code != 1 || time.Since(began) < 9*time.Second {
		t.Errorf("a second server ends with %d after %s, want 1 after 10 s", code, time.Since(began))
	}
	for _, words := range []string{data, "serve (pid " + fmt.Sprint(c.cmd.Process.Pid) + ")", "ASKWRIGHT_DATA"} {
		if !strings.Contains(second.logged(), words) {
			t.Errorf("the second server does not say %q:\n%s", words, second.logged())
		}
	}
	if status, _ := get(t, api+"/readyz", ""); status != http.StatusOK {
		t.Errorf("the first server after that: %d", status)
	}

	if code := c.end(t, syscall.SIGTERM); code != 0 {
		t.Errorf("the program ends with %d, want 0:\n%s", code, c.logged())
	}
	wantGone(t, pid)
	if _, _, err := send(t.Context(), http.MethodGet, api+"/healthz", "", ""); err == nil {
		t.Error("it still answers")
	}
	if log := c.logged(); !strings.Contains(log, "private PostgreSQL stopped") || strings.Contains(log, `"level":"ERROR"`) {
		t.Errorf("the log of a clean stop:\n%s", log)
	}
	for _, key := range keys {
		if strings.Contains(c.logged(), key) {
			t.Error("a key is in the log")
		}
	}
}

// useDemo asks for what the program is for.
func useDemo(t *testing.T, api, key string) {
	t.Helper()
	status, body := do(t, http.MethodPost, api+"/v1/suggestions", key, `{"subjects":[{"category":"sideboard","width":60,"depth":18,"height":34,"condition":"good"}],"within_days":30}`)
	var answer struct {
		Items []struct{ Ask float64 }
	}
	if err := json.Unmarshal([]byte(body), &answer); err != nil || status != http.StatusOK || len(answer.Items) != 1 || answer.Items[0].Ask <= 0 {
		t.Errorf("a suggestion: %d %v %s", status, err, body)
	}
	status, body = get(t, api+"/v1/reviews", key)
	if status != http.StatusOK || !strings.Contains(body, `"stale"`) {
		t.Errorf("the stale review: %d %.200s, want a stale listing", status, body)
	}
}

// listings returns the lines of all rows.
func listings(t *testing.T, api, key string) []string {
	t.Helper()
	status, body := get(t, api+"/v1/listings.csv?fields=id,ref,revision,ask,outcome", key)
	if status != http.StatusOK {
		t.Fatalf("listings: %d %s", status, body)
	}
	return strings.Split(strings.TrimSpace(body), "\n")[1:]
}

// With webhooks on, messages are sent while it serves, and none to this machine.
func TestServeSendsToWebhooks(t *testing.T) {
	t.Parallel()
	database := dbtest.New(t).DSN
	env := map[string]string{"DATABASE_URL": database, "ASKWRIGHT_LOG_LEVEL": "error"}
	key := mustRun(t, env, "group", "create", "Mill Lane", "--currency", "USD", "--unit", "in", "--timezone", "UTC", "--member", "Wilda")
	c := startChildWith(t, dataFolder(t), []string{"DATABASE_URL=" + database, "ASKWRIGHT_WEBHOOKS=on"}, "serve")
	status, body := do(t, http.MethodPost, c.urls[0]+"/v1/webhooks", key, `{"url":"https://localhost:1/hook"}`)
	var made struct{ ID string }
	if err := json.Unmarshal([]byte(body), &made); err != nil || status != http.StatusCreated {
		t.Fatalf("a webhook: %d %v %s", status, err, body)
	}
	hook := c.urls[0] + "/v1/webhooks/" + made.ID
	if status, body := do(t, http.MethodPost, hook+"/deliveries", key, ""); status != http.StatusNoContent {
		t.Fatalf("tested: %d %s", status, body)
	}
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
		_, body := get(t, hook+"/deliveries.csv?fields=event,state,error", key)
		if strings.Contains(body, "webhook.test,pending,the address is not public") {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("not tried: %s", body)
		}
	}
	if _, body := get(t, c.urls[1]+"/metrics", ""); !strings.Contains(body, `askwright_webhook_attempts_total{result="retried"} 1`) {
		t.Error("the attempt is not counted")
	}
}

// What was acknowledged is there after kill -9, once.
func TestAcknowledgedRowsOutliveAKill(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	env := map[string]string{"ASKWRIGHT_DATA": data, "ASKWRIGHT_LOG_LEVEL": "error"}
	key := mustRun(t, env, "group", "create", "G", "--currency", "EUR", "--unit", "cm", "--timezone", "UTC", "--member", "Wilda")
	acknowledged := map[string]bool{}
	for round := range 2 {
		c := startChild(t, data, "serve")
		var mu sync.Mutex
		var writers sync.WaitGroup
		for w := range 3 {
			writers.Go(func() {
				for i := 0; ; i++ {
					ref := fmt.Sprintf("R-%d-%d-%d", round, w, i)
					status, body, err := send(t.Context(), http.MethodPost, c.urls[0]+"/v1/listings", key,
						`{"ref":"`+ref+`","category":"desk","listed_on":"2026-01-02","ask":"100.00"}`)
					if err != nil {
						return // killed
					}
					if status != http.StatusCreated {
						t.Errorf("%s: %d %s", ref, status, body)
						return
					}
					mu.Lock()
					acknowledged[ref] = true
					mu.Unlock()
				}
			})
		}
		for mu.Lock(); len(acknowledged) < 40*(round+1) && !t.Failed(); mu.Lock() {
			mu.Unlock()
			time.Sleep(5 * time.Millisecond)
		}
		mu.Unlock()
		c.end(t, syscall.SIGKILL)
		writers.Wait()
	}
	c := startChild(t, data, "serve")
	seen := map[string]int{}
	for _, line := range listings(t, c.urls[0], key) {
		seen[strings.Split(line, ",")[1]]++
	}
	for ref := range acknowledged {
		if seen[ref] != 1 {
			t.Errorf("%s was acknowledged and is there %d times", ref, seen[ref])
		}
	}
	if len(acknowledged) < 80 {
		t.Errorf("only %d rows were acknowledged", len(acknowledged))
	}
	if code := c.end(t, syscall.SIGINT); code != 0 {
		t.Errorf("ends with %d:\n%s", code, c.logged())
	}
}
