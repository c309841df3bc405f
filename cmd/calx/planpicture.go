package main

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"math"
	"sync"
	"time"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"calx/profile/plan"
)

// 96 px = 72 pt = 1 in (W3C, CSS Values and Units Level 3, 6.2).
const (
	ptPerPx = 0.75
	dpi     = 96
)

// planPNG draws a plan as an image of w by h pixels.
func planPNG(o io.Writer, p *planned, w, h int) error {
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(float64(w)*ptPerPx), vg.Length(float64(h)*ptPerPx)), vgimg.UseDPI(dpi))
	drawPlan(c, p, w, h)
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(o)
	return err
}

// planSVG draws a plan as a scalable image; text stays text.
func planSVG(o io.Writer, p *planned, w, h int) error {
	c := vgsvg.New(vg.Length(float64(w)*ptPerPx), vg.Length(float64(h)*ptPerPx))
	drawPlan(c, p, w, h)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return err
	}
	// A viewer without these fonts must fall back to others of the same widths.
	const only, any = "font-family:Liberation Sans;", "font-family:Liberation Sans,Arial,Helvetica,sans-serif;"
	_, err := o.Write(bytes.ReplaceAll(b.Bytes(), []byte(only), []byte(any)))
	return err
}

// The colours differ in lightness as well as in hue; the two curves in width.
var (
	planPaper   = ink(0xFCFBF8)
	planInk     = ink(0x24292E)
	planMuted   = ink(0x5D646B)
	planRule    = ink(0xE5E2DB)
	planEdge    = ink(0xA9A69F)
	planChamber = ink(0x0C3F63)
	planCore    = ink(0xC06A10)
	planCeiling = ink(0xA3243B)
	planWater   = ink(0x6FA3C7)
	planChar    = ink(0x4B4741)
	planGreen   = ink(0x4E8C6F)
	planBand    = ink(0xDCEBE2)
)

func ink(hex uint32) color.NRGBA {
	return color.NRGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 0xff}
}

// planSheet is a surface in pixels with y downwards.
type planSheet struct {
	c    vg.Canvas
	w, h float64
	u    float64 // size of the body type
}

type spot struct{ x, y float64 }

func (s *planSheet) pt(p spot) vg.Point {
	return vg.Point{X: vg.Length(p.x * ptPerPx), Y: vg.Length((s.h - p.y) * ptPerPx)}
}

func (s *planSheet) path(pts []spot) (p vg.Path) {
	for i, q := range pts {
		if i == 0 {
			p.Move(s.pt(q))
		} else {
			p.Line(s.pt(q))
		}
	}
	return p
}

func (s *planSheet) line(c color.Color, width float64, dashes []float64, pts ...spot) {
	d := make([]vg.Length, len(dashes))
	for i, v := range dashes {
		d[i] = vg.Length(v * ptPerPx)
	}
	s.c.SetColor(c)
	s.c.SetLineWidth(vg.Length(width * ptPerPx))
	s.c.SetLineDash(d, 0)
	s.c.Stroke(s.path(pts))
}

func (s *planSheet) fill(c color.Color, pts ...spot) {
	p := s.path(pts)
	p.Close()
	s.c.SetColor(c)
	s.c.Fill(p)
}

func (s *planSheet) box(c color.Color, b frame) {
	s.fill(c, spot{b.x0, b.y0}, spot{b.x1, b.y0}, spot{b.x1, b.y1}, spot{b.x0, b.y1})
}

// disc is a filled circle.
func (s *planSheet) disc(c color.Color, at spot, radius float64) {
	var p vg.Path
	m, r := s.pt(at), vg.Length(radius*ptPerPx)
	p.Move(vg.Point{X: m.X + r, Y: m.Y})
	p.Arc(m, r, 0, 2*math.Pi)
	p.Close()
	s.c.SetColor(c)
	s.c.Fill(p)
}

var planFaces = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

// lettering is how a text looks; size is in px.
type lettering struct {
	size  float64
	bold  bool
	color color.Color
}

func (l lettering) face() font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if l.bold {
		f.Weight = xfont.WeightBold
	}
	return planFaces().Lookup(f, vg.Length(l.size*ptPerPx))
}

func (l lettering) width(s string) float64 {
	f := l.face()
	return float64(f.Width(s)) / ptPerPx
}

// fit shortens a text to a width in px.
func (l lettering) fit(s string, room float64) string {
	if l.width(s) <= room {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && l.width(string(r)+"…") > room {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// text writes s with its baseline at y; align 0 is left, 0.5 centre, 1 right.
func (s *planSheet) text(l lettering, at spot, align float64, str string) {
	if str == "" {
		return
	}
	at.x -= align * l.width(str)
	s.c.SetColor(l.color)
	f := l.face()
	s.c.FillString(f, s.pt(at), str)
}

// frame is a rectangle, px.
type frame struct{ x0, y0, x1, y1 float64 }

// planPicture is one image in the making. From the top: title, key, clock,
// temperatures, strips, hours, the steps in words.
type planPicture struct {
	*planSheet
	p      *planned
	curve  []plan.Sample
	strips []planStrip
	end    time.Duration
	lo, hi float64 // of the temperature axis, in the unit shown
	temp   frame
	strip  []frame
	list   float64 // top of the list of steps
	cols   int     // of that list
}

// The measures of the layout, in type sizes.
const (
	picMargin = 1.6
	picAxis   = 3.6 // left and right of the frames, for labels
	picTitle  = 1.45
	picSmall  = 0.88
	picRow    = 1.55
	picStrip  = 2.1 // height of a strip
	picGap    = 0.6 // between strips
	picBadge  = 0.68
)

func drawPlan(c vg.Canvas, p *planned, w, h int) {
	const across, acrossTall, down, least = 82, 50, 54, 10.5
	n := across
	if h > w {
		n = acrossTall
	}
	s := &planSheet{c: c, w: float64(w), h: float64(h)}
	s.u = max(least, min(s.w/float64(n), s.h/down))
	d := &planPicture{planSheet: s, p: p, curve: p.untilReady(), strips: p.strips(), end: p.Total}
	s.box(planPaper, frame{0, 0, s.w, s.h})
	d.layOut()
	d.heading()
	d.grid()
	d.fillStrips()
	d.curves()
	d.frames()
	d.badges()
	d.steps()
}

func (d *planPicture) layOut() {
	u := d.u
	d.cols = 1
	if d.w > 60*u {
		d.cols = 2
	}
	rows := (len(d.p.Reasons) + d.cols - 1) / d.cols
	x0, x1 := (picMargin+picAxis)*u, d.w-(picMargin+picAxis)*u
	top := (picMargin + picTitle + 2*picRow + picSmall + 1.6) * u
	d.list = d.h - (picMargin+float64(rows)*picRow-0.5)*u
	y := d.list - (picRow+1.9)*u
	for range d.strips {
		d.strip = append(d.strip, frame{x0, y - picStrip*u, x1, y})
		y -= (picStrip + picGap) * u
	}
	for i, j := 0, len(d.strip)-1; i < j; i, j = i+1, j-1 {
		d.strip[i], d.strip[j] = d.strip[j], d.strip[i]
	}
	d.temp = frame{x0, top + 1.8*u, x1, y - 0.5*u}
	hi := d.p.Profile.CeilingC
	lo := math.Inf(1)
	for _, s := range d.curve {
		lo, hi = min(lo, s.ChamberC, s.CoreC), max(hi, s.ChamberC, s.CoreC)
	}
	step := d.tempStep()
	d.lo = math.Floor(inUnit(lo, d.inF())/step) * step
	d.hi = inUnit(hi, d.inF()) + 0.05*(inUnit(hi, d.inF())-d.lo)
}

func (d *planPicture) inF() bool { return d.p.in.Fahrenheit }

func (d *planPicture) tempStep() float64 {
	if d.inF() {
		return 200
	}
	return 100
}

func (d *planPicture) x(t time.Duration) float64 {
	return d.temp.x0 + min(float64(t)/float64(d.end), 1)*(d.temp.x1-d.temp.x0)
}

func (d *planPicture) y(c float64) float64 { return d.yOf(inUnit(c, d.inF())) }

func (d *planPicture) yOf(v float64) float64 {
	return d.temp.y1 - (v-d.lo)/(d.hi-d.lo)*(d.temp.y1-d.temp.y0)
}

func (d *planPicture) body() lettering  { return lettering{d.u, false, planInk} }
func (d *planPicture) small() lettering { return lettering{picSmall * d.u, false, planMuted} }

// sharp is the middle of a pixel, where a thin line is sharp.
func sharp(v float64) float64 { return math.Floor(v) + 0.5 }

func (d *planPicture) facts() string {
	s := hours(d.p.Total)
	if d.p.Start.IsZero() {
		return s + ", " + kWh(d.p.EnergyKWh)
	}
	return fmt.Sprintf("%s to %s, %s, %s", day(d.p.Start), day(d.p.Ready), s, kWh(d.p.EnergyKWh))
}
