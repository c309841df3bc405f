package main

import (
	"errors"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/plug"
)

type wardenCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"As calx serve gives them."`
}

func (c *wardenCmd) Run() error { return plug.WardenMain(c.Args) }

type offCmd struct {
	configFlag
}

// Run drives the lines off even where the rest of the file is in question: it
// is called when something has gone wrong.
func (c *offCmd) Run() error {
	file := c.find()
	if file == "" {
		return errors.New("there is no calx.yaml in this folder and none in /etc/calx, so calx does not know which lines to drive off; name one with --config FILE")
	}
	h, err := config.LoadHeater(file)
	if err != nil {
		return err
	}
	return plug.AllOff(board.Wiring(h).Specs()...)
}
