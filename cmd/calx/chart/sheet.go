package chart

import (
	"image/color"
	"strings"
	"sync"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
)

// pointsPerPixel: 96 px = 72 pt = 1 in (W3C, CSS Values and Units Level 3, 6.2).
const (
	pointsPerPixel = 0.75
	pixelsPerInch  = 96
)

// sheet is a drawing surface in pixels with y downwards, as a person thinks of
// a picture, over a vg canvas in points with y upwards.
type sheet struct {
	c    vg.Canvas
	w, h float64 // px
	u    float64 // size of the body type, px; everything is laid out in it
}

// xy is a place on the sheet, px.
type xy struct{ x, y float64 }

func (s *sheet) pt(p xy) vg.Point {
	return vg.Point{X: vg.Length(p.x * pointsPerPixel), Y: vg.Length((s.h - p.y) * pointsPerPixel)}
}

// pen draws lines; width and dashes are in px.
type pen struct {
	color  color.NRGBA
	width  float64
	dashes []float64
}

func (s *sheet) path(pts []xy) vg.Path {
	var p vg.Path
	for i, q := range pts {
		if i == 0 {
			p.Move(s.pt(q))
			continue
		}
		p.Line(s.pt(q))
	}
	return p
}

func (s *sheet) line(p pen, pts ...xy) {
	if len(pts) < 2 {
		return
	}
	dashes := make([]vg.Length, len(p.dashes))
	for i, d := range p.dashes {
		dashes[i] = vg.Length(d * pointsPerPixel)
	}
	s.c.SetColor(p.color)
	s.c.SetLineWidth(vg.Length(p.width * pointsPerPixel))
	s.c.SetLineDash(dashes, 0)
	s.c.Stroke(s.path(pts))
}

func (s *sheet) fill(c color.NRGBA, pts ...xy) {
	if len(pts) < 3 {
		return
	}
	p := s.path(pts)
	p.Close()
	s.c.SetColor(c)
	s.c.Fill(p)
}

func (s *sheet) box(c color.NRGBA, x0, y0, x1, y1 float64) {
	s.fill(c, xy{x0, y0}, xy{x1, y0}, xy{x1, y1}, xy{x0, y1})
}

func (s *sheet) disc(c color.NRGBA, at xy, radius float64) {
	var p vg.Path
	centre, r := s.pt(at), vg.Length(radius*pointsPerPixel)
	p.Move(vg.Point{X: centre.X + r, Y: centre.Y})
	p.Arc(centre, r, 0, fullTurn)
	p.Close()
	s.c.SetColor(c)
	s.c.Fill(p)
}

// crisp moves a coordinate to the middle of a pixel, where a thin line is sharp.
func crisp(v float64) float64 { return float64(int(v)) + 0.5 }

// align says which part of a text stands at its place.
type align float64

const (
	left   align = 0
	centre align = 0.5
	right  align = 1
)

var faces = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

func face(px float64, bold bool) font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return faces().Lookup(f, vg.Length(px*pointsPerPixel))
}

// style is how a text looks; size is in px.
type style struct {
	size  float64
	bold  bool
	color color.NRGBA
}

func (st style) width(s string) float64 {
	f := face(st.size, st.bold)
	return float64(f.Width(s)) / pointsPerPixel
}

// text writes s with its baseline at y.
func (s *sheet) text(st style, at xy, a align, str string) {
	if str == "" {
		return
	}
	at.x -= float64(a) * st.width(str)
	s.c.SetColor(st.color)
	s.c.FillString(face(st.size, st.bold), s.pt(at), str)
}

// fit shortens a text to a width in px.
func (st style) fit(str string, room float64) string {
	str = tidy(str)
	if st.width(str) <= room {
		return str
	}
	r := []rune(str)
	for n := len(r) - 1; n > 0; n-- {
		if short := strings.TrimRight(string(r[:n]), " ,;:") + "…"; st.width(short) <= room {
			return short
		}
	}
	return ""
}
