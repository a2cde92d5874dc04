package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PNG writes the picture with smooth edges.
func (p *Picture) PNG() ([]byte, error) {
	canvas := image.NewRGBA(image.Rect(0, 0, p.Width, p.Height))
	draw.Draw(canvas, canvas.Bounds(), image.NewUniform(paper.rgba()), image.Point{}, draw.Src)
	for i := range p.shapes {
		if err := p.shapes[i].paint(canvas); err != nil {
			return nil, err
		}
	}
	var out bytes.Buffer
	encoder := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := encoder.Encode(&out, canvas); err != nil {
		return nil, fmt.Errorf("write the picture: %w", err)
	}
	return out.Bytes(), nil
}

func (c Colour) rgba() color.RGBA {
	return color.RGBA{R: uint8(c >> 16), G: uint8(c >> 8), B: uint8(c), A: 255}
}

func (s *shape) paint(canvas *image.RGBA) error {
	if s.text != "" {
		return s.paintText(canvas)
	}
	r := vector.NewRasterizer(canvas.Rect.Dx(), canvas.Rect.Dy())
	colour := s.fill
	if colour != none {
		polygon(r, s.points)
	} else {
		colour = s.stroke
		s.outline(r)
	}
	r.Draw(canvas, canvas.Bounds(), image.NewUniform(colour.rgba()), image.Point{})
	return nil
}

// polygon adds an area. All turn the same way, so that overlapping ones add up.
func polygon(r *vector.Rasterizer, points []Point) {
	turn := 0.0
	for i, a := range points {
		b := points[(i+1)%len(points)]
		turn += a.X*b.Y - b.X*a.Y
	}
	at := func(i int) (x, y float32) {
		if turn < 0 {
			i = len(points) - 1 - i
		}
		return float32(points[i].X), float32(points[i].Y)
	}
	r.MoveTo(at(0))
	for i := 1; i < len(points); i++ {
		r.LineTo(at(i))
	}
	r.ClosePath()
}

// outline adds the stroke of a polyline: a rectangle for each stretch, and a
// disc where two meet.
func (s *shape) outline(r *vector.Rasterizer) {
	half := s.width / 2
	walked := 0.0
	for i := 1; i < len(s.points); i++ {
		a, b := s.points[i-1], s.points[i]
		length := math.Hypot(b.X-a.X, b.Y-a.Y)
		if length == 0 {
			continue
		}
		dx, dy := (b.X-a.X)/length, (b.Y-a.Y)/length
		for _, piece := range s.dashes(walked, length) {
			from, to := Point{a.X + dx*piece[0], a.Y + dy*piece[0]}, Point{a.X + dx*piece[1], a.Y + dy*piece[1]}
			polygon(r, []Point{
				{from.X - dy*half, from.Y + dx*half}, {to.X - dy*half, to.Y + dx*half},
				{to.X + dy*half, to.Y - dx*half}, {from.X + dy*half, from.Y - dx*half},
			})
		}
		walked += length
		if s.dash == 0 && i+1 < len(s.points) {
			polygon(r, disc(b, half))
		}
	}
}

// dashes are the stretches of [0, length] that are drawn, walked pixels after
// the beginning of the line.
func (s *shape) dashes(walked, length float64) [][2]float64 {
	if s.dash == 0 {
		return [][2]float64{{0, length}}
	}
	var out [][2]float64
	for begin := -math.Mod(walked, 2*s.dash); begin < length; begin += 2 * s.dash {
		if end := math.Min(begin+s.dash, length); end > 0 {
			out = append(out, [2]float64{math.Max(begin, 0), end})
		}
	}
	return out
}

func disc(at Point, radius float64) []Point {
	points := make([]Point, 12)
	for i := range points {
		turn := 2 * math.Pi * float64(i) / float64(len(points))
		points[i] = Point{at.X + radius*math.Cos(turn), at.Y + radius*math.Sin(turn)}
	}
	return points
}

// The Go fonts have the digits, the Latin, Greek and Cyrillic letters.
var (
	regular = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(goregular.TTF) })
	bold    = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(gobold.TTF) })
)

// face is a font at a size; a face is not safe for concurrent use.
func face(size float64, isBold bool) (font.Face, error) {
	load := regular
	if isBold {
		load = bold
	}
	f, err := load()
	if err != nil {
		return nil, fmt.Errorf("read the font: %w", err)
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
}

func (s *shape) paintText(canvas *image.RGBA) error {
	f, err := face(s.size, s.bold)
	if err != nil {
		return err
	}
	defer f.Close()
	d := font.Drawer{Dst: canvas, Src: image.NewUniform(s.fill.rgba()), Face: f}
	at := s.points[0]
	x := fixed.Int26_6(at.X*64) - fixed.Int26_6(float64(d.MeasureString(s.text))*s.anchor)
	d.Dot = fixed.Point26_6{X: x, Y: fixed.Int26_6(at.Y * 64)}
	d.DrawString(s.text)
	return nil
}

// textWidth is how wide a text will be, in either form of the picture.
func textWidth(text string, size float64, isBold bool) float64 {
	f, err := face(size, isBold)
	if err != nil {
		return size * float64(len(text)) / 2
	}
	defer f.Close()
	return float64(font.MeasureString(f, text)) / 64
}
