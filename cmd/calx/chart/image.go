package chart

import (
	"bytes"
	"fmt"
	"io"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The sizes an image can have, px.
const (
	leastWidth, leastHeight = 320, 320
	mostSide                = 8000
)

// PNG writes a firing as an image of exactly that many pixels. Landscape and
// portrait have layouts of their own; 1000 × 640 and 720 × 960 read well on a
// screen and on a phone. It fails on a size outside 320 to 8000 and when w does.
func PNG(w io.Writer, f Firing, widthPx, heightPx int) error {
	if err := checkSize(widthPx, heightPx); err != nil {
		return err
	}
	c := vgimg.NewWith(vgimg.UseWH(points(widthPx), points(heightPx)), vgimg.UseDPI(pixelsPerInch))
	draw(c, f, widthPx, heightPx)
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	return err
}

// SVG writes a firing as a scalable image, laid out for that many pixels. Text
// stays text. Errors are those of PNG.
func SVG(w io.Writer, f Firing, widthPx, heightPx int) error {
	if err := checkSize(widthPx, heightPx); err != nil {
		return err
	}
	c := vgsvg.New(points(widthPx), points(heightPx))
	draw(c, f, widthPx, heightPx)
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return err
	}
	_, err := w.Write(bytes.ReplaceAll(b.Bytes(), []byte(onlyFont), []byte(anyFont)))
	return err
}

// A viewer without the Liberation fonts must fall back to fonts of the same
// widths, not to a serif.
const (
	onlyFont = "font-family:Liberation Sans;"
	anyFont  = "font-family:Liberation Sans,Arial,Helvetica,sans-serif;"
)

func points(px int) vg.Length { return vg.Length(float64(px) * pointsPerPixel) }

func checkSize(w, h int) error {
	if w < leastWidth || h < leastHeight || w > mostSide || h > mostSide {
		return fmt.Errorf("chart: %d × %d px cannot be drawn; width and height go from %d to %d px",
			w, h, leastWidth, mostSide)
	}
	return nil
}

// The type size follows the picture: a portrait picture is for a phone, which
// shows it at about half its pixels, so its type is larger.
const (
	leastType       = 11.5 // px
	landscapeWidths = 72   // type sizes across
	portraitWidths  = 42
	typeHeights     = 42 // type sizes down, at least
)

func typeSize(w, h int) float64 {
	across := landscapeWidths
	if h > w {
		across = portraitWidths
	}
	return max(leastType, min(float64(w)/float64(across), float64(h)/typeHeights))
}

func draw(c vg.Canvas, f Firing, w, h int) {
	s := &sheet{c: c, w: float64(w), h: float64(h), u: typeSize(w, h)}
	s.box(paper, 0, 0, s.w, s.h)
	p := newPicture(s, f)
	p.heading()
	p.gapBands()
	p.grid()
	p.duty()
	p.difference()
	p.markLines()
	p.curves()
	p.now()
	p.frames()
	p.badges()
	p.key()
}
