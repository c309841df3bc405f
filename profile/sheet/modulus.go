package sheet

import (
	"math"

	"calx/sim/mould"
)

// FeedFactor is how many times the modulus of what it feeds a reservoir's must
// be. Source: Wlodawer, Directional Solidification of Steel Castings (1966);
// Campbell, Complete Casting Handbook; both from memory.
const FeedFactor = 1.2

var feedSource = Source{Memory, "Chvorinov 1940: freezing time goes as (V/A)^2; Wlodawer 1966, Campbell: reservoir at least 1.2 times the section"}

// BoxModulus is volume over cooling area, m, of a block with these sides, m.
// A plate of 7.5 x 12.5 x 2.0 cm has 0.701 cm (Groover, Fundamentals of Modern
// Manufacturing, riser example).
func BoxModulus(a, b, c float64) float64 { return a * b * c / (2 * (a*b + b*c + c*a)) }

// CylinderModulus is that of a cylinder with both ends cooling: diameter over 6
// when it is as high as wide, over 4 when it is very long.
func CylinderModulus(diameterM, heightM float64) float64 {
	return diameterM / (4 + 2*diameterM/heightM)
}

// BallModulus is that of a sphere.
func BallModulus(diameterM float64) float64 { return diameterM / 6 }

// SprueModulus is that of a round channel, which cools at its side only: metal
// stands at both ends.
func SprueModulus(diameterM float64) float64 { return diameterM / 4 }

// FreezingRatio is how many times as long a body of one modulus takes to
// freeze as one of another in the same mould. Source: Chvorinov, Giesserei 27
// (1940) 177: t = B (V/A)²; B cancels, and for hot gypsum moulds nobody
// publishes it. Worked: a cylinder of 4.70 cm, as high as wide, against the
// plate above takes 2.0 min against 1.6 min, 1.25 times (Groover).
func FreezingRatio(modulusM, otherM float64) float64 {
	r := modulusM / otherM
	return r * r
}

func modulusOf(p mould.Pattern) float64 {
	d, l := float64(p.Section), float64(p.Length)
	switch p.Shape {
	case mould.ShapeBall:
		return BallModulus(d)
	case mould.ShapeSheet:
		return BoxModulus(l, l, d)
	}
	return CylinderModulus(d, l)
}

// Feed is whether the reservoir and the sprue stay liquid for as long as the
// thickest section draws metal.
type Feed struct {
	Section    string  `json:"section"`     // which piece is thickest in this sense
	SectionM   float64 `json:"section_m"`   // its modulus
	NeedM      float64 `json:"need_m"`      // FeedFactor times that
	ReservoirM float64 `json:"reservoir_m"` // modulus of the reservoir
	// Proposed is true where no reservoir was given: the least that feeds.
	Proposed    bool    `json:"proposed"`
	Reservoir   Size    `json:"reservoir"`
	Feeds       bool    `json:"feeds"`         // the reservoir does
	FreezesIn   float64 `json:"freezes_in"`    // freezing time of the reservoir over the section's
	Sprue       Size    `json:"sprue"`         // zero for none
	SprueM      float64 `json:"sprue_m"`       // its modulus; 0 for none
	SprueFeeds  bool    `json:"sprue_feeds"`   // it stays open long enough
	LeastSprueM float64 `json:"least_sprue_m"` // diameter of one that would
	Source      Source  `json:"source"`
}

// Size is a round body, m.
type Size struct {
	DiameterM float64 `json:"diameter_m"`
	HeightM   float64 `json:"height_m"`
}

func (s Size) volumeM3() float64 { return cylinderM3(s.DiameterM, s.HeightM) }

func (in Input) feed() *Feed {
	f := Feed{Source: feedSource, Reservoir: in.Reservoir, Sprue: in.sprue()}
	for _, p := range in.Mould.Patterns {
		if m := modulusOf(p); m > f.SectionM {
			f.SectionM, f.Section = m, p.Material
		}
	}
	if f.SectionM == 0 {
		return nil
	}
	f.NeedM = FeedFactor * f.SectionM
	if f.Reservoir == (Size{}) {
		d := upToMM(6 * f.NeedM)
		f.Proposed, f.Reservoir = true, Size{d, d}
	}
	f.ReservoirM = CylinderModulus(f.Reservoir.DiameterM, f.Reservoir.HeightM)
	f.Feeds = enough(f.ReservoirM, f.NeedM)
	f.FreezesIn = FreezingRatio(f.ReservoirM, f.SectionM)
	f.SprueM = SprueModulus(f.Sprue.DiameterM)
	f.SprueFeeds = enough(f.SprueM, f.NeedM)
	f.LeastSprueM = 4 * f.NeedM
	return &f
}

// enough forgives what rounding in a float64 takes away.
func enough(have, need float64) bool { return have >= need*(1-1e-9) }

// upToMM rounds up to the next whole millimetre.
func upToMM(m float64) float64 { return math.Ceil(m*1000-1e-6) / 1000 }
