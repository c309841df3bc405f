// Package sensor says what a thermocouple reading is and which faults it can
// carry. It knows no chip and no control: the drivers below it produce
// readings, the controller consumes them. A reading with any fault has no
// usable temperature; there is no such thing as a slightly faulty number.
package sensor

import (
	"math"
	"strings"
	"time"
)

// Fault is a set of reasons why a reading must not be used. Zero is a good
// reading.
type Fault uint16

// The faults a reading can carry. The first seven are reported by chips, the
// rest are found by the drivers or by the reader.
const (
	Open         Fault = 1 << iota // no thermocouple connected, or a broken wire
	ShortGround                    // a thermocouple wire touches ground
	ShortSupply                    // a thermocouple wire touches the supply
	OverUnder                      // an input is beyond the supply rails
	HotRange                       // hot junction outside what the type allows
	ColdRange                      // cold junction outside what the chip allows
	Limit                          // a limit programmed into the chip was passed
	DeadBus                        // every bit of the frame was 0, or every bit 1
	Corrupt                        // reserved or redundant bits contradict each other
	ConfigLost                     // the chip no longer holds what was written to it
	BusError                       // the transfer itself failed
	Stale                          // no conversion since the last reading
	Unlinearised                   // the voltage has no temperature for this type
)

var faultNames = []string{
	"open", "short_ground", "short_supply", "over_under_voltage", "hot_range",
	"cold_range", "limit", "dead_bus", "corrupt", "config_lost", "bus_error",
	"stale", "unlinearised",
}

// Names lists the fault names in bit order: the fixed set that metrics use as
// label values.
func Names() []string { return append([]string(nil), faultNames...) }

// String lists the faults, for example "open, cold_range"; "ok" for none.
func (f Fault) String() string {
	if f == 0 {
		return "ok"
	}
	var s []string
	for i, n := range faultNames {
		if f&(1<<i) != 0 {
			s = append(s, n)
		}
	}
	return strings.Join(s, ", ")
}

// Reading is one conversion of one thermocouple.
type Reading struct {
	At       time.Duration // monotonic, since the reader started
	HotC     float64       // hot junction, °C, ITS-90; NaN when Fault is not 0
	ColdC    float64       // cold junction, °C; NaN where the chip has none to give
	HotCode  int32         // hot junction as sent by the chip, in its own steps
	ColdCode int32         // cold junction as sent by the chip, in its own steps
	Fault    Fault         // why HotC must not be used; 0 when it may
}

// OK reports whether HotC may be used.
func (r Reading) OK() bool { return r.Fault == 0 && !math.IsNaN(r.HotC) && !math.IsInf(r.HotC, 0) }

// Unsure are the faults after which nothing in the frame can be believed, the
// cold junction as little as the hot one. The others are about the probe: the
// chip itself is well and its cold junction is still a temperature.
const Unsure = DeadBus | Corrupt | ConfigLost | BusError | Stale

// Resolve adds what a driver's Temperatures function made of the codes in r to
// what the chip said in r.Fault, and takes back every temperature that a fault
// forbids. Beside a fault the hot code means nothing, so nothing is concluded
// from it. Applied to the codes and the fault of a logged reading Resolve gives
// that reading again, bit for bit:
//
//	r.Resolve(max31855.Temperatures(thermocouple.K, r.HotCode, r.ColdCode))
func (r Reading) Resolve(hotC, coldC float64, f Fault) Reading {
	r.HotC, r.ColdC = hotC, coldC
	switch {
	case r.Fault&Unsure != 0:
		r.ColdC = math.NaN()
	case r.Fault != 0:
		r.Fault |= f & ColdRange
	default:
		r.Fault = f
	}
	if r.Fault != 0 {
		r.HotC = math.NaN()
	}
	return r
}

// The cold junction sits in the controller box: outside MinColdC to MaxColdC, in
// °C, it is a broken sensor, a corrupt frame or a box on fire, and the chips are
// near the end of what they are specified for (common practice, no source).
const (
	MinColdC = -10.0
	MaxColdC = 70.0
)

// ColdPlausible reports whether coldC is a credible cold junction; NaN is not.
func ColdPlausible(coldC float64) bool { return coldC >= MinColdC && coldC <= MaxColdC }

// Failed is a reading without a temperature.
func Failed(at time.Duration, f Fault) Reading {
	return Reading{At: at, HotC: math.NaN(), ColdC: math.NaN(), Fault: f}
}
