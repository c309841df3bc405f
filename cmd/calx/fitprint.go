package main

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"time"

	"calx/controller/identify"
	"calx/sim/kiln"
)

// fitResult is the object that --json writes.
type fitResult struct {
	Kiln       string      `json:"kiln"`
	Firings    []uint64    `json:"firings"`
	File       string      `json:"file"` // what was written; "" with --dry-run
	Figures    []fitFigure `json:"figures"`
	Together   []fitPair   `json:"together"`    // what the firings cannot tell apart
	ResidualC  float64     `json:"residual_c"`  // measured less modelled chamber, the model held to the measured
	BeforeC    float64     `json:"before_c"`    // the same with the kiln file before
	DoubtRatio float64     `json:"doubt_ratio"` // standard error of the heat a firing needs, as a share
	KeptOut    fitKeptOut  `json:"kept_out"`    // how a fit to the rest did on what it had not seen
	UsedH      float64     `json:"used_h"`
	MutedH     float64     `json:"left_out_h"` // doors, gaps, a warm start
	TookS      float64     `json:"took_s"`
	fitted     identify.Fitted
}

// fitFigure is one figure of the kiln file.
type fitFigure struct {
	Key    string  `json:"key"`
	Name   string  `json:"name"`
	Path   string  `json:"path"` // in the kiln file
	Said   string  `json:"said"` // by the file before, with unit
	Is     string  `json:"is"`
	Factor float64 `json:"factor"` // is over said
	StdErr float64 `json:"std_err"`
	Told   bool    `json:"told"` // by these firings
}

type fitPair struct {
	A           string  `json:"a"`
	B           string  `json:"b"`
	Correlation float64 `json:"correlation"`
}

type fitKeptOut struct {
	What      string  `json:"what"`
	HeatRatio float64 `json:"heat_ratio"` // heat that the model wanted over what was given, less 1
	ResidualC float64 `json:"residual_c"`
	BeforeC   float64 `json:"before_c"`
}

func newFitResult(chosen []*firing, prior kiln.Params, got identify.Fitted, file string, took time.Duration) fitResult {
	r := fitResult{Kiln: prior.Name, File: file, Together: []fitPair{}, ResidualC: got.ResidualC, BeforeC: got.PriorC, DoubtRatio: got.Doubt,
		KeptOut: fitKeptOut{got.Holdout.What, got.Holdout.Heat, got.Holdout.ResidualC, got.Holdout.PriorC},
		UsedH:   got.UsedH, MutedH: got.MutedH, TookS: took.Seconds(), fitted: got}
	for _, f := range chosen {
		r.Firings = append(r.Firings, f.head.ID)
	}
	for _, x := range got.Estimates {
		r.Figures = append(r.Figures, fitFigure{x.Key, x.Name, x.Path, x.Prior, x.Value, x.Factor, x.StdErr, x.Told})
	}
	for _, p := range got.Together {
		r.Together = append(r.Together, fitPair{p.A, p.B, p.Correlation})
	}
	return r
}

// estimateWords say how sure a figure is.
func estimateWords(x identify.Estimate) string {
	if !x.Told {
		return "not told by these firings"
	}
	return fmt.Sprintf("fitted ±%.0f %%", math.Max(100*(math.Exp(x.StdErr)-1), 1))
}

func formatID(id uint64) string { return strconv.FormatUint(id, 10) }

func (c *fitCmd) print(e *env, r fitResult, inF bool) {
	inF = c.fahrenheit(inF)
	e.printf("%s, fitted to %s", e.paint(bold, "kiln "+r.Kiln), counted(len(r.Firings), "firing"))
	for i, id := range r.Firings {
		e.printf("%s %d", map[bool]string{true: ":", false: ","}[i == 0], id)
	}
	e.printf(" (%.1f h used, %.1f h left out for doors and gaps)\n\n", r.UsedH, r.MutedH)
	e.printf("%s\n", e.paint(faint, fmt.Sprintf("  %-37s %12s  %12s", "", "file said", "firings say")))
	for i, f := range r.Figures {
		words := estimateWords(r.fitted.Estimates[i])
		value := f.Is
		if !f.Told {
			words = e.paint(faint, words)
		}
		e.printf("  %-37s %12s  %12s  %s\n", f.Name, f.Said, value, words)
	}
	e.printf("\n%s\n", wrap(fmt.Sprintf("The model is %s off the thermometer, %s with the file before. What it had not seen, %s, took %s heat than it foretold. The heat that a firing needs is known to ±%.1f %%.",
		difference(r.ResidualC, 1, inF), difference(r.BeforeC, 1, inF), r.KeptOut.What, moreHeat(-r.KeptOut.HeatRatio), r.DoubtRatio*100), e.width, 0))
	for _, p := range r.Together {
		e.printf("%s\n", wrap(fmt.Sprintf("These firings hardly tell apart %s and %s; only what they make together is sure.", p.A, p.B), e.width, 0))
	}
	if c.Power == 0 {
		e.printf("%s\n", wrap("Thermometers cannot tell strong elements in a heavy kiln from weak ones in a light kiln: energy is right as calx counts it. A meter reading, given with --power, sets the rest right.", e.width, 0))
	}
	if r.File == "" {
		return
	}
	e.printf("\n%s\n", e.paint(green, "written to "+r.File))
	e.printf("look at it with  calx check %s\nto use it, set   kiln: %s   in calx.yaml and start calx serve again; the old file is untouched\n", r.File, filepath.Base(r.File))
}

// moreHeat words how much more or less heat something took.
func moreHeat(share float64) string {
	if share < 0 {
		return fmt.Sprintf("%.1f %% less", -share*100)
	}
	return fmt.Sprintf("%.1f %% more", share*100)
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
