package chart

import (
	"math"
	"strconv"
	"strings"
)

// Ages is how many listings are how old.
type Ages struct {
	Title string
	Bands []AgeBand
}

// AgeBand is one bar.
type AgeBand struct {
	Label string // "0–14"
	Count int
}

// shades go from the youngest to the oldest, each clearly darker than the one
// before in print, too.
var shades = []Colour{0xcddaea, 0x9db8d6, 0x6a92bf, 0x36679f, 0x14304f}

// Draw draws a bar for each band.
func (a Ages) Draw(width, height int) *Picture {
	p := &Picture{Width: width, Height: height, Title: a.Title}
	most := 0
	for _, b := range a.Bands {
		most = max(most, b.Count)
	}
	if most == 0 {
		p.say(a.Title, "no open listings")
		return p
	}
	small := isSmall(width, height)
	left, right, top, bottom := 3.0, float64(width)-3, 3.0, float64(height)-2
	size := math.Min(12, float64(height)/4)
	if !small {
		left, right, top, bottom = 12, float64(width)-12, 34, float64(height)-38
		size = 13
		p.write(Point{12, 20}, 0, 14, ink, true, fit(a.Title, 14, true, float64(width)-24))
		p.write(Point{right, float64(height) - 7}, 1, 11, faint, false, "active days")
	}
	counts := height >= 28
	if counts {
		top += size * 1.1
	}
	place := (right - left) / float64(len(a.Bands))
	for i, b := range a.Bands {
		from := left + place*float64(i) + place*0.1
		middle := from + place*0.4
		y := bottom - (bottom-top)*float64(b.Count)/float64(most)
		p.box(shades[min(i, len(shades)-1)], from, math.Min(y, bottom-1), from+place*0.8, bottom)
		if counts {
			p.write(Point{middle, y - size*0.25}, 0.5, size, ink, true, strconv.Itoa(b.Count))
		}
		if !small {
			p.write(Point{middle, bottom + 15}, 0.5, 11, faint, false, b.Label)
		}
	}
	p.line(faint, 1, 0, Point{left, bottom}, Point{right, bottom})
	return p
}

// fit cuts a text that is too wide.
func fit(text string, size float64, isBold bool, most float64) string {
	if textWidth(text, size, isBold) <= most {
		return text
	}
	letters := []rune(text)
	for len(letters) > 0 && textWidth(string(letters)+"…", size, isBold) > most {
		letters = letters[:len(letters)-1]
	}
	return string(letters) + "…"
}

// wrap breaks a text into lines.
func wrap(text string, size float64, isBold bool, most float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && textWidth(line+" "+word, size, isBold) > most {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	if line == "" {
		return lines
	}
	return append(lines, fit(line, size, isBold, most))
}
