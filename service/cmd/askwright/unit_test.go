package main

import (
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The unit of systemd gives the program time to end, tells nobody but it to, and
// lets it do little: an exposure of 2.0 of 10 at most by systemd's own measure.
func TestTheServiceOfSystemdIsSandboxed(t *testing.T) {
	t.Parallel()
	const unit = "../../../deploy/askwright.service"
	text := readFile(t, unit)
	setting := func(name string) string {
		m := regexp.MustCompile(`(?m)^` + name + `=(.*)$`).FindStringSubmatch(text)
		if m == nil {
			t.Fatalf("the unit does not set %s", name)
		}
		return m[1]
	}
	c, err := readConfig(environment(nil))
	if err != nil {
		t.Fatal(err)
	}
	patience, err := time.ParseDuration(setting("TimeoutStopSec") + "s")
	if least := c.StopTimeout + drainTime + closeTime + flushTimeout + poolTimeout + 10*time.Second; err != nil || patience < least {
		t.Errorf("it is killed after %v, %v; the end may take %v", patience, err, least)
	}
	for name, want := range map[string]string{"KillMode": "mixed", "NoNewPrivileges": "yes", "ProtectSystem": "strict", "CapabilityBoundingSet": "", "User": "askwright"} {
		if got := setting(name); got != want {
			t.Errorf("%s=%s, want %s", name, got, want)
		}
	}
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Log("systemd-analyze is not here: the exposure was not measured")
		return
	}
	out, err := exec.CommandContext(t.Context(), analyze, "security", "--offline=true", "--no-pager", "--threshold=20", unit).CombinedOutput()
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if err != nil || !strings.Contains(lines[len(lines)-1], "OK") {
		t.Errorf("%v: %s", err, lines[len(lines)-1])
	}
}
