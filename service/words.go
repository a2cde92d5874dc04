package service

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Rows in plain words, for stories and for the text of a listing. What is
// unknown is left out; an open list's new word is written as it is.

// inWords writes a word of a list: mid_century becomes mid century.
func inWords(word string) string { return strings.ReplaceAll(word, "_", " ") }

var colorWords = map[string]string{
	"off_white": "off-white", "natural": "natural color", "light_wood": "light wood tone", "mid_wood": "mid-brown wood tone",
	"dark_wood": "dark wood tone",
}

func colorInWords(color string) string {
	if text, ok := colorWords[color]; ok {
		return text
	}
	return inWords(color)
}

var finishWords = map[string]string{
	"original": "original finish", "cleaned": "cleaned original finish", "clear": "clear finish", "raw": "raw wood",
	"whitewashed": "whitewashed", "two_tone": "two-tone",
}

// surface says what the surface is: painted grey; clear finish, dark wood tone.
func surface(finish, color string) string {
	text, ok := finishWords[finish]
	if !ok {
		text = inWords(finish)
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
		text = inWords(topcoat) + " topcoat"
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
		return inWords(hardware) + " hardware"
	}
	return text
}

// look is the whole surface of a row, "" where nothing of it is known.
func (l *Listing) look() string {
	second := ""
	if s := surface(l.SecondFinish, l.SecondColor); s != "" {
		second = "with " + s
	}
	first := joined(" ", surface(l.Finish, l.Color), second)
	return joined(", ", first, topcoatInWords(l.Topcoat, l.Sheen), hardwareInWords(l.Hardware))
}

// what names the piece: walnut sideboard; set of 4 dining chairs.
func (l *Listing) what() string {
	wood := l.Wood
	if wood == "unknown_hardwood" {
		wood = "hardwood"
	}
	name := inWords(l.Category)
	if l.SetSize > 1 {
		return fmt.Sprintf("set of %d %s", l.SetSize, joined(" ", inWords(wood), plural(name)))
	}
	return joined(" ", inWords(wood), name)
}

// plural is the English plural of a piece's name.
func plural(name string) string {
	switch {
	case strings.HasPrefix(name, "chest of"):
		return "chests" + strings.TrimPrefix(name, "chest")
	case strings.HasSuffix(name, "ch"), strings.HasSuffix(name, "s"):
		return name + "es"
	case strings.HasSuffix(name, "y") && !strings.HasSuffix(name, "ay"):
		return strings.TrimSuffix(name, "y") + "ies"
	}
	return name + "s"
}

func gradeInWords(grade int) string {
	if grade == 0 {
		return ""
	}
	return inWords(conditions[grade-1]) + " condition"
}

// joined puts the parts that are not empty together.
func joined(mark string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, mark)
}

// upperFirst begins a sentence.
func upperFirst(s string) string {
	_, size := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:size]) + s[size:]
}

// LowerFirst goes on with a sentence.
func LowerFirst(s string) string {
	_, size := utf8.DecodeRuneInString(s)
	return strings.ToLower(s[:size]) + s[size:]
}

// short writes an amount as it is said: 480, not 480.00.
func (m Money) short(c Currency) string {
	text := m.Format(c)
	if whole, ok := strings.CutSuffix(text, "."+strings.Repeat("0", c.Digits)); ok {
		return whole
	}
	return text
}

// count writes a number of things: 1 day, 2 days.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
