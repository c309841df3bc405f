package mould

import (
	"fmt"
	"math"
)

// Variation multiplies what is uncertain; [Nominal] is 1 throughout.
type Variation struct {
	Access       float64 // oxygen through the wall
	Kinetics     float64 // rate of char burning
	Section      float64 // thickness of the pieces; the mass of unweighed ones follows
	Conductivity float64 // of the investment
}

// Nominal changes nothing.
var Nominal = Variation{1, 1, 1, 1}

// Model is a kiln full of moulds, compiled. It does not change and may be used
// by several goroutines, each with its own [State].
type Model struct {
	params []Params
	env    Env
	vary   Variation
	flasks []flask
}

// flask is one entry of the list.
type flask struct {
	params Params
	body   *body
	pieces []piece
	count  float64
}

// mostFlasks bounds the list; each costs a heat flow of its own.
const mostFlasks = 12

// New compiles the moulds that stand in one kiln. Moulds of equal Params are
// one entry with a Count. The error names the first mould and field that is
// out of range; the params of [Load] are checked already.
func New(params []Params, env Env) (*Model, error) {
	if len(params) == 0 || len(params) > mostFlasks {
		return nil, fmt.Errorf("%d kinds of mould: 1 to %d can be followed at once; give equal ones as one with a count", len(params), mostFlasks)
	}
	if env.Grid == (Grid{}) {
		env.Grid = DefaultGrid
	}
	if err := env.check(); err != nil {
		return nil, err
	}
	for _, p := range params {
		if problems := p.Check(); len(problems) > 0 {
			return nil, fmt.Errorf("mould %s: %s: %s", p.Name, problems[0].Path, problems[0].Text)
		}
	}
	return build(params, env, Nominal, nil), nil
}

func (e Env) check() error {
	a := e.Air
	for _, f := range []struct {
		name         string
		v, low, high float64
	}{
		{"kiln air: volume", a.VolumeM3, 1e-4, 20},
		{"kiln air: changes per hour", a.ChangesPerH, 0, 1000},
		{"kiln air: changes per hour with the air relay on", a.ChangesOnPerH, 0, 10000},
		{"room temperature", a.RoomC, -30, 60},
		{"rings of the grid", float64(e.Grid.Rings), 4, 200},
		{"layers of the grid", float64(e.Grid.Layers), 4, 400},
	} {
		if !(f.v >= f.low && f.v <= f.high) {
			return fmt.Errorf("%s: %g is outside %g to %g", f.name, f.v, f.low, f.high)
		}
	}
	return nil
}

// build compiles; bodies of another model with the same conductivity are used
// again.
func build(params []Params, env Env, v Variation, from *Model) *Model {
	m := &Model{params: params, env: env, vary: v}
	for i, p := range params {
		f := flask{params: p, count: float64(max(1, p.Count))}
		if from != nil && from.vary.Conductivity == v.Conductivity {
			f.body = from.flasks[i].body
		} else {
			f.body = newBody(p, env.Grid, v.Conductivity)
		}
		together := 0.0
		for _, o := range p.Patterns {
			together += float64(max(1, o.Count))
		}
		for _, o := range p.Patterns {
			f.pieces = append(f.pieces, newPiece(p, o, f.body, v, together))
		}
		m.flasks = append(m.flasks, f)
	}
	return m
}

// Vary is the same model with its uncertain figures multiplied. It is cheap,
// some microseconds, unless v changes the conductivity.
func (m *Model) Vary(v Variation) *Model { return build(m.params, m.env, v, m) }

// Params returns what the model was made of; do not change it.
func (m *Model) Params() []Params { return m.params }

// Start is a kiln of freshly set moulds, all at tC in °C.
func (m *Model) Start(tC float64) State {
	s := State{ChamberC: tC, Oxygen: roomOxygen, LeastO2: roomOxygen}
	for i := range m.flasks {
		f := &m.flasks[i]
		fs := f.body.start(f.body.fresh, tC)
		for n := range f.pieces {
			fs.Pieces = append(fs.Pieces, f.pieces[n].start())
		}
		s.Flasks = append(s.Flasks, fs)
	}
	return s
}

// StartSoaked is a kiln of fired moulds whose patterns have been washed out,
// at tC in °C: their pores hold water again, wet 0 to 1 of what they can.
func (m *Model) StartSoaked(tC, wet float64) State {
	s := m.Start(tC)
	wet = math.Max(0, math.Min(wet, 1))
	for i := range m.flasks {
		f := &m.flasks[i]
		fs := f.body.start(f.body.soaked, tC)
		fs.Soaked = true
		f.body.drain(&fs, tC, wet)
		for n := range f.pieces {
			p := f.pieces[n].start()
			p.WaterKg, p.VolatileKg, p.UnformedKg, p.ClearS = 0, [4]float64{}, 0, 0
			fs.Pieces = append(fs.Pieces, p)
		}
		s.Flasks[i] = fs
	}
	return s
}

func (b *body) start(c *curve, tC float64) FlaskState {
	fs := FlaskState{Heat: make([]float64, b.cells()), Highest: make([]float64, b.cells()), FreeLeft: 1, DryS: -1}
	if c.free == 0 {
		fs.FreeLeft, fs.DryS = 0, 0
	}
	h := c.heatAt(tC)
	for n := range fs.Heat {
		fs.Heat[n], fs.Highest[n] = h, h
	}
	if b.sleeved {
		fs.SleeveC = make([]float64, b.layers)
		for j := range fs.SleeveC {
			fs.SleeveC[j] = tC
		}
	}
	return fs
}

// drain leaves wet of the free water: as if the mould had once been heated
// until the rest had gone.
func (b *body) drain(fs *FlaskState, tC, wet float64) {
	c := b.soaked
	if wet == 1 {
		return
	}
	highest := c.heatAt(freeHigh - wet*(freeHigh-freeLow))
	low, high := c.heatAt(-zeroK/10), highest
	var p place
	for range 100 { // bisection to rounding: the way back has no closed form
		h := (low + high) / 2
		if t, _, _ := c.read(h, highest, &p); t < tC {
			low = h
		} else {
			high = h
		}
	}
	for n := range fs.Heat {
		fs.Heat[n], fs.Highest[n] = high, highest
	}
	if fs.FreeLeft = b.freeLeft(c, fs.Highest); fs.FreeLeft < dryShare {
		fs.DryS = 0
	}
}

// curveOf is the heating curve that a flask's state is on.
func (f *flask) curveOf(s *FlaskState) *curve {
	if s.Soaked {
		return f.body.soaked
	}
	return f.body.fresh
}

// attached is the scratch of a flask, read off its state if need be.
func (f *flask) attached(s *FlaskState) *work {
	if s.work == nil {
		s.work = newWork(f.body, len(f.pieces))
	}
	if !s.work.ready {
		s.work.attach(f.body, f.curveOf(s), s)
	}
	return s.work
}

// StoredJ is the heat in one flask of kind i, sleeve included, J, counted from
// -40 °C. What it grows by is the InJ and CorrectedJ of its state.
func (m *Model) StoredJ(s *State, i int) float64 {
	b, fs := m.flasks[i].body, &s.Flasks[i]
	sum := 0.0
	for r, v := range b.volume {
		for _, h := range fs.Heat[r*b.layers : (r+1)*b.layers] {
			sum += h * v
		}
	}
	for _, t := range fs.SleeveC {
		sum += b.sleeveJK * (t - knotLowC)
	}
	return sum
}
