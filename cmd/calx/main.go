// Command calx plans and runs the burnout of organic patterns in investment
// moulds in a small electric kiln, and keeps every reading. It is never the
// safety device: an independent limit controller must stand behind it.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"
)

// version is set by the release build.
var version = "development"

// cli is every command. One file each.
type cli struct {
	Demo    demoCmd    `cmd:"" help:"Fire a simulated kiln from beginning to end; needs nothing."`
	Check   checkCmd   `cmd:"" help:"Check a profile, a kiln file or calx.yaml, and show what it would do."`
	Plan    planCmd    `cmd:"" help:"Plan a burnout from moulds, a kiln and a pour time: the shortest profile, with reasons."`
	Sheet   sheetCmd   `cmd:"" help:"Make the casting sheet of a mould: investment, metal, feeding, temperatures, cautions."`
	Serve   serveCmd   `cmd:"" help:"Run the kiln of calx.yaml: read, wait for a firing, fire, keep the log."`
	Fire    fireCmd    `cmd:"" help:"Start a firing on the calx that serves this kiln."`
	Stop    stopCmd    `cmd:"" help:"Stop the firing; the heat goes off at once."`
	Clear   clearCmd   `cmd:"" help:"Clear a trip, once you have looked at the kiln: nothing is fired before."`
	Pause   pauseCmd   `cmd:"" help:"Freeze the plan; the setpoint stays where it is."`
	Resume  resumeCmd  `cmd:"" help:"Let a paused plan go on."`
	StepOn  stepOnCmd  `cmd:"" name:"step-on" help:"End the present step and begin the next."`
	Watch   watchCmd   `cmd:"" help:"Follow the kiln live in the terminal."`
	Firings firingsCmd `cmd:"" help:"List the firings in the log."`
	Show    showCmd    `cmd:"" help:"Show one firing: figures and curve."`
	Replay  replayCmd  `cmd:"" help:"Run a firing again: with its own inputs, bit for bit, or on the simulated kiln."`
	Fit     fitCmd     `cmd:"" help:"Fit the kiln file to recorded firings: what they tell of the kiln, written to a new file."`
	Tell    tellCmd    `cmd:"" help:"Who is told of what: how messages stand, acknowledge alarms, send a test."`
	Import  importCmd  `cmd:"" help:"Bring a firing that was recorded elsewhere into the log, from a table."`
	Export  exportCmd  `cmd:"" help:"Write the readings of one firing as CSV or OpenMetrics text."`
	Piece   pieceCmd   `cmd:"" help:"Test pieces: note them, and what they say about the time to clear."`
	Cast    castCmd    `cmd:"" help:"Castings: the sheet of each, from mould to outcome, and what they have in common."`
	Warden  wardenCmd  `cmd:"" hidden:"" help:"Own the output lines; started by serve."`
	Off     offCmd     `cmd:"" hidden:"" help:"Drive every output line of calx.yaml off; for the service manager."`

	Version kong.VersionFlag `help:"Show the version and leave."`
}

// usageError is a mistake in how a command was called: exit code 2.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// env is what a command may touch of the world.
type env struct {
	ctx    context.Context
	out    io.Writer
	err    io.Writer
	color  bool // colour is wanted and can be shown
	width  int  // columns of the terminal, 80 when there is none
	height int  // lines of it
	tty    bool // out is a terminal: progress may be shown
}

func main() { os.Exit(run(os.Args[1:])) }

// run is main with an exit code: 0 success, 1 failure, 2 bad usage.
func run(args []string) int {
	// The warden handles its signals itself: it must outlive the daemon long
	// enough to turn the heat off.
	ctx := context.Background()
	if len(args) == 0 || args[0] != "warden" {
		var stop context.CancelFunc
		ctx, stop = signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
		defer stop()
	}
	e := newEnv(ctx)
	var c cli
	code := -1
	parser, err := kong.New(&c, kong.Name("calx"),
		kong.Description("Plans and runs the burnout of organic patterns in a small electric kiln.\nNever the safety device: an independent limit controller must stand behind it."),
		kong.Vars{"version": version}, kong.UsageOnError(), kong.Writers(e.out, e.err),
		kong.Exit(func(n int) { code = n }))
	if err != nil {
		panic("BUG: " + err.Error())
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if code >= 0 {
		return code
	}
	if err != nil {
		fmt.Fprintf(e.err, "calx: %v\nTry: calx --help\n", err)
		return 2
	}
	err = k.Run(e)
	var usage usageError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &usage):
		fmt.Fprintf(e.err, "calx: %v\n", err)
		return 2
	}
	fmt.Fprintf(e.err, "calx: %v\n", err)
	return 1
}
