package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"

	"golang.org/x/term"
)

func newEnv(ctx context.Context) *env {
	e := &env{ctx: ctx, out: os.Stdout, err: os.Stderr, width: 80, height: 24}
	if fd := int(os.Stdout.Fd()); term.IsTerminal(fd) {
		e.tty = true
		e.color = os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
		if w, h, err := term.GetSize(fd); err == nil && w > 0 {
			e.width, e.height = w, h
		}
	}
	return e
}

// printf writes to the output of the command.
func (e *env) printf(format string, a ...any) { fmt.Fprintf(e.out, format, a...) }

// writeJSON writes v, indented, to the output.
func (e *env) writeJSON(v any) error {
	enc := json.NewEncoder(e.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// unitsFlag is how temperatures are shown.
type unitsFlag struct {
	Units string `help:"Show temperatures in C or F." enum:"C,F,auto" default:"auto" placeholder:"C|F"`
}

// fahrenheit decides between the flag and what a file or firing says.
func (u unitsFlag) fahrenheit(otherwise bool) bool {
	switch u.Units {
	case "C":
		return false
	case "F":
		return true
	}
	return otherwise
}

// temperature words a temperature, or "–" where there is none.
func temperature(c *float64, fahrenheit bool) string {
	switch {
	case c == nil:
		return "–"
	case fahrenheit:
		return fmt.Sprintf("%.1f °F", *c*9/5+32)
	}
	return fmt.Sprintf("%.1f °C", *c)
}
