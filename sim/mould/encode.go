package mould

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// stateVersion heads the bytes of a state. A change of the fields is a new
// version; an unknown one is refused.
const stateVersion = 1

var errShort = errors.New("mould state: the bytes end early or hold a length that cannot be")

// codec writes or reads a state, field by field, in one order.
type codec struct {
	reading bool
	bytes   []byte
	err     error
}

func (c *codec) number(v *float64) {
	if !c.reading {
		c.bytes = binary.LittleEndian.AppendUint64(c.bytes, math.Float64bits(*v))
		return
	}
	if c.err != nil || len(c.bytes) < 8 {
		c.err = errShort
		return
	}
	*v = math.Float64frombits(binary.LittleEndian.Uint64(c.bytes))
	c.bytes = c.bytes[8:]
}

func (c *codec) numbers(list ...*float64) {
	for _, v := range list {
		c.number(v)
	}
}

// length writes n or reads one; each element takes at least size bytes.
func (c *codec) length(n, size int) int {
	if !c.reading {
		c.bytes = binary.LittleEndian.AppendUint32(c.bytes, uint32(n))
		return n
	}
	if c.err != nil || len(c.bytes) < 4 {
		c.err = errShort
		return 0
	}
	got := uint64(binary.LittleEndian.Uint32(c.bytes))
	c.bytes = c.bytes[4:]
	if got*uint64(size) > uint64(len(c.bytes)) {
		c.err = errShort
		return 0
	}
	return int(got)
}

func (c *codec) list(v *[]float64) {
	n := c.length(len(*v), 8)
	if c.reading && n > 0 {
		*v = make([]float64, n)
	}
	for i := range *v {
		c.number(&(*v)[i])
	}
}

func (c *codec) flag(v *bool) {
	var f float64
	if *v {
		f = 1
	}
	c.number(&f)
	*v = f != 0
}

const (
	leastFlaskBytes = 100
	pieceBytes      = 8 * 13
)

func (c *codec) state(s *State) {
	c.numbers(&s.TimeS, &s.WaitingS, &s.WaitingCS, &s.WaitingOn, &s.ChamberC, &s.Oxygen, &s.LeastO2, &s.SmokeMol)
	n := c.length(len(s.Flasks), leastFlaskBytes)
	if c.reading && n > 0 {
		s.Flasks = make([]FlaskState, n)
	}
	for i := range s.Flasks {
		f := &s.Flasks[i]
		c.flag(&f.Soaked)
		c.list(&f.Heat)
		c.list(&f.Highest)
		c.list(&f.SleeveC)
		c.numbers(&f.InJ, &f.CorrectedJ, &f.FreeLeft, &f.SteamKgS, &f.DryS,
			&f.MostK, &f.MostCristobalK, &f.MostQuartzK, &f.MostSteam, &f.LastCorrectionS)
		c.pieces(&f.Pieces)
	}
}

func (c *codec) pieces(list *[]PieceState) {
	n := c.length(len(*list), pieceBytes)
	if c.reading && n > 0 {
		*list = make([]PieceState, n)
	}
	for i := range *list {
		p := &(*list)[i]
		v := &p.VolatileKg
		c.numbers(&p.WaterKg, &v[0], &v[1], &v[2], &v[3], &p.UnformedKg, &p.CharKg, &p.SteamKg, &p.GasKg,
			&p.BurntKg, &p.SurfaceX, &p.ClearS, &p.CarbonC, &p.HighC)
	}
}

// MarshalBinary writes the state, about 6 KB a flask on the default grid.
func (s State) MarshalBinary() ([]byte, error) {
	c := codec{bytes: []byte{stateVersion}}
	c.state(&s)
	return c.bytes, nil
}

// UnmarshalBinary reads what MarshalBinary wrote; on an error s is unchanged.
// Ask [Model.CheckState] whether it fits the moulds.
func (s *State) UnmarshalBinary(data []byte) error {
	if len(data) == 0 {
		return errShort
	}
	if data[0] != stateVersion {
		return fmt.Errorf("mould state: version %d is not known; this program writes and reads version %d", data[0], stateVersion)
	}
	var fresh State
	c := codec{reading: true, bytes: data[1:]}
	c.state(&fresh)
	if c.err != nil {
		return c.err
	}
	if len(c.bytes) > 0 {
		return fmt.Errorf("mould state: %d bytes too many", len(c.bytes))
	}
	*s = fresh
	return nil
}

// CheckState tells why a stored state cannot go on in this model: another
// number of moulds, pieces or cells, or a figure that is not finite.
func (m *Model) CheckState(s *State) error {
	if len(s.Flasks) != len(m.flasks) {
		return fmt.Errorf("mould state: holds %d kinds of mould, the files hold %d", len(s.Flasks), len(m.flasks))
	}
	sum := 0.0
	for i := range s.Flasks {
		f, b := &s.Flasks[i], m.flasks[i].body
		sleeve := 0
		if b.sleeved {
			sleeve = b.layers
		}
		if len(f.Heat) != b.cells() || len(f.Highest) != b.cells() || len(f.SleeveC) != sleeve || len(f.Pieces) != len(m.flasks[i].pieces) {
			return fmt.Errorf("mould state: mould %s was stored with another grid, sleeve or number of patterns", m.flasks[i].params.Name)
		}
		for n := range f.Heat {
			sum += f.Heat[n] + f.Highest[n]
		}
		for _, t := range f.SleeveC {
			sum += t
		}
	}
	sum += s.TimeS + s.WaitingS + s.WaitingCS + s.ChamberC + s.Oxygen
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return errors.New("mould state: a figure in it is not finite")
	}
	return nil
}
