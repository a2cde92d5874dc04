// Package chart draws the pictures that stand in cells of a spreadsheet or on a
// page: as SVG and as PNG, from the same shapes. They are made to be read at a
// few dozen pixels and in black and white: what matters differs in shape,
// darkness or dash, not only in colour.
package chart

import "math"

// Point is a place in pixels, from the upper left corner.
type Point struct{ X, Y float64 }

// Colour is 0xRRGGBB; none draws nothing.
type Colour int32

const none Colour = -1

// shape is a polygon or a polyline, or with text a line of it.
type shape struct {
	points []Point
	fill   Colour
	stroke Colour
	width  float64 // of the stroke
	dash   float64 // length of a dash and of the gap after it; zero: none

	text   string
	size   float64 // of the text's em
	anchor float64 // 0: begins at the point, 0.5: centred, 1: ends there
	bold   bool
}

// Picture is a drawing of a size.
type Picture struct {
	Width, Height int
	Title         string // for those who cannot see it
	shapes        []shape
}

func (p *Picture) area(fill Colour, points ...Point) {
	p.shapes = append(p.shapes, shape{points: points, fill: fill, stroke: none})
}

func (p *Picture) box(fill Colour, left, top, right, bottom float64) {
	p.area(fill, Point{left, top}, Point{right, top}, Point{right, bottom}, Point{left, bottom})
}

func (p *Picture) line(stroke Colour, width, dash float64, points ...Point) {
	p.shapes = append(p.shapes, shape{points: points, fill: none, stroke: stroke, width: width, dash: dash})
}

func (p *Picture) write(at Point, anchor, size float64, colour Colour, bold bool, text string) {
	p.shapes = append(p.shapes, shape{points: []Point{at}, fill: colour, stroke: none, text: text, size: size, anchor: anchor, bold: bold})
}

// dot is a regular polygon, from its top: a circle to the eye when it has many
// corners. A light rim parts it from the lines below.
func (p *Picture) dot(fill Colour, at Point, radius float64, corners int) {
	for _, r := range []struct {
		fill   Colour
		radius float64
	}{{paper, radius + 1.5}, {fill, radius}} {
		points := make([]Point, corners)
		for i := range points {
			turn := 2*math.Pi*float64(i)/float64(corners) - math.Pi/2
			if corners == 4 {
				turn += math.Pi / 4 // a square stands on its side
			}
			points[i] = Point{at.X + r.radius*math.Cos(turn), at.Y + r.radius*math.Sin(turn)}
		}
		p.area(r.fill, points...)
	}
}

const (
	paper    Colour = 0xffffff
	ink      Colour = 0x16283f
	faint    Colour = 0x5b6673
	grid     Colour = 0xd9dde2
	band     Colour = 0xe4e8ee
	midBand  Colour = 0x9aa5b1
	emphasis Colour = 0x1d4e89
)
