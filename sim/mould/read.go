package mould

// Reading is what can be told at one time. Masses and rates are of one mould of
// its kind, not of all Count.
type Reading struct {
	TimeS       float64 // since Start, s
	ChamberC    float64 // of the last sample, °C
	Oxygen      float64 // mole fraction in the kiln, 0.2095 is fresh air
	LeastOxygen float64 // lowest so far
	SmokeMol    float64 // oxygen that unburnt vapours would have needed, so far
	Flasks      []FlaskReading
}

// FlaskReading tells of one kind of mould.
type FlaskReading struct {
	Name              string
	CoreC             float64 // on the axis at mid height, °C
	SurfaceC          float64 // of the investment at the side, mid height, °C
	FreeWaterKg       float64
	BoundWaterKg      float64 // of gypsum
	FreeWaterLeft     float64 // share of that at the start, 0 to 1
	SteamKgS          float64 // free water leaving, kg/s
	Dry               bool    // less than 0.1 % of the free water is left
	DryS              float64 // when that came, s since Start; -1 before
	DifferenceK       float64 // surface to core, now
	MostDifferenceK   float64 // largest so far
	MostCristobaliteK float64 // the same while any part was at 200 to 280 °C
	MostQuartzK       float64 // the same while any part was at 550 to 600 °C
	CrackingIndex     float64 // largest so far; from 0.6 look out, from 1 stop the ramp
	SteamIndex        float64 // now: steam pressure over strength of the wall; an index, no pressure
	MostSteamIndex    float64
	ClearFraction     float64 // least of the pieces; 1 with none
	ClearS            float64 // when the last piece was clear, s since Start; -1 before
	Warnings          Warnings
	CorrectedJ        float64 // put in by Correct, J
	Pieces            []PieceReading
}

// PieceReading tells of one of the Count equal pieces.
type PieceReading struct {
	Material         string
	TemperatureC     float64
	Stage            Stage
	WaterFraction    float64 // of its water at the start
	VolatileFraction float64 // of its volatiles at the start
	CharKg           float64 // char present
	// CharFraction is the char present over all that forms.
	CharFraction float64
	// ClearFraction is 1 less what is left to burn: char present and still to
	// form over all char; of a piece that leaves next to none, volatiles.
	ClearFraction float64
	ClearS        float64 // when it was clear (99.5 %), s since Start; -1 before
	AshKg         float64 // that will stay
	// Starved is 1 where burning waits for air, 0 where it waits for heat.
	Starved float64
}

// Stage is how far a piece is.
type Stage int

// The stages in their order.
const (
	Raw        Stage = iota
	Dried            // half its water gone
	Pyrolysing       // half its volatiles gone
	Charred          // 95 % of its volatiles gone
	CharCore         // and more than 10 % of its char
	Ash              // clear: less than 0.5 % of its char left
)

// String names the stage as on a test piece.
func (s Stage) String() string {
	return [...]string{"raw", "dried", "pyrolysing", "charred", "char core", "ash"}[s]
}

// Read tells where the moulds are.
func (m *Model) Read(s *State) Reading {
	var r Reading
	m.ReadInto(s, &r)
	return r
}

// ReadInto is Read that uses r's slices again; from the second call on nothing
// is allocated.
func (m *Model) ReadInto(s *State, r *Reading) {
	flasks := r.Flasks
	if len(flasks) != len(m.flasks) {
		flasks = make([]FlaskReading, len(m.flasks))
	}
	*r = Reading{TimeS: s.TimeS, ChamberC: s.ChamberC, Oxygen: s.Oxygen, LeastOxygen: s.LeastO2, SmokeMol: s.SmokeMol, Flasks: flasks}
	for i := range m.flasks {
		m.flasks[i].read(&s.Flasks[i], s, &flasks[i])
	}
}

func (f *flask) read(fs *FlaskState, s *State, r *FlaskReading) {
	w, c, b := f.attached(fs), f.curveOf(fs), f.body
	pieces := r.Pieces
	if len(pieces) != len(f.pieces) {
		pieces = make([]PieceReading, len(f.pieces))
	}
	*r = FlaskReading{
		Name: f.params.Name, FreeWaterLeft: fs.FreeLeft, SteamKgS: fs.SteamKgS, DryS: fs.DryS, Dry: fs.DryS >= 0,
		MostDifferenceK: fs.MostK, MostCristobaliteK: fs.MostCristobalK, MostQuartzK: fs.MostQuartzK,
		CrackingIndex: max(fs.MostCristobalK/cristobalStopK, fs.MostQuartzK/quartzStopK),
		SteamIndex:    f.steamIndex(fs.SteamKgS, fs.FreeLeft), MostSteamIndex: fs.MostSteam, CorrectedJ: fs.CorrectedJ, Pieces: pieces,
	}
	r.FreeWaterKg = fs.FreeLeft * c.free * b.wholeM3()
	r.BoundWaterKg = b.boundKg(c, fs.Highest, w.places)
	r.CoreC, r.SurfaceC = b.ends(fs, w, &b.film, s.ChamberC)
	r.DifferenceK = max(r.SurfaceC-r.CoreC, r.CoreC-r.SurfaceC)
	r.ClearFraction, r.ClearS = 1, 0
	for n := range f.pieces {
		e, p := &f.pieces[n], &fs.Pieces[n]
		q := e.read(p, b.at(c, e.cells, fs, w).tC, s.Oxygen)
		pieces[n] = q
		r.ClearFraction = min(r.ClearFraction, q.ClearFraction)
		if r.ClearS >= 0 {
			r.ClearS = max(r.ClearS, q.ClearS)
		}
		if q.ClearS < 0 {
			r.ClearS = -1
		}
		r.Warnings |= e.warn(p)
	}
	r.Warnings |= f.warn(r, s)
}

func (e *piece) read(p *PieceState, tC, oxygen float64) PieceReading {
	q := PieceReading{
		Material: e.material.Name, TemperatureC: tC, Stage: e.stage(p), CharKg: p.CharKg,
		WaterFraction: part(p.WaterKg, e.wetKg), VolatileFraction: part(p.volatiles(), e.volumeKg),
		CharFraction: part(p.CharKg, e.charKg), ClearFraction: max(0, 1-e.remaining(p)), ClearS: p.ClearS, AshKg: e.ashKg,
	}
	if p.CharKg > 0 && p.SurfaceX > 0 && oxygen > 0 {
		q.Starved = max(0, 1-p.SurfaceX/oxygen)
	}
	return q
}

func part(v, whole float64) float64 {
	if whole <= 0 {
		return 0
	}
	return v / whole
}

func (e *piece) stage(p *PieceState) Stage {
	volatiles := part(p.volatiles(), e.volumeKg)
	switch {
	case p.ClearS >= 0:
		return Ash
	case volatiles < 0.05 && p.BurntKg > 0.1*e.charKg:
		return CharCore
	case volatiles < 0.05:
		return Charred
	case volatiles < 0.5:
		return Pyrolysing
	case p.WaterKg < e.wetKg/2 || e.wetKg == 0:
		return Dried
	}
	return Raw
}
