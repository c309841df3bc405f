package chart

import "math"

// braille has two columns and four rows of dots in a cell (Unicode Standard,
// block U+2800); the bits by row and column.
const brailleBase, dotsAcross, dotsDown = 0x2800, 2, 4

var brailleBit = [dotsDown][dotsAcross]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

func (s *sketch) measured() {
	if !s.unicode {
		s.stroke(s.f.measured(), func(x, y int) { s.set(gutter+x, s.plotTop+y, '*', hot) })
		return
	}
	dotW, dotH := s.columns()*dotsAcross, s.plotH*dotsDown
	for _, run := range runs(decimate(s.f.measured(), s.end, dotW)) {
		var px, py int
		for i, d := range run {
			fx, fy := s.at(d.t, d.v)
			x := min(max(int((fx+0.5)*dotsAcross), 0), dotW-1)
			y := min(max(int((fy+0.5)*dotsDown), 0), dotH-1)
			if i == 0 {
				px, py = x, y
			}
			bresenham(px, py, x, y, s.lightDot)
			px, py = x, y
		}
	}
}

func (s *sketch) lightDot(x, y int) {
	i := (s.plotTop+y/dotsDown)*s.w + gutter + x/dotsAcross
	if s.r[i] < brailleBase || s.r[i] > brailleBase+0xff {
		s.r[i] = brailleBase
	}
	s.r[i] |= brailleBit[y%dotsDown][x%dotsAcross]
	s.t[i] = hot
}

// planned dots the setpoint and the plan wherever they part from what was
// measured by more than a line.
func (s *sketch) planned() {
	mark := '·'
	if !s.unicode {
		mark = '.'
	}
	for _, curve := range [][]dot{s.f.setpoint(), s.f.plan()} {
		s.stroke(curve, func(x, y int) {
			if !s.isMeasured(x, y-1) && !s.isMeasured(x, y+1) {
				s.where(mark, planned)(x, y)
			}
		})
	}
}

func (s *sketch) isMeasured(x, y int) bool {
	return y >= 0 && y < s.plotH && s.t[(s.plotTop+y)*s.w+gutter+x] == hot
}

func (s *sketch) celsius() []Series {
	var out []Series
	for _, e := range s.f.Extra {
		if !e.Fraction {
			out = append(out, e)
		}
	}
	return out
}

func extraRune(i int) rune { return rune("o+x%"[i%4]) }

func (s *sketch) extras() {
	for i, e := range s.celsius() {
		s.stroke(e.dots(), s.where(extraRune(i), extra))
	}
}

// where puts a character only on cells that are still free or only the ceiling's.
func (s *sketch) where(r rune, t tone) func(x, y int) {
	return func(x, y int) {
		i := (s.plotTop+y)*s.w + gutter + x
		if s.r[i] == ' ' || s.r[i] == '-' {
			s.r[i], s.t[i] = r, t
		}
	}
}

// stroke draws a curve in whole cells.
func (s *sketch) stroke(curve []dot, put func(x, y int)) {
	for _, run := range runs(decimate(curve, s.end, s.columns())) {
		var px, py int
		for i, d := range run {
			fx, fy := s.at(d.t, d.v)
			x, y := int(math.Round(fx)), min(max(int(math.Round(fy)), 0), s.plotH-1)
			if i == 0 {
				px, py = x, y
			}
			bresenham(px, py, x, y, put)
			px, py = x, y
		}
	}
}

// bresenham visits the cells of a straight line (Bresenham, IBM Systems Journal
// 4(1), 1965, in its form for all octants).
func bresenham(x0, y0, x1, y1 int, put func(x, y int)) {
	dx, dy := abs(x1-x0), -abs(y1-y0)
	sx, sy := sign(x1-x0), sign(y1-y0)
	for e := dx + dy; ; {
		put(x0, y0)
		if x0 == x1 && y0 == y1 {
			return
		}
		twice := 2 * e
		if twice >= dy {
			e += dy
			x0 += sx
		}
		if twice <= dx {
			e += dx
			y0 += sy
		}
	}
}

func abs(n int) int { return max(n, -n) }

func sign(n int) int { return min(max(n, -1), 1) }
