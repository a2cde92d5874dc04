package wire

import (
	"strings"
)

// Trimmed leaves out cents that are none.
func Trimmed(_ float64, text string) string {
	if whole, cents, ok := strings.Cut(text, "."); ok && strings.Trim(cents, "0") == "" {
		return whole
	}
	return text
}
