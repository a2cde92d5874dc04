// Package prose says in words what rows say in columns.
package prose

import (
	"fmt"
	"strings"

	"askwright/service"
)

var colorWords = map[string]string{
	"off_white": "off-white", "natural": "natural color", "light_wood": "light wood tone", "mid_wood": "mid-brown wood tone",
	"dark_wood": "dark wood tone",
}

func colorInWords(color string) string {
	if text, ok := colorWords[color]; ok {
		return text
	}
	return service.InWords(color)
}

var finishWords = map[string]string{
	"original": "original finish", "cleaned": "cleaned original finish", "clear": "clear finish", "raw": "raw wood",
	"whitewashed": "whitewashed", "two_tone": "two-tone",
}

// Surface says what the surface is: painted grey; clear finish, dark wood tone.
func Surface(finish, color string) string {
	text, ok := finishWords[finish]
	if !ok {
		text = service.InWords(finish)
	}
	switch {
	case color == "":
		return text
	case text == "":
		return colorInWords(color)
	case finish == "painted" || finish == "two_tone":
		return text + " " + colorInWords(color)
	}
	return text + ", " + colorInWords(color)
}

var topcoatWords = map[string]string{
	"wax": "wax topcoat", "oil": "oil topcoat", "water_clear": "water-based clear coat", "oil_clear": "oil-based clear coat",
	"lacquer": "lacquer", "shellac": "shellac", "none": "",
}

func topcoatInWords(topcoat, sheen string) string {
	text, ok := topcoatWords[topcoat]
	if !ok && topcoat != "" {
		text = service.InWords(topcoat) + " topcoat"
	}
	return strings.TrimSpace(strings.ReplaceAll(sheen, "_", "-") + " " + text)
}

var hardwareWords = map[string]string{
	"original": "original hardware", "polished": "polished hardware", "painted": "painted hardware", "replaced": "new hardware",
	"missing": "hardware missing", "none": "",
}

func hardwareInWords(hardware string) string {
	text, ok := hardwareWords[hardware]
	if !ok && hardware != "" {
		return service.InWords(hardware) + " hardware"
	}
	return text
}

// Look is the whole surface of a row, "" where nothing of it is known.
func Look(l *service.Listing) string {
	second := ""
	if s := Surface(l.SecondFinish, l.SecondColor); s != "" {
		second = "with " + s
	}
	first := service.Joined(" ", Surface(l.Finish, l.Color), second)
	return service.Joined(", ", first, topcoatInWords(l.Topcoat, l.Sheen), hardwareInWords(l.Hardware))
}

// What names the piece: walnut sideboard; set of 4 dining chairs.
func What(l *service.Listing) string {
	wood := l.Wood
	if wood == "unknown_hardwood" {
		wood = "hardwood"
	}
	name := service.InWords(l.Category)
	if l.SetSize > 1 {
		return fmt.Sprintf("set of %d %s", l.SetSize, service.Joined(" ", service.InWords(wood), service.Plural(name)))
	}
	return service.Joined(" ", service.InWords(wood), name)
}

// GradeInWords says a condition; "" where it is unknown.
func GradeInWords(grade int) string {
	if grade == 0 {
		return ""
	}
	return service.InWords(service.Conditions[grade-1]) + " condition"
}
