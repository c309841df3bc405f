package controller_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"calx/controller"
	"calx/profile"
	"calx/sensor"
	"calx/sim/mould"
	"calx/storage/record"
)

const fuzzCeilingC = 735 // of the profile everything

// stored are snapshots of a firing in many a state.
func stored(tb testing.TB, c *controller.Controller) (out [][]byte) {
	var s controller.State
	hotC := 20.0
	for i := range 2000 {
		in := controller.Input{Now: time.Duration(i) * time.Second, Wall: start.Add(time.Duration(i) * time.Second),
			Chamber: sensor.Reading{HotC: hotC, ColdC: 25, ColdCode: int32(400 + i%2)}}
		if i%400 == 399 {
			in.Commands = []controller.Command{controller.StepOn}
		}
		s, _ = c.Step(s, in)
		hotC += 0.1 * float64(i%3)
		if i%100 == 0 {
			if err := c.Fits(s); err != nil {
				tb.Fatal(err)
			}
			b, err := s.Snapshot()
			if err != nil {
				tb.Fatal(err)
			}
			out = append(out, b)
		}
	}
	return out
}

// withMould is a firing that waits for a mould.
func withMould(tb testing.TB) *controller.Controller {
	text, err := mould.ShippedFile(mould.Shipped()[0])
	if err != nil {
		tb.Fatal(err)
	}
	p, err := mould.Load("mould", text)
	if err != nil {
		tb.Fatal(err)
	}
	m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir, Grid: mould.Grid{Rings: 4, Layers: 4}})
	if err != nil {
		tb.Fatal(err)
	}
	inside := &controller.Mould{Model: m}
	for range p.Patterns {
		inside.Clear = append(inside.Clear, controller.Belief{MedianMin: 60, SigmaLn: 0.5, EnergyJPerMol: 6000})
	}
	prof, err := profile.Parse("never above 735 C\nheat to 150 C at 600 C/h\nhold until dry, at most 1 h\nhold until clear 95%, at most 3 h\n")
	if err != nil {
		tb.Fatal(err)
	}
	c, err := controller.New(controller.Config{Profile: prof, Plant: newPlant(), Guard: rigLimits(), Mould: inside})
	if err != nil {
		tb.Fatal(err)
	}
	return c
}

// A snapshot of anybody's making is refused in words, or the firing goes on
// with it without a panic and without heat where none may be.
func FuzzRestore(f *testing.F) {
	plain, moulds := variants()[2].c, withMould(f)
	for _, c := range []*controller.Controller{plain, moulds} {
		for _, b := range stored(f, c) {
			f.Add(b, c == moulds, 700.0, uint8(30))
		}
	}
	f.Add([]byte(`{"Begun":true,"Back":true,"Plan":{"Step":15,"Entered":true}}`), false, 20.0, uint8(9))
	f.Add([]byte(`{"Begun":true,"Phase":2,"Plan":{"Step":3,"Entered":true,"SetC":1e300,"UntilMS":1},"Law":{"Ready":true,"Mean":[1e308]},"History":{"TrailN":-7,"Seen":true}}`), true, 20.0, uint8(9))
	f.Add([]byte(`{"Begun":true,"Gap":{"LostS":1e18},"Inside":{"Begun":true,"State":{}}}`), true, 20.0, uint8(9))
	f.Fuzz(func(t *testing.T, b []byte, withMoulds bool, hotC float64, ticks uint8) {
		c := plain
		if withMoulds {
			c = moulds
		}
		var bare controller.State // as the rebuilding of a firing begins
		for _, restored := range []bool{false, true} {
			s, err := bare, json.Unmarshal(b, &bare)
			if s = bare; restored {
				s, err = controller.Restore(b)
			}
			if err == nil {
				err = c.Fits(s)
			} else if restored && s.Begun {
				t.Fatalf("got a state beside %v", err)
			}
			if err != nil {
				if strings.TrimSpace(err.Error()) == "" {
					t.Fatal("refused without a word")
				}
				continue
			}
			if math.IsNaN(hotC) || hotC < -50 || hotC > 1200 {
				hotC = 300
			}
			goOn(t, c, s, hotC, int(ticks))
		}
	})
}

// goOn steps a state of which only Fits thinks well.
func goOn(t *testing.T, c *controller.Controller, s controller.State, hotC float64, ticks int) {
	now := s.Now
	for i := range ticks {
		in := controller.Input{Now: now, Wall: start.Add(now), Chamber: sensor.Reading{HotC: hotC, ColdC: 25, ColdCode: int32(400 + i%2)}}
		var out controller.Output
		s, out = c.Step(s, in)
		now += time.Second
		if out.Heat && (s.Phase >= record.Done || s.Plan.Unheated || hotC > fuzzCeilingC+10) {
			t.Fatalf("heat at %v °C in %v", hotC, s.Phase)
		}
		if set := out.Record.SetpointC; set > fuzzCeilingC {
			t.Fatalf("setpoint %v °C, ceiling %v °C", set, fuzzCeilingC)
		}
		if err := c.Fits(s); err != nil {
			t.Fatalf("a state that fits leads to one that does not: %v", err)
		}
	}
	_ = c.Predict(s)
	again, err := s.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := controller.Restore(again); err != nil {
		t.Fatal(err)
	}
}
