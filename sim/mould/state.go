package mould

import "slices"

// State is all that changes: copy it with Clone, store it as JSON or bytes.
// Reading it back into the [Model] of the same files goes on bit for bit.
type State struct {
	TimeS float64 `json:"time_s"` // since Start, up to which the heat was moved
	// Of samples not yet used: their seconds, ∫chamber dt in °C·s, seconds with
	// the air relay on; and the last chamber temperature, °C.
	WaitingS  float64      `json:"waiting_s"`
	WaitingCS float64      `json:"waiting_cs"`
	WaitingOn float64      `json:"waiting_on_s"`
	ChamberC  float64      `json:"chamber_c"`
	Oxygen    float64      `json:"oxygen"`       // mole fraction in the kiln
	LeastO2   float64      `json:"least_oxygen"` // the lowest it was
	SmokeMol  float64      `json:"smoke_mol"`    // oxygen that unburnt smoke would have needed
	Flasks    []FlaskState `json:"flasks"`
}

// FlaskState is one kind of flask of the model's list.
type FlaskState struct {
	Soaked bool `json:"soaked,omitempty"` // on the heating curve of a washed-out mould
	// Heat per volume and the highest it was, J/m³; cell ring·layers+layer, ring
	// 0 on the axis, layer 0 at the base.
	Heat    []float64 `json:"heat"`
	Highest []float64 `json:"highest"`
	SleeveC []float64 `json:"sleeve_c,omitempty"` // per layer
	// InJ came in through the outside, CorrectedJ by [Model.Correct].
	InJ        float64 `json:"in_j"`
	CorrectedJ float64 `json:"corrected_j,omitempty"`
	// FreeLeft is the share of the start's free water, SteamKgS its loss, one
	// of the flasks.
	FreeLeft float64 `json:"free_left"`
	SteamKgS float64 `json:"steam_kg_s"`
	DryS     float64 `json:"dry_s"` // when free water fell below 0.1 %; -1 before
	// The largest so far: surface to core, overall and while in an inversion,
	// K; steam index.
	MostK           float64 `json:"most_k"`
	MostCristobalK  float64 `json:"most_cristobalite_k"`
	MostQuartzK     float64 `json:"most_quartz_k"`
	MostSteam       float64 `json:"most_steam"`
	LastCorrectionS float64 `json:"last_correction_s,omitempty"`

	Pieces []PieceState `json:"pieces,omitempty"`

	work *work
}

// PieceState is one kind of piece in one flask; masses in kg of one piece.
type PieceState struct {
	WaterKg    float64    `json:"water_kg"`
	VolatileKg [4]float64 `json:"volatile_kg"` // by reaction
	UnformedKg float64    `json:"unformed_kg"` // char that will form
	CharKg     float64    `json:"char_kg"`
	// What has left: water, volatiles, char.
	SteamKg  float64 `json:"steam_kg"`
	GasKg    float64 `json:"gas_kg"`
	BurntKg  float64 `json:"burnt_kg"`
	SurfaceX float64 `json:"surface_x"` // oxygen at the char, mole fraction
	ClearS   float64 `json:"clear_s"`   // -1 before
	// The highest temperature while carbon was left, and with ash, °C.
	CarbonC float64 `json:"carbon_c"`
	HighC   float64 `json:"high_c"`
}

func (s *PieceState) volatiles() float64 {
	return s.VolatileKg[0] + s.VolatileKg[1] + s.VolatileKg[2] + s.VolatileKg[3]
}

// Clone is a copy that shares nothing.
func (s State) Clone() State {
	s.Flasks = slices.Clone(s.Flasks)
	for i := range s.Flasks {
		f := &s.Flasks[i]
		f.Heat, f.Highest = slices.Clone(f.Heat), slices.Clone(f.Highest)
		f.SleeveC, f.Pieces = slices.Clone(f.SleeveC), slices.Clone(f.Pieces)
		if f.work != nil {
			f.work = f.work.clone() // reading it off the heats again costs more than a step
		}
	}
	return s
}

// start is a piece as it was cut.
func (e *piece) start() PieceState {
	return PieceState{WaterKg: e.wetKg, VolatileKg: e.startKg, UnformedKg: e.charKg, ClearS: -1, CarbonC: -zeroK, HighC: -zeroK}
}

// clone is a copy that shares nothing.
func (w *work) clone() *work {
	v := *w
	for _, s := range []*[]float64{
		&v.tC, &v.c, &v.k, &v.tNext, &v.cNext, &v.kNext, &v.below, &v.last, &v.lastInv, &v.start, &v.mass, &v.flow,
		&v.gr, &v.gz, &v.y, &v.d, &v.inv, &v.source, &v.side, &v.top, &v.bottom,
	} {
		*s = slices.Clone(*s)
	}
	v.places, v.pieceFrom, v.pieceTo = slices.Clone(w.places), slices.Clone(w.pieceFrom), slices.Clone(w.pieceTo)
	return &v
}
