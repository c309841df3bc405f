package pieces

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Run is one result of the burnout physics: a part at a steady temperature.
type Run struct {
	Part  Part
	TempC float64       // 350 to 1100 °C; above 500 °C air supply limits
	Clear time.Duration // over 0
}

// WithPhysics centres the prior on runs of the physics for the very mould: for
// each kind log t is regressed on log section and 1/T, and the level at 10 mm
// and 700 °C becomes the mean of a. All standard deviations stay: the physics
// is not known better for being asked about one mould. A kind needs four runs
// at least, of two sections and two temperatures. About {6, 10, 15, 22, 30} mm
// × {600, 700, 750} °C is a good choice.
func (p Prior) WithPhysics(runs []Run) (Prior, error) {
	byKind := map[Kind][]Run{}
	var bad []error
	for i, r := range runs {
		if err := (Goal{Part: r.Part, Chance: 0.5, TempC: r.TempC}).check(); err != nil {
			bad = append(bad, fmt.Errorf("pieces: run %d: %w", i+1, err))
		}
		if r.Clear <= 0 || r.Clear > longest {
			bad = append(bad, fmt.Errorf("pieces: run %d: clear after %v is outside 0 to 60 days", i+1, r.Clear))
		}
		k := r.Part.Kind.tidy()
		byKind[k] = append(byKind[k], r)
	}
	if err := errors.Join(bad...); err != nil {
		return p, err
	}
	known := maps.Clone(p.Known)
	if known == nil {
		known = map[Kind]float64{}
	}
	for _, k := range slices.SortedFunc(maps.Keys(byKind), byName) {
		line, err := regress(byKind[k])
		if err != nil {
			return p, fmt.Errorf("pieces: runs of %v: %w", k, err)
		}
		known[k] = line[0]
	}
	p.Known, p.Name = known, "the burnout physics of this mould"
	return p, nil
}

// regress returns a, n and E (kJ/mol) by least squares.
func regress(runs []Run) ([3]float64, error) {
	const least, unknowns = 4, 3
	if len(runs) < least {
		return [3]float64{}, fmt.Errorf("%d given, %d needed", len(runs), least)
	}
	x, y := mat.NewDense(len(runs), unknowns, nil), mat.NewVecDense(len(runs), nil)
	for i, r := range runs {
		x.SetRow(i, []float64{1, logSection(r.Part.SectionM), 1000 / gasConstant * (1/(r.TempC+zeroC) - 1/refK)})
		y.SetVec(i, math.Log(r.Clear.Minutes()))
	}
	var b mat.VecDense
	if err := b.SolveVec(x, y); err != nil {
		return [3]float64{}, errors.New("they need two sections and two temperatures at least")
	}
	return [3]float64{b.AtVec(0), b.AtVec(1), b.AtVec(2)}, nil
}
