package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// SVG writes the picture (W3C, SVG 1.1), without style sheets or scripts.
func (p *Picture) SVG() []byte {
	var out bytes.Buffer
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" role="img" font-family="Go, 'DejaVu Sans', Verdana, sans-serif">`,
		p.Width, p.Height, p.Width, p.Height)
	out.WriteString("<title>" + escape(p.Title) + "</title>")
	fmt.Fprintf(&out, `<rect width="100%%" height="100%%" fill="#%06x"/>`, int32(paper))
	for _, s := range p.shapes {
		s.svg(&out)
	}
	out.WriteString("</svg>\n")
	return out.Bytes()
}

func (s *shape) svg(out *bytes.Buffer) {
	if s.text != "" {
		anchor := map[float64]string{0: "start", 0.5: "middle", 1: "end"}[s.anchor]
		weight := ""
		if s.bold {
			weight = ` font-weight="bold"`
		}
		fmt.Fprintf(out, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="#%06x"%s>%s</text>`,
			short(s.points[0].X), short(s.points[0].Y), short(s.size), anchor, int32(s.fill), weight, escape(s.text))
		return
	}
	places := make([]string, len(s.points))
	for i, at := range s.points {
		places[i] = short(at.X) + "," + short(at.Y)
	}
	if s.fill != none {
		fmt.Fprintf(out, `<polygon points="%s" fill="#%06x"/>`, strings.Join(places, " "), int32(s.fill))
		return
	}
	dash := ""
	if s.dash > 0 {
		dash = ` stroke-dasharray="` + short(s.dash) + `"`
	}
	fmt.Fprintf(out, `<polyline points="%s" fill="none" stroke="#%06x" stroke-width="%s" stroke-linejoin="round"%s/>`,
		strings.Join(places, " "), int32(s.stroke), short(s.width), dash)
}

// short writes a length to a hundredth of a pixel.
func short(x float64) string {
	text := strconv.FormatFloat(x, 'f', 2, 64)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

func escape(text string) string {
	var out bytes.Buffer
	if err := xml.EscapeText(&out, []byte(text)); err != nil {
		return "" // a buffer takes everything
	}
	return out.String()
}
