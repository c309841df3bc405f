package sheet

import "calx/sim/mould"

// The least investment around a piece, m: common practice, no source.
const (
	LeastWallM = 0.010 // at the side; 10 to 12 mm is usual
	LeastEndM  = 0.015 // between the piece and the closed end; 15 to 20 mm
)

// Fit is the investment around one piece that stands on the axis. Several on
// one sprue stand off it: measure those.
type Fit struct {
	Piece string  `json:"piece"`
	Count int     `json:"count"`
	WallM float64 `json:"wall_m"` // to the wall
	EndM  float64 `json:"end_m"`  // to the end away from the mouth, or the nearer end where there is no sprue
	// MouthM is to the mouth: the length of the sprue, or the other end.
	MouthM float64 `json:"mouth_m"`
	WallOK bool    `json:"wall_ok"`
	EndOK  bool    `json:"end_ok"`
	Source Source  `json:"source"`
}

func (in Input) fits() (out []Fit) {
	for _, p := range in.Mould.Patterns {
		f := Fit{Piece: p.Material, Count: count(p.Count), Source: Source{Practice, "10 to 12 mm at the side, 15 to 20 mm at the end"}}
		across, along := extent(p)
		f.WallM = (float64(in.Mould.Flask.Diameter) - across) / 2
		h := float64(in.Mould.Flask.Height)
		if s := in.sprue().HeightM; s > 0 {
			f.MouthM, f.EndM = s, h-s-along
		} else {
			middle := h / 2
			if p.AboveBase > 0 {
				middle = float64(p.AboveBase)
			}
			below, above := middle-along/2, h-middle-along/2
			f.EndM, f.MouthM = min(below, above), max(below, above)
		}
		f.WallOK, f.EndOK = enough(f.WallM, LeastWallM), enough(f.EndM, LeastEndM)
		out = append(out, f)
	}
	return out
}

// extent is how wide a piece is and how far it reaches along the axis, m. A
// leaf stands flat in the flask, upright.
func extent(p mould.Pattern) (across, along float64) {
	switch p.Shape {
	case mould.ShapeBall:
		return float64(p.Section), float64(p.Section)
	case mould.ShapeSheet:
		return float64(p.Length), float64(p.Length)
	}
	return float64(p.Section), float64(p.Length)
}
