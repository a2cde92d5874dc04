package service_test

import (
	"os"
	"strings"
	"testing"

	"askwright/service"
)

func TestGuideNamesEveryColumnAndEvent(t *testing.T) {
	guide, err := os.ReadFile("../docs/api.md")
	if err != nil {
		t.Fatal(err)
	}
	names := append([]string{}, service.EventRequests...)
	for _, c := range service.Columns {
		names = append(names, c.Name)
	}
	for _, name := range names {
		if !strings.Contains(string(guide), "`"+name+"`") {
			t.Errorf("docs/api.md does not explain %s", name)
		}
	}
}
