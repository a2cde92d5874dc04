package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"testing"

	"askwright/api/chart"
)

var curve = chart.Curve{
	Title: "B-17 <&>", WithinDays: 30, Low: 235, Likely: 306, High: 400, Now: 420,
	Points: []chart.Chance{{Ask: 200, Sold: 0.92}, {Ask: 220, Sold: 0.85}, {Ask: 240, Sold: 0.77}, {Ask: 260, Sold: 0.7}, {Ask: 280, Sold: 0.61}, {Ask: 300, Sold: 0.53}, {Ask: 330, Sold: 0.43}, {Ask: 360, Sold: 0.33}, {Ask: 400, Sold: 0.22}, {Ask: 450, Sold: 0.13}},
	Choices: []chart.Choice{{Name: "quick", Chance: chart.Chance{Ask: 240, Sold: 0.77}}, {Name: "balanced", Chance: chart.Chance{Ask: 300, Sold: 0.53}},
		{Name: "patient", Chance: chart.Chance{Ask: 330, Sold: 0.43}}},
}

var ages = chart.Ages{Title: "47 open listings", Bands: []chart.AgeBand{{Label: "0–14", Count: 12}, {Label: "15–30", Count: 9}, {Label: "31–60", Count: 14}, {Label: "61–90", Count: 5}, {Label: "over 90", Count: 7}}}

func read(t *testing.T, p *chart.Picture) image.Image {
	t.Helper()
	text, err := p.PNG()
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if img.Bounds().Dx() != p.Width || img.Bounds().Dy() != p.Height {
		t.Errorf("the PNG is %v, want %d × %d", img.Bounds(), p.Width, p.Height)
	}
	if folder := os.Getenv("PICTURES"); folder != "" { // to look at them
		name := filepath.Join(folder, t.Name()+"-"+img.Bounds().Max.String())
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name+".png", text, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name+".svg", p.SVG(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return img
}

// luminance after ITU-R BT.709, 0 to 255: what is left in black and white.
func luminance(c color.Color) float64 {
	r, g, b, _ := c.RGBA()
	return (0.2126*float64(r) + 0.7152*float64(g) + 0.0722*float64(b)) / 257
}

func TestPicturesAtAllSizes(t *testing.T) {
	for _, size := range [][2]int{{480, 270}, {1600, 1200}, {120, 60}, {100, 21}, {40, 16}, {300, 160}} {
		for name, p := range map[string]*chart.Picture{
			"curve": curve.Draw(size[0], size[1]), "ages": ages.Draw(size[0], size[1]),
			"refusal": chart.Curve{Title: "B-17", Refusal: "Only 3 sales are on file; 8 are needed."}.Draw(size[0], size[1]),
			"nothing": chart.Ages{Title: "0 open listings", Bands: []chart.AgeBand{{Label: "0–14", Count: 0}}}.Draw(size[0], size[1]),
		} {
			t.Run(name, func(t *testing.T) {
				img, dark := read(t, p), 0
				for y := range img.Bounds().Dy() {
					for x := range img.Bounds().Dx() {
						if luminance(img.At(x, y)) < 110 {
							dark++
						}
					}
				}
				if dark < 5 {
					t.Errorf("%v: only %d dark pixels: nothing can be read", size, dark)
				}
				d := xml.NewDecoder(bytes.NewReader(p.SVG()))
				for {
					if _, err := d.Token(); errors.Is(err, io.EOF) {
						break
					} else if err != nil {
						t.Fatalf("the SVG is not well-formed: %v", err)
					}
				}
			})
		}
	}
}

// Older bands are clearly darker in grey, too: steps of at least 25 of 255.
func TestBarsDifferInBlackAndWhite(t *testing.T) {
	equal := chart.Ages{Title: "x", Bands: []chart.AgeBand{{Label: "a", Count: 4}, {Label: "b", Count: 4}, {Label: "c", Count: 4}, {Label: "d", Count: 4}, {Label: "e", Count: 4}}}
	img := read(t, equal.Draw(200, 20)) // without figures: bars of full height
	before := 255.0
	for i := range 5 {
		at := luminance(img.At(20+39*i, 12))
		if at > before-25 {
			t.Errorf("bar %d has luminance %.0f after %.0f", i+1, at, before)
		}
		before = at
	}
}

// The bars' heights are in proportion to the counts.
func TestBarsAreInProportion(t *testing.T) {
	img := read(t, chart.Ages{Title: "x", Bands: []chart.AgeBand{{Label: "a", Count: 10}, {Label: "b", Count: 5}}}.Draw(106, 25))
	height := func(x int) (n int) {
		for y := range 25 {
			if luminance(img.At(x, y)) < 235 && luminance(img.At(x, y)) > 120 {
				n++
			}
		}
		return n
	}
	if a, b := height(28)-1, height(78)-1; a != 20 || b != 10 { // less the base line
		t.Errorf("heights %d and %d, want 20 and 10", a, b)
	}
}

// The line runs through the chances: at its first ask high, at its last low.
func TestTheCurveFalls(t *testing.T) {
	bare := curve
	bare.Choices, bare.Low, bare.Now = nil, 0, 0
	img := read(t, bare.Draw(200, 103)) // 3 px below, 4 above: a chance of 1 is at 4, of 0 at 100
	at := func(x int) int {
		darkest, where := 255.0, -1
		for y := range img.Bounds().Dy() {
			if l := luminance(img.At(x, y)); l < darkest {
				darkest, where = l, y
			}
		}
		return where
	}
	// x of an ask: 4 + (ask - 192.5) / 265 * 192
	for ask, sold := range map[float64]float64{220: 0.85, 260: 0.7, 360: 0.33, 400: 0.22} {
		x := int(4 + (ask-192.5)/265*192)
		if got, wanted := at(x), 100-sold*96; float64(got) < wanted-3 || float64(got) > wanted+3 {
			t.Errorf("at an ask of %.0f the line is at %d, want %.0f", ask, got, wanted)
		}
	}
}
