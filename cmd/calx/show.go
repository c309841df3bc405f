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
	Health bool `help:"Instead of one firing, the kiln over all of them: elements, heat loss, relay, thermocouples."`
	pictureFlags
	logFlags
	jsonFlag
	unitsFlag
}

// pictureFlags say where a drawing goes.
type pictureFlags struct {
	PNG  string `name:"png" help:"Draw it into this PNG file." placeholder:"FILE" type:"path"`
	SVG  string `name:"svg" help:"Draw it into this SVG file." placeholder:"FILE" type:"path"`
	Size string `help:"Size of the picture in pixels, 320 to 8000 each way." default:"1280x800" placeholder:"WxH"`
}

// size is that of the picture in pixels.
func (p pictureFlags) size() (w, h int, err error) {
	if w, h, err = pictureSize(p.Size); err != nil {
		err = usageError{err}
	}
	return w, h, err
}

// Run shows the figures and the curve of a firing, draws it into files, or
// writes its summary.Summary with --json.
func (c *showCmd) Run(e *env) error {
	w, h, err := c.size()
	if err != nil {
		return err
	}
	if c.Health {
		return c.health(e)
	}
	f, err := c.read(e, c.logFlags)
	if f == nil {
		return err
	}
	damage := err
	fahrenheit := c.fahrenheit(f.head.Units == "F")
	if c.PNG != "" || c.SVG != "" {
		if err := c.draw(e, f.chart(fahrenheit), w, h, c.JSON); err != nil {
			return err
		}
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

// draw writes the pictures asked for and, unless quiet, says where they are.
func (p pictureFlags) draw(e *env, f chart.Firing, w, h int, quiet bool) error {
	for _, o := range []struct {
		file string
		draw func(io.Writer, chart.Firing, int, int) error
	}{{p.PNG, chart.PNG}, {p.SVG, chart.SVG}} {
		if o.file == "" {
			continue
		}
		if err := writeFile(o.file, func(file *os.File) error { return o.draw(file, f, w, h) }); err != nil {
			return fmt.Errorf("picture: %w", err)
		}
		if !quiet {
			e.printf("%s is drawn in %s\n", f.Title, o.file)
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
