package main

type watchCmd struct{}

func (c *watchCmd) Run(e *env) error { return nil }

type watching struct {
	json  bool
	units unitsFlag
	until uint64
}

func follow(e *env, cl *client, w watching) error { return nil }
