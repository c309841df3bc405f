package kiln

// JunctionC is the true temperature of the thermocouple junction, °C.
func (k *Kiln) JunctionC() float64 { return k.junctionC }

// GasC is the temperature of the gas in the chamber, °C.
func (k *Kiln) GasC() float64 { return k.gasC }

// HotFaceC is the temperature of the inner wall surface, °C.
func (k *Kiln) HotFaceC() float64 { return k.tC[hotFace] }

// ElementC is the temperature of the heating wire, °C.
func (k *Kiln) ElementC() float64 { return k.tC[element] }

// LoadC is the surface temperature of the load, °C.
func (k *Kiln) LoadC() float64 { return k.tC[load] }

// LoadCoreC is the temperature deep in the load, °C.
func (k *Kiln) LoadCoreC() float64 { return k.coreC }

// ShellC is the temperature of the case, °C.
func (k *Kiln) ShellC() float64 { return k.wall.shell.tC }

// PowerW is the mean electrical power over the last step, W.
func (k *Kiln) PowerW() float64 { return k.powerW }

// EnergyJ is the electrical energy taken since New or since the state that was
// restored began, J.
func (k *Kiln) EnergyJ() float64 { return k.energyJ }

// LostJ is the heat given to the room since then, J.
func (k *Kiln) LostJ() float64 { return k.lostJ }

// StoredJ is the heat held by all bodies, J; only its changes have a meaning.
func (k *Kiln) StoredJ() float64 {
	return k.wall.storedJ() +
		k.elementHeat.heatAt(k.tC[element]) +
		k.surfaceJ*k.tC[load] + k.coreJ*k.coreC +
		(1-junctionShare)*k.probeHeat.heatAt(k.tC[sheath]) + junctionShare*k.probeHeat.heatAt(k.junctionC)
}
