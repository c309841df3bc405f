package pieces

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Normal is a normal distribution: what is believed before any evidence.
type Normal struct{ Mean, SD float64 }

// Kind is what must be alike for two castings to share one time to clear at
// equal section. The words are the founder's own; only their being equal
// matters, but for the material, which Prior.Materials may describe.
type Kind struct {
	Material string // such as "woody stem"; 1 to 40 characters
	Flask    string // such as "plug", "bare plug", "steel flask"; may be empty
	Sprue    string // such as "none", "open mouth"; may be empty
	Air      bool   // the fresh-air relay on during the hold
}

func (k Kind) String() string {
	words := []string{k.Material}
	if k.Flask != "" {
		words = append(words, "in "+k.Flask)
	}
	if k.Sprue != "" {
		words = append(words, "sprue "+k.Sprue)
	}
	if k.Air {
		words = append(words, "air on")
	}
	return strings.Join(words, ", ")
}

// tidy makes words that differ only in case or spaces equal.
func (k Kind) tidy() Kind {
	same := func(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }
	return Kind{same(k.Material), same(k.Flask), same(k.Sprue), k.Air}
}

// Material is what the physics knows of one, as shares of its dry mass.
type Material struct {
	Name        string
	Char, Ash   float64 // shares, 0 to 1
	DensityKgM3 float64 // dry, of the shape; 10 to 2000
}

// woody is what a material not described is taken for: spruce and pine stems,
// Energies 15 (2022) 1442 for the shares.
var woody = Material{Name: "woody stem", Char: 0.255, Ash: 0.010, DensityKgM3: 600}

// Pooling splits the variance of a among what kinds may have in common. The
// rest, to 1, is common to all. Two kinds that differ in one respect differ by
// a normal variate of variance 2 share × variance of a.
type Pooling struct{ Material, Flask, Sprue, Air float64 }

// Prior is what is believed before the first piece.
type Prior struct {
	Name       string  // what it rests on, in words that end a sentence
	LogMinutes Normal  // a: logarithm of minutes, 10 mm at 700 °C
	Size       Normal  // n: power of the section
	EnergyKJ   Normal  // E, apparent, kJ/mol
	LogScatter Normal  // logarithm of σ, piece to piece
	Pooling    Pooling // shares, 0 to 1, adding up to 1 at most
	// FiringSD is how much log t of all pieces of one firing is off together,
	// for pulls that name their firing. 0 leaves it out.
	FiringSD float64
	// Misread is the probability that a look is wrong, 0 to 0.3. With 0 one
	// wrong label can decide everything.
	Misread float64
	// Materials that are known, for the mean of a (proportional to char per
	// volume, for supply of air sets the time) and for weighed residues.
	Materials []Material
	// Known holds means of a that the physics gave for certain kinds, in place
	// of LogMinutes.Mean. See Prior.WithPhysics.
	Known map[Kind]float64
}

// DefaultPrior is that of the burnout physics, widened for real moulds and
// pieces: for a woody section of 10 mm at 700 °C, 200 min within a factor 3.2
// either way (95 %). It is the middle between a plug in a steel tube (329 min)
// and a bare one (4 to 5 times faster); n = 2 less the slow growth of access
// with size; E by the T^1.75 of gas diffusion. Other materials start from
// woody, moved by char per volume; without any described all start alike.
//
// The shares of the pooling are a judgement, not measured: kinds of flask
// differ by 1.8, materials by 1.5, sprue and air by 1.3 (factors, one sigma).
func DefaultPrior(materials ...Material) Prior {
	return Prior{
		Name:       "the burnout physics for an unknown mould",
		LogMinutes: Normal{math.Log(200), 0.60},
		Size:       Normal{1.8, 0.30},
		EnergyKJ:   Normal{12, 10},
		LogScatter: Normal{math.Log(0.25), 0.40},
		Pooling:    Pooling{Material: 0.20, Flask: 0.45, Sprue: 0.10, Air: 0.10},
		FiringSD:   0.15,
		Misread:    0.02,
		Materials:  materials,
	}
}

// mean is the prior mean of a for a tidied kind: the physics of that kind, or
// of the same habit with another material, or the default.
func (p Prior) mean(k Kind) float64 {
	if a, ok := p.Known[k]; ok {
		return a
	}
	from, base := woody.Name, p.LogMinutes.Mean
	for _, other := range slices.SortedFunc(maps.Keys(p.Known), byName) {
		if other.Flask == k.Flask && other.Sprue == k.Sprue && other.Air == k.Air {
			from, base = other.Material, p.Known[other]
			break
		}
	}
	return base + math.Log(p.material(k.Material).charDensity()/p.material(from).charDensity())
}

func byName(a, b Kind) int { return cmp.Compare(a.String(), b.String()) }

func (p Prior) material(name string) Material {
	for _, m := range p.Materials {
		if strings.EqualFold(m.Name, name) {
			return m
		}
	}
	return woody
}

// charDensity in kg/m³. What leaves next to no char (wax, plastic) counts as 10:
// the model is not about it.
func (m Material) charDensity() float64 { return math.Max(10, m.Char*m.DensityKgM3) }

// covariance of a between two tidied kinds.
func (p Prior) covariance(a, b Kind) float64 {
	s := p.Pooling
	sum := 1 - s.Material - s.Flask - s.Sprue - s.Air
	for _, c := range []struct {
		same  bool
		share float64
	}{{a.Material == b.Material, s.Material}, {a.Flask == b.Flask, s.Flask}, {a.Sprue == b.Sprue, s.Sprue}, {a.Air == b.Air, s.Air}} {
		if c.same {
			sum += c.share
		}
	}
	return sum * p.LogMinutes.SD * p.LogMinutes.SD
}

// factor is the covariance of a over kinds, one at least, decomposed.
func (p Prior) factor(kinds []Kind) (*mat.Cholesky, error) {
	c := mat.NewSymDense(len(kinds), nil)
	for i, a := range kinds {
		for j := i; j < len(kinds); j++ {
			c.SetSym(i, j, p.covariance(a, kinds[j]))
		}
	}
	for i := range kinds { // two kinds that share all variance stay apart in the last digits
		c.SetSym(i, i, c.At(i, i)*(1+1e-9))
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return nil, errors.New("pieces: prior pooling: the shares make no covariance; each from 0 to 1, together 1 at most")
	}
	return &chol, nil
}

// check names every field that is out of range.
func (p Prior) check() error {
	var bad []error
	in := func(field string, x, least, most float64) {
		if !(x >= least && x <= most) {
			bad = append(bad, fmt.Errorf("pieces: prior %s %.4g is outside %g to %g", field, x, least, most))
		}
	}
	in("log minutes mean", p.LogMinutes.Mean, -2, 12)
	in("log minutes sd", p.LogMinutes.SD, 0.01, 5)
	in("size mean", p.Size.Mean, 0, 4)
	in("size sd", p.Size.SD, 0.01, 3)
	in("energy mean, kJ/mol,", p.EnergyKJ.Mean, -20, 120)
	in("energy sd, kJ/mol,", p.EnergyKJ.SD, 0.01, 20)
	in("log scatter mean", p.LogScatter.Mean, -5, 1)
	in("log scatter sd", p.LogScatter.SD, 0.01, 2)
	in("firing sd", p.FiringSD, 0, 1)
	in("misread", p.Misread, 0, 0.3)
	s := p.Pooling
	for _, share := range []float64{s.Material, s.Flask, s.Sprue, s.Air, s.Material + s.Flask + s.Sprue + s.Air} {
		in("pooling share", share, 0, 1)
	}
	for _, m := range p.Materials {
		in("char of "+m.Name, m.Char, 0, 1)
		in("ash of "+m.Name, m.Ash, 0, 1)
		in("density of "+m.Name+", kg/m³,", m.DensityKgM3, 10, 2000)
	}
	return errors.Join(bad...)
}
