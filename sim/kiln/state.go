package kiln

import "fmt"

// State is everything a kiln remembers. It prints, stores and compares as it
// is; temperatures in °C, energies in J.
type State struct {
	ElementC, HotFaceC, LoadC, LoadCoreC float64
	SheathC, JunctionC, GasC, ShellC     float64
	AmbientC, PowerW                     float64
	EnergyJ, LoadHeatJ, LostJ            float64
	// WallC is the wall from the hot face outwards, one value a cell.
	WallC []float64
}

// State returns a copy of the kiln's state.
func (k *Kiln) State() State { return k.StateIn(make([]float64, 0, len(k.wall.cells))) }

// StateIn is State with its wall put into wallC, which it overwrites, for whoever
// takes many and has a place for them.
func (k *Kiln) StateIn(wallC []float64) State {
	s := State{
		ElementC: k.tC[element], HotFaceC: k.tC[hotFace], LoadC: k.tC[load], LoadCoreC: k.coreC,
		SheathC: k.tC[sheath], JunctionC: k.junctionC, GasC: k.gasC, ShellC: k.wall.shell.tC,
		AmbientC: k.ambientC, PowerW: k.powerW,
		EnergyJ: k.energyJ, LoadHeatJ: k.loadHeatJ, LostJ: k.lostJ,
		WallC: wallC[:0],
	}
	for i := range k.wall.cells {
		s.WallC = append(s.WallC, k.wall.cells[i].tC)
	}
	return s
}

// Clone returns a kiln of its own in the same state. It shares the tables of
// properties, which never change, so it is much cheaper than New.
func (k *Kiln) Clone() *Kiln {
	c, w := *k, *k.wall
	w.cells = append([]cell(nil), w.cells...)
	c.wall = &w
	return &c
}

// Restore puts the kiln into a state of a kiln with the same parameters; it
// then goes on bit for bit as that kiln would have. A state with another number
// of wall cells or with a value that is not finite is refused and changes
// nothing.
func (k *Kiln) Restore(s State) error {
	if len(s.WallC) != len(k.wall.cells) {
		return fmt.Errorf("restore kiln %s: the state has %d wall cells and this kiln %d; it belongs to another kiln", k.p.Name, len(s.WallC), len(k.wall.cells))
	}
	sum := s.ElementC + s.HotFaceC + s.LoadC + s.LoadCoreC + s.SheathC + s.JunctionC + s.GasC + s.ShellC + s.AmbientC + s.PowerW + s.EnergyJ + s.LoadHeatJ + s.LostJ
	for _, t := range s.WallC {
		sum += t
	}
	if !finite(sum) {
		return fmt.Errorf("restore kiln %s: the state holds a value that is not a finite number", k.p.Name)
	}
	k.tC = [bodies]float64{element: s.ElementC, hotFace: s.HotFaceC, load: s.LoadC, sheath: s.SheathC}
	k.coreC, k.junctionC, k.gasC = s.LoadCoreC, s.JunctionC, s.GasC
	k.wall.shell.tC = s.ShellC
	k.ambientC, k.powerW = s.AmbientC, s.PowerW
	k.energyJ, k.loadHeatJ, k.lostJ = s.EnergyJ, s.LoadHeatJ, s.LostJ
	for i, t := range s.WallC {
		k.wall.cells[i].tC = t
	}
	return nil
}
