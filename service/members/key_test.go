package members

import (
	"testing"

	"pgregory.net/rapid"

	"askwright/service"
)

func TestKeyText(t *testing.T) {
	group := service.NewID()
	for scope := range service.ScopeLetters {
		text := newSecret(group, service.ScopeLetters[scope])
		got, err := groupOfKey(text)
		if err != nil || got != group {
			t.Errorf("groupOfKey(%s) = %s, %v; want %s", text, got, err, group)
		}
		if service.IsFeedKey(text) != (scope == service.ScopeFeed) {
			t.Errorf("IsFeedKey(%s) is wrong for %s", text, scope)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := []byte(newSecret(group, service.ScopeLetters[service.ScopeRead]))
		at := rapid.IntRange(0, len(text)-1).Draw(t, "at")
		to := base62[rapid.IntRange(0, len(base62)-1).Draw(t, "to")]
		if text[at] == to {
			return
		}
		text[at] = to
		if _, err := groupOfKey(string(text)); err == nil {
			t.Fatalf("the typo %s is taken", text)
		}
	})
}
