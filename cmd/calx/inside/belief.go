package inside

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"calx/controller"
	"calx/profile"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// Physics is the basis of a belief that no test piece has been asked about.
const Physics = "physics alone, no test pieces"

// What is believed on the physics alone. How well air comes through the wall
// is known to a factor of exp(0.60), and the section of an uneven piece to 5 %:
// the spreads that a plan draws from, so that plan and firing agree on when to
// be sure. 6 kJ/mol is 0.75 RT at 700 °C: the flux of oxygen goes as the
// diffusion coefficient, T^1.75, times the concentration, 1/T.
const (
	accessLn       = 0.60
	sectionLn      = 0.05
	physicsJPerMol = 6000
	// tail is where the spread is taken, in standard deviations: at the 95 %
	// that holds go by. A sprue helps where the wall does not, so the tails of
	// the time are no lognormal's.
	tail = 1.645
)

// roomC is the room, and the chamber before a firing, °C. It is not what was
// measured, so that an interrupted firing goes on with what it began with.
const roomC = 20

// horizonS is how long a forecast waits for a piece to be clear, s.
const horizonS = 72 * 3600

// Build makes what the controller follows of moulds that stand in a kiln and
// are fired by p. channels are the roles of the thermocouples beside the
// chamber's. Errors name the mould, the field and what would be right.
func Build(files []File, k kiln.Params, p *profile.Profile, channels []string) (*controller.Mould, error) {
	if err := errors.Join(Fits(files, k), ceiling(files, p)); err != nil {
		return nil, err
	}
	params := make([]mould.Params, len(files))
	for i, f := range files {
		params[i] = f.Params
	}
	m, err := mould.New(params, mould.Env{Air: Air(k, roomC)})
	if err != nil {
		return nil, err
	}
	return &controller.Mould{Model: m, Clear: beliefs(m, p, k.MaxC()), Witness: witnesses(files, channels)}, nil
}

// ceiling refuses a hold until clear in a profile that never gets hot enough
// for the pieces to burn, or hotter than the investment stands.
func ceiling(files []File, p *profile.Profile) error {
	last, peakC := -1, 0.0
	for i, s := range p.Steps {
		if s.Kind == profile.Hold && s.Until == profile.UntilClear {
			last = i
		}
	}
	for _, s := range p.Steps[:last+1] {
		if s.Kind == profile.Heat {
			peakC = max(peakC, s.TargetC)
		}
	}
	if last < 0 {
		return nil
	}
	for _, f := range files {
		if err := f.Params.CheckCeiling(peakC); err != nil {
			return fmt.Errorf("%s: step %d, %q, would wait in vain: %w", f.Name, last+1, p.Sentence(last), err)
		}
	}
	return nil
}

// beliefs are what the physics says of every piece: the dose that clears it in
// the nominal model, and how much more it takes where the air comes badly and
// the section is thick.
func beliefs(m *mould.Model, p *profile.Profile, maxC float64) []controller.Belief {
	nominal := doses(m, p, maxC)
	starved := doses(m.Vary(mould.Variation{Access: math.Exp(-tail * accessLn), Kinetics: 1, Section: 1, Conductivity: 1}), p, maxC)
	thick := doses(m.Vary(mould.Variation{Access: 1, Kinetics: 1, Section: math.Exp(tail * sectionLn), Conductivity: 1}), p, maxC)
	out := make([]controller.Belief, len(nominal))
	for i, d := range nominal {
		const leastLn = 0.1 // what burns in no time is no surer than that
		sigma := math.Hypot(math.Log(starved[i]/d), math.Log(thick[i]/d)) / tail
		out[i] = controller.Belief{MedianMin: d, SigmaLn: max(sigma, leastLn), EnergyJPerMol: physicsJPerMol, Basis: Physics}
	}
	return out
}

// doses are the equivalent minutes that every piece has taken when the model
// has it clear, along the planned chamber. The last hold until clear, or else
// the hottest hold, lasts as long as that takes; what is not clear by then goes
// on at 700 °C.
func doses(m *mould.Model, p *profile.Profile, maxC float64) []float64 {
	w := newWalker(m, nil, roomC, 1)
	plan := profile.Unroll(p, profile.Outlook{StartC: roomC, MaxC: maxC})
	longest := burnHold(p, plan)
	for i, g := range plan.Segments {
		extend := 0.0
		if i == longest {
			extend = horizonS
		}
		if w.step(p.Steps[g.Step], g, extend); w.clear() {
			break
		}
	}
	const referenceC = 700
	if !w.clear() {
		w.run(horizonS, func(float64) float64 { return referenceC }, w.clear)
	}
	out := make([]float64, len(w.doseMin))
	for i := range out {
		out[i] = w.median(i)
	}
	return out
}

// median is the dose that clears piece i. While air is short the burnt share
// grows in proportion to the dose, so a piece that never came to its end is
// taken to go on as it began. Under a minute, as for wax, the dose says
// nothing.
func (w *walker) median(i int) float64 {
	const leastMin, leastShare = 1, 0.01
	if c := w.clearMin[i]; c == c {
		return max(c, leastMin)
	}
	return max(w.doseMin[i]/max(w.share[i], leastShare), leastMin)
}

// burnHold is the step in which the pieces are meant to burn; -1 for none.
func burnHold(p *profile.Profile, t *profile.Timeline) int {
	hottest, untilClear := -1, -1
	for i, g := range t.Segments {
		s := p.Steps[g.Step]
		if s.Kind != profile.Hold {
			continue
		}
		if s.Until == profile.UntilClear {
			untilClear = i
		}
		if hottest < 0 || g.ToC >= t.Segments[hottest].ToC {
			hottest = i
		}
	}
	if untilClear >= 0 {
		return untilClear
	}
	return hottest
}

// Checks says which thermocouples beside the chamber's stand in the chamber as
// well, by their roles: "chamber 2", "chamber 3".
func Checks(roles []string) (at []int) {
	for i, r := range roles {
		if strings.HasPrefix(r, "chamber ") {
			at = append(at, i)
		}
	}
	return at
}

// witnesses says which mould each thermocouple beside the chamber's sits in
// the core of: "witness 2" in the second, "witness" in the first. Any other
// role, such as that of a probe in a test plug, is only recorded.
func witnesses(files []File, roles []string) []int {
	out := make([]int, len(roles))
	for i, r := range roles {
		out[i] = -1
		number, named := strings.CutPrefix(r, "witness ")
		n, err := strconv.Atoi(number)
		if r == "witness" {
			n, named, err = 1, true, nil
		}
		if named && err == nil && n >= 1 && n <= len(files) {
			out[i] = n - 1
		}
	}
	return out
}

// Evidence words what the chance of being clear rests on.
func Evidence(m *controller.Mould) string {
	seen := map[string]bool{}
	var out []string
	for _, b := range m.Clear {
		text := fmt.Sprintf("%s; two in three within a factor of %.1f", b.Basis, math.Exp(b.SigmaLn))
		if !seen[text] {
			seen[text] = true
			out = append(out, text)
		}
	}
	for i, w := range m.Witness {
		if w >= 0 {
			out = append(out, fmt.Sprintf("mould %d is corrected by thermocouple %d", w+1, i+2))
		}
	}
	return strings.Join(out, "; ")
}

// Basis words what the beliefs rest on, without how sure they are.
func Basis(m *controller.Mould) string { return KeptBasis(Keep(m)) }
