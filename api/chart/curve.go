package chart

import (
	"fmt"
	"math"
	"strconv"
)

// Curve is what asks lead to: the chance of a sale within some days.
type Curve struct {
	Title      string
	WithinDays int
	Points     []Chance // by rising ask
	Low, High  float64  // of the sale price; zero: unknown
	Likely     float64
	Choices    []Choice // quick, balanced, patient
	Now        float64  // the present ask; zero: none
	Refusal    string   // why there is no curve
}

// Chance is one ask with the chance of a sale, 0 to 1.
type Chance struct{ Ask, Sold float64 }

// Choice is one of the asks to choose from.
type Choice struct {
	Name string
	Chance
}

// frame is where in a picture the values stand.
type frame struct {
	left, top, right, bottom float64
	low, high                float64 // values at left and right
}

func (f frame) x(value float64) float64 {
	return f.left + (value-f.low)/(f.high-f.low)*(f.right-f.left)
}

func (f frame) y(share float64) float64 { return f.bottom - share*(f.bottom-f.top) }

func (f frame) at(c Chance) Point { return Point{f.x(c.Ask), f.y(c.Sold)} }

// isSmall tells pictures for a cell, which have no room for axes.
func isSmall(width, height int) bool { return width < 280 || height < 160 }

// Draw draws the curve: the band of the likely sale price, the chance falling
// with the ask, and the asks to choose from.
func (c Curve) Draw(width, height int) *Picture {
	p := &Picture{Width: width, Height: height, Title: c.Title}
	if len(c.Points) < 2 || c.Refusal != "" {
		p.say(c.Title, c.Refusal)
		return p
	}
	small := isSmall(width, height)
	f := frame{left: 4, top: 4, right: float64(width) - 4, bottom: float64(height) - 3}
	if !small {
		f = frame{left: 46, top: 50, right: float64(width) - 16, bottom: float64(height) - 40}
	}
	f.low, f.high = c.span()
	if c.Low > 0 {
		p.box(band, f.x(math.Max(c.Low, f.low)), f.top, f.x(math.Min(c.High, f.high)), f.bottom)
		if c.Likely > f.low && c.Likely < f.high {
			p.line(midBand, 1.5, 0, Point{f.x(c.Likely), f.top}, Point{f.x(c.Likely), f.bottom})
		}
	}
	if !small {
		p.axes(f)
		p.legend(c)
	}
	points := make([]Point, len(c.Points))
	for i, one := range c.Points {
		points[i] = f.at(one)
	}
	if c.Now >= f.low && c.Now <= f.high && c.Now > 0 {
		p.line(ink, 1.5, 4, Point{f.x(c.Now), f.top}, Point{f.x(c.Now), f.bottom})
	}
	p.line(emphasis, math.Max(1.5, math.Min(3, float64(height)/60)), 0, points...)
	radius := math.Max(2.5, math.Min(6, float64(height)/28))
	for i, choice := range c.Choices {
		p.mark(i, f.at(choice.Chance), radius)
	}
	if balanced := c.balanced(); small && balanced > 0 && height >= 28 {
		size := math.Min(float64(height)/2.6, float64(width)/5)
		p.write(Point{f.right - 1, f.top + size*0.8}, 1, size, ink, true, amount(balanced))
	}
	return p
}

// span are the asks at the ends of the picture.
func (c Curve) span() (low, high float64) {
	low, high = c.Points[0].Ask, c.Points[len(c.Points)-1].Ask
	if c.Now > 0 {
		low, high = math.Min(low, c.Now), math.Max(high, c.Now)
	}
	if margin := (high - low) * 0.03; margin > 0 {
		return low - margin, high + margin
	}
	return low - 1, high + 1
}

func (c Curve) balanced() float64 {
	for _, choice := range c.Choices {
		if choice.Name == "balanced" {
			return choice.Ask
		}
	}
	return 0
}

// mark has a shape for each choice: triangle, disc, square.
func (p *Picture) mark(i int, at Point, radius float64) {
	switch i {
	case 0:
		p.dot(ink, at, radius*1.2, 3)
	case 1:
		p.dot(ink, at, radius*1.1, 24)
	default:
		p.dot(ink, at, radius*1.2, 4)
	}
}

func (p *Picture) axes(f frame) {
	for _, share := range []float64{0, 0.25, 0.5, 0.75, 1} {
		p.line(grid, 1, 0, Point{f.left, f.y(share)}, Point{f.right, f.y(share)})
		if share != 0.25 && share != 0.75 {
			p.write(Point{f.left - 6, f.y(share) + 4}, 1, 11, faint, false, fmt.Sprintf("%.0f %%", share*100))
		}
	}
	step := niceStep((f.high - f.low) / 6)
	for value := math.Ceil(f.low/step) * step; value <= f.high; value += step {
		p.line(faint, 1, 0, Point{f.x(value), f.bottom}, Point{f.x(value), f.bottom + 4})
		p.write(Point{f.x(value), f.bottom + 16}, 0.5, 11, faint, false, amount(value))
	}
	p.write(Point{f.right, f.bottom + 32}, 1, 11, faint, false, "ask")
}

// niceStep is the least of 1, 2, 5, 10, 20, 50 … that is as large.
func niceStep(atLeast float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(atLeast)))
	for _, step := range []float64{1, 2, 5} {
		if step*power >= atLeast {
			return step * power
		}
	}
	return 10 * power
}

// legend writes the title, and what each mark is.
func (p *Picture) legend(c Curve) {
	p.write(Point{10, 18}, 0, 14, ink, true, fit(fmt.Sprintf("%s: chance of a sale in %d active days", c.Title, c.WithinDays), 14, true, float64(p.Width)-20))
	x, y := 14.0, 37.0
	item := func(draw func(at Point), text string) {
		width := textWidth(text, 11, false)
		if x+14+width > float64(p.Width)-8 {
			return
		}
		draw(Point{x, y - 4})
		p.write(Point{x + 9, y}, 0, 11, ink, false, text)
		x += width + 26
	}
	for i, choice := range c.Choices {
		item(func(at Point) { p.mark(i, at, 4.5) }, choice.Name+" "+amount(choice.Ask))
	}
	if c.Now > 0 {
		item(func(at Point) { p.line(ink, 1.5, 3, Point{at.X, at.Y - 6}, Point{at.X, at.Y + 6}) }, "now "+amount(c.Now))
	}
	if c.Low > 0 {
		item(func(at Point) {
			p.box(midBand, at.X-5, at.Y-5, at.X+5, at.Y+5)
			p.box(band, at.X-4, at.Y-4, at.X+4, at.Y+4)
		},
			"likely price "+amount(c.Low)+" to "+amount(c.High))
	}
}

// amount writes money without needless digits.
func amount(x float64) string {
	if math.Abs(x) >= 20 || x == math.Trunc(x) {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	return strconv.FormatFloat(x, 'f', 2, 64)
}

// say fills the picture with words.
func (p *Picture) say(title, words string) {
	size := math.Max(8, math.Min(14, float64(p.Height)/4))
	y := size * 1.4
	for i, text := range []string{title, words} {
		for _, line := range wrap(text, size, i == 0, float64(p.Width)-12) {
			if y > float64(p.Height) {
				return
			}
			p.write(Point{6, y}, 0, size, ink, i == 0, line)
			y += size * 1.3
		}
	}
}
