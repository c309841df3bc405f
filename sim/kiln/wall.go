package kiln

import "math"

// wall is the lining and the case around it, as a chain of cells from the hot
// face outwards: one-dimensional conduction through an area that grows with
// depth, finite volumes, backward Euler with the properties of the step's
// start. What leaves one cell enters the next, so no heat is lost or made.
type wall struct {
	cells []cell
	shell shell
	hotG  float64 // conductance from the hot face to the first cell, W/K, this step
}

type cell struct {
	props        *table
	volumeM3     float64
	inner, outer float64 // ∫dx/A over the half towards and away from the heat, 1/m
	tC           float64

	// Of this step:
	at      *entry // where tC lies in props, and how far to the next
	way     float64
	heat    float64 // heat capacity, J/m³/K
	own     float64 // heat capacity over the step, W/K
	k       float64 // conductivity, W/m/K
	g       float64 // conductance to the next cell or the case, W/K
	b, invD float64 // right-hand side and 1/diagonal after elimination
}

type shell struct {
	heatCap float64 // J/K
	tC      float64
	b, invD float64
	g, airC float64 // conductance to the room and its temperature, this step
}

// steelCP is the specific heat of carbon steel near room temperature, J/kg/K
// (Incropera & DeWitt, table A.1, plain carbon steel: 434 at 300 K, 487 at
// 400 K).
const steelCP = 460

// Grid: the first cell is thin, each next one thicker by growth, and every
// layer has at least leastCells, until the wall has about wantCells.
const (
	wantCells  = 24
	leastCells = 3
	growth     = 1.22
)

// newWall divides the layers into about want cells at the temperature startC.
// area is what carries the heat at a depth, m² at m; caseJK is the heat
// capacity of the case, J/K.
func newWall(layers []Layer, area func(depthM float64) float64, caseJK, startC float64, want int) *wall {
	first := thickness(layers) / leastCells
	for countCells(layers, first) < want {
		first *= 0.97
	}
	w := &wall{shell: shell{heatCap: caseJK, tC: startC}}
	size, depth := first, 0.0
	for _, l := range layers {
		m := l.Made()
		props := newTable(m.RhoCp, m.K)
		n := cellsIn(float64(l.Thickness), size)
		scale := float64(l.Thickness) / geometric(n, size)
		for range n {
			dx := size * scale
			w.cells = append(w.cells, cell{
				props: props, tC: startC,
				volumeM3: simpson(area, depth, depth+dx),
				inner:    simpson(inverse(area), depth, depth+dx/2),
				outer:    simpson(inverse(area), depth+dx/2, depth+dx),
			})
			depth += dx
			size *= growth
		}
	}
	return w
}

// cellsIn is how many cells, the first of the given size, a layer is cut in.
func cellsIn(thickness, size float64) int {
	n := int(math.Ceil(math.Log1p(thickness/size*(growth-1)) / math.Log(growth)))
	return max(n, leastCells)
}

// geometric is the thickness of n cells, the first of the given size.
func geometric(n int, size float64) float64 {
	return size * (math.Pow(growth, float64(n)) - 1) / (growth - 1)
}

func countCells(layers []Layer, size float64) int {
	total := 0
	for _, l := range layers {
		n := cellsIn(float64(l.Thickness), size)
		total += n
		size *= math.Pow(growth, float64(n))
	}
	return total
}

func inverse(f func(float64) float64) func(float64) float64 {
	return func(x float64) float64 { return 1 / f(x) }
}

// simpson integrates the smooth f from a to b.
func simpson(f func(float64) float64, a, b float64) float64 {
	const pieces = 8 // even; exact to rounding for these short spans
	h := (b - a) / pieces
	sum := f(a) + f(b)
	for i := 1; i < pieces; i++ {
		sum += f(a+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// condense eliminates the chain from the case inwards for a step of dt seconds
// with conductance g in W/K to a room at airC. The hot face has no mass and is
// at hotC now; condense returns the heat flow in W that enters if the face
// keeps that temperature, and how much more enters for each kelvin it rises.
func (w *wall) condense(dt, hotC, g, airC float64) (flowW, perK float64) {
	s := &w.shell
	s.g, s.airC = g, airC
	last, perS := len(w.cells)-1, 1/dt
	for i := range w.cells {
		c := &w.cells[i]
		c.at, c.way = c.props.find(c.tC)
		c.heat = c.at.c + c.at.dc*c.way
		c.own = c.heat * c.volumeM3 * perS
		k := c.at.k + c.at.dk*c.way
		c.k = k
		if i > 0 {
			a := &w.cells[i-1]
			a.g = a.k * k / (a.outer*k + c.inner*a.k)
		}
	}
	w.hotG = w.cells[0].k / w.cells[0].inner
	w.cells[last].g = w.cells[last].k / w.cells[last].outer
	s.invD = 1 / (s.heatCap/dt + w.cells[last].g + g)
	s.b = w.cells[last].g*(w.cells[last].tC-s.tC) + g*(airC-s.tC)

	next, nextB, nextInv := s.tC, s.b, s.invD
	for i := last; i >= 0; i-- {
		c := &w.cells[i]
		up, upC := w.hotG, hotC
		if i > 0 {
			up, upC = w.cells[i-1].g, w.cells[i-1].tC
		}
		share := c.g * nextInv
		c.invD = 1 / (c.own + up + c.g*(1-share))
		c.b = up*(upC-c.tC) + c.g*(next-c.tC) + share*nextB
		next, nextB, nextInv = c.tC, c.b, c.invD
	}
	first := &w.cells[0]
	pass := 1 - w.hotG*first.invD
	return w.hotG * ((hotC - first.tC) - first.b*first.invD), w.hotG * pass
}

// advance completes the step once the hot face is known to rise by riseK, and
// returns the heat flow in W from the case to the room.
func (w *wall) advance(riseK float64) float64 {
	g := w.hotG
	for i := range w.cells {
		c := &w.cells[i]
		riseK = (c.b + g*riseK) * c.invD
		c.tC = c.props.warmFrom(c.at, c.way, c.heat, c.tC, riseK)
		g = c.g
	}
	w.shell.tC += (w.shell.b + g*riseK) * w.shell.invD
	return w.shell.g * (w.shell.tC - w.shell.airC)
}

// storedJ is the heat in the wall and case, from tableLowC.
func (w *wall) storedJ() float64 {
	sum := w.shell.heatCap * (w.shell.tC - tableLowC)
	for i := range w.cells {
		sum += w.cells[i].volumeM3 * w.cells[i].props.heatAt(w.cells[i].tC)
	}
	return sum
}
