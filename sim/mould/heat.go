package mould

import "math"

// work is the scratch of one flask: what follows from its state, and room for
// a step. It is no part of the state.
type work struct {
	places       []place
	tC, c, k     []float64 // per cell at the state's time
	tNext, cNext []float64 // of the iterate within a step
	kNext        []float64
	below, last  []float64 // of the recurrence, per ring
	lastInv      []float64
	start        []float64 // heat at the start of the step
	mass, flow   []float64 // V·C/Δt in W/K, and W from the neighbours
	gr, gz       []float64 // conductance outwards and upwards, W/K
	y, d, inv    []float64
	source       []float64
	side         []float64 // film outside, per layer, W/K
	top, bottom  []float64 // film at the ends, per ring, W/K
	pieceFrom    []spot    // of each piece, at the start and the end of the step
	pieceTo      []spot
	ready        bool
}

func newWork(b *body, pieces int) *work {
	n, all := b.cells(), b.cells()+b.layers // the sleeve is one ring more
	room := func(size int) []float64 { return make([]float64, size) }
	return &work{
		places: make([]place, n), tC: room(all), c: room(all), k: room(n), kNext: room(n), tNext: room(all), cNext: room(all),
		start: room(n), mass: room(all), flow: room(all), gr: room(all), gz: room(n), y: room(all), d: room(all), inv: room(all),
		source: room(all), side: room(b.layers), top: room(b.rings), bottom: room(b.rings),
		below: room(b.rings), last: room(b.rings), lastInv: room(b.rings),
		pieceFrom: make([]spot, pieces), pieceTo: make([]spot, pieces),
	}
}

// attach reads temperatures and properties off the heats.
func (w *work) attach(b *body, c *curve, f *FlaskState) {
	for n, h := range f.Heat {
		w.tC[n], w.c[n], w.k[n] = c.read(h, f.Highest[n], &w.places[n])
	}
	w.ready = true
}

// Stepping. weight is the share of the new state in the fluxes: 1/2 is of
// second order; a little more damps what a front leaves behind.
const (
	weight    = 0.55
	mostTurns = 4
	turnEndK  = 0.5 // a cell whose linear rise misses its curve by less is done
	mostMissK = 12  // a step whose last turn misses by more is taken again
	leastS    = 0.005
)

// advance moves the heat on by dt seconds with air of airC (the mean over the
// step) outside. It returns the largest change of temperature, and how many
// turns the curve took.
//
// The scheme is that of Douglas & Gunn, Numer. Math. 6 (1964) 428, in the
// increments: (M−θLr) y = L T, (M−θLz) d = M y, so that M d is exactly the sum
// of the fluxes of T+θy between rings and T+θd between layers. As the heat of
// a cell grows by just that, none is lost whatever the coefficients. Where a
// cell passes a kink of its curve, M is taken anew there (Newton). In thin cells
// that may run away: such a step is taken again as two halves.
func (b *body) advance(c *curve, f *FlaskState, w *work, dt, airC float64, out *film, base float64) (moveK float64, turns int) {
	b.conductances(f, w, airC, out, base)
	b.flows(f, w, airC)
	copy(w.start, f.Heat)
	n := b.cells()
	perS := 1 / dt
	clear(w.source)
	copy(w.cNext, w.c)
	for j := range f.SleeveC {
		w.mass[n+j] = b.sleeveJK * perS
	}
	for turns = 1; ; turns++ {
		for i, v := range b.volume {
			v *= perS
			for m := i * b.layers; m < (i+1)*b.layers; m++ {
				w.mass[m] = v * w.cNext[m]
			}
		}
		b.acrossRings(w, f)
		b.acrossLayers(w)
		var miss float64
		miss, moveK = b.settle(c, f, w, perS)
		if turns == mostTurns && miss > mostMissK && dt > leastS {
			copy(f.Heat, w.start)
			first, _ := b.advance(c, f, w, dt/2, airC, out, base)
			second, _ := b.advance(c, f, w, dt/2, airC, out, base)
			return first + second, turns
		}
		if miss < turnEndK || turns == mostTurns {
			break
		}
	}
	b.finish(f, w, dt, airC)
	return moveK, turns
}

// conductances of all faces, at the start of the step.
func (b *body) conductances(f *FlaskState, w *work, airC float64, out *film, base float64) {
	l := b.layers
	lower := out.times(base)
	for i := range b.rings {
		k := w.k[i*l : (i+1)*l]
		gz := w.gz[i*l : (i+1)*l]
		area := b.faceZ[i]
		for j := 0; j < len(k)-1; j++ {
			gz[j] = area * k[j] * k[j+1] / (k[j] + k[j+1])
		}
		gz[l-1] = 0
		half := b.dzM / 2
		low, _ := lower.inside(w.tC[i*l], airC, half/k[0])
		high, _ := out.inside(w.tC[i*l+l-1], airC, half/k[l-1])
		w.bottom[i], w.top[i] = low*b.endM2[i], high*b.endM2[i]
		if i == b.rings-1 {
			break
		}
		next := w.k[(i+1)*l : (i+2)*l]
		gr := w.gr[i*l : (i+1)*l]
		area = b.faceR[i]
		for j := range gr {
			gr[j] = area * k[j] * next[j] / (k[j] + next[j])
		}
	}
	last := (b.rings - 1) * l
	half := b.drM / 2
	for j := range l {
		if b.sleeved {
			w.gr[last+j] = b.sideM2 / (contactM2KW + half/w.k[last+j])
			w.side[j] = b.sideM2 * out.perM2(f.SleeveC[j], airC)
		} else {
			w.gr[last+j] = 0
			perM2, _ := out.inside(w.tC[last+j], airC, half/w.k[last+j])
			w.side[j] = b.sideM2 * perM2
		}
	}
}

// flows are the heats into each cell at the state of the start, W.
func (b *body) flows(f *FlaskState, w *work, airC float64) {
	l, n := b.layers, b.cells()
	flow, t := w.flow, w.tC
	copy(t[n:], f.SleeveC)
	clear(flow)
	for i := range b.rings {
		at := i * l
		row, tr, gz := flow[at:at+l], t[at:at+l], w.gz[at:at+l]
		row[0] += w.bottom[i] * (airC - tr[0])
		row[l-1] += w.top[i] * (airC - tr[l-1])
		for j := 0; j < l-1; j++ {
			q := gz[j] * (tr[j] - tr[j+1])
			row[j] -= q
			row[j+1] += q
		}
		if i == b.rings-1 && !b.sleeved {
			break
		}
		above, ta, gr := flow[at+l:at+2*l], t[at+l:at+2*l], w.gr[at:at+l]
		for j := range gr {
			q := gr[j] * (tr[j] - ta[j])
			row[j] -= q
			above[j] += q
		}
	}
	at := b.outer() * l
	for j, g := range w.side {
		flow[at+j] += g * (airC - t[at+j])
	}
}

// outer is the ring that the film on the side touches: the sleeve's, or the
// last.
func (b *body) outer() int {
	if b.sleeved {
		return b.rings
	}
	return b.rings - 1
}

// settle gives each cell its new heat and reads its curve; the miss is how far
// the linear rise is from it, K. For another turn, the heat capacity and the
// source are taken where the curve says the cell is.
func (b *body) settle(c *curve, f *FlaskState, w *work, perS float64) (missK, moveK float64) {
	l := b.layers
	for i, v := range b.volume {
		v *= perS
		perV := 1 / v
		at := i * l
		t, d, source := w.tC[at:at+l], w.d[at:at+l], w.source[at:at+l]
		tNext, cNext, kNext := w.tNext[at:at+l], w.cNext[at:at+l], w.kNext[at:at+l]
		start, heat, highest, places := w.start[at:at+l], f.Heat[at:at+l], f.Highest[at:at+l], w.places[at:at+l]
		for j := range t {
			grown := cNext[j]*d[j] - source[j]*perV
			h := start[j] + grown
			var tC, cap, k float64
			at := uint(places[j].at) // most cells have hardly moved: read them here
			if n := &c.up[at&(knotRoom-1)]; h >= highest[j] && h >= n.h && h < n.next {
				way := (h - n.h) * n.perC
				tC, cap, k = float64(knotLowC+int(at))+way, n.c, n.k+n.dk*way
			} else {
				tC, cap, k = c.read(h, highest[j], &places[j])
			}
			rise := tC - t[j]
			if off := math.Abs(rise - d[j]); off > missK {
				missK = off
			}
			if size := math.Abs(rise); size > moveK {
				moveK = size
			}
			heat[j], tNext[j], cNext[j], kNext[j] = h, tC, cap, k
			source[j] = (cap*rise - grown) * v
		}
	}
	return missK, moveK
}

// finish books the heat that came through the outside.
func (b *body) finish(f *FlaskState, w *work, dt, airC float64) {
	l := b.layers
	in := 0.0
	for i := range b.rings {
		low, high := i*l, i*l+l-1
		in += w.bottom[i]*(airC-w.tC[low]-weight*w.d[low]) + w.top[i]*(airC-w.tC[high]-weight*w.d[high])
	}
	at := b.outer() * l
	for j, g := range w.side {
		in += g * (airC - w.tC[at+j] - weight*w.y[at+j])
	}
	f.InJ += in * dt
	for j := range f.SleeveC {
		f.SleeveC[j] += w.d[b.cells()+j]
	}
	for n, h := range f.Heat {
		if h > f.Highest[n] {
			f.Highest[n] = h
		}
	}
	w.tC, w.tNext = w.tNext, w.tC
	w.c, w.cNext = w.cNext, w.c
	w.k, w.kNext = w.kNext, w.k
}
