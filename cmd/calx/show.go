package main

import (
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"calx/cmd/calx/chart"
)

type showCmd struct {
	firingArg
	PNG  string `name:"png" help:"Draw the firing into this PNG file." placeholder:"FILE" type:"path"`
	SVG  string `name:"svg" help:"Draw the firing into this SVG file." placeholder:"FILE" type:"path"`
	Size string `help:"Size of the picture in pixels, 320 to 8000 each way." default:"1280x800" placeholder:"WxH"`
	logFlags
	jsonFlag
	unitsFlag
}

// Run shows the figures and the curve of a firing, draws it into files, or
// writes its summary.Summary with --json.
func (c *showCmd) Run(e *env) error {
	w, h, err := pictureSize(c.Size)
	if err != nil {
		return usageError{err}
	}
	f, err := c.read(e, c.logFlags)
	if f == nil {
		return err
	}
	damage := err
	fahrenheit := c.fahrenheit(f.head.Units == "F")
	if err := c.draw(e, f, fahrenheit, w, h); err != nil {
		return err
	}
	switch {
	case c.JSON:
		err = e.writeJSON(f.summary())
	case c.PNG == "" && c.SVG == "":
		err = f.print(e, fahrenheit)
	}
	if err != nil {
		return err
	}
	return damage
}

// draw writes the pictures asked for and says where they are.
func (c *showCmd) draw(e *env, f *firing, fahrenheit bool, w, h int) error {
	for _, p := range []struct {
		file string
		draw func(io.Writer, chart.Firing, int, int) error
	}{{c.PNG, chart.PNG}, {c.SVG, chart.SVG}} {
		if p.file == "" {
			continue
		}
		err := writeFile(p.file, func(o *os.File) error { return p.draw(o, f.chart(fahrenheit), w, h) })
		if err != nil {
			return fmt.Errorf("picture: %w", err)
		}
		if !c.JSON {
			e.printf("firing %d is drawn in %s\n", f.head.ID, p.file)
		}
	}
	return nil
}

const leastPixels, mostPixels = 320, 8000

func pictureSize(s string) (w, h int, err error) {
	a, b, ok := strings.Cut(strings.ToLower(s), "x")
	w, errW := strconv.Atoi(a)
	h, errH := strconv.Atoi(b)
	if !ok || errW != nil || errH != nil || min(w, h) < leastPixels || max(w, h) > mostPixels {
		return 0, 0, fmt.Errorf("--size is %q; it must be width x height in pixels, each %d to %d, for example 1280x800", s, leastPixels, mostPixels)
	}
	return w, h, nil
}
