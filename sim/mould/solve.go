package mould

// acrossRings solves (M − θ Lr) y = flow + source, all layers side by side.
func (b *body) acrossRings(w *work, f *FlaskState) {
	l, last := b.layers, b.outer()
	for i := 0; i <= last; i++ {
		at := i * l
		mass, inv, y := w.mass[at:at+l], w.inv[at:at+l], w.y[at:at+l]
		flow, source, gr := w.flow[at:at+l], w.source[at:at+l], w.gr[at:at+l]
		outside := gr
		if i == last {
			outside = w.side
		}
		if i == 0 {
			for j := range y {
				inv[j] = 1 / (mass[j] + weight*outside[j])
				y[j] = (flow[j] + source[j]) * inv[j]
			}
			continue
		}
		below, invB, yB := w.gr[at-l:at], w.inv[at-l:at], w.y[at-l:at]
		for j := range y {
			g := weight * below[j]
			inv[j] = 1 / (mass[j] + g + weight*outside[j] - g*g*invB[j])
			y[j] = (flow[j] + source[j] + g*yB[j]) * inv[j]
		}
	}
	for i := last - 1; i >= 0; i-- {
		at := i * l
		y, inv, gr, above := w.y[at:at+l], w.inv[at:at+l], w.gr[at:at+l], w.y[at+l:at+2*l]
		for j := range y {
			y[j] += weight * gr[j] * inv[j] * above[j]
		}
	}
}

// acrossLayers solves (M − θ Lz) d = M y, all rings side by side: each step of
// the recurrence waits for the last, so that one ring after another would be
// slower.
func (b *body) acrossLayers(w *work) {
	l := b.layers
	below, last, lastInv := w.below[:b.rings], w.last[:b.rings], w.lastInv[:b.rings]
	clear(below)
	clear(last)
	clear(lastInv)
	mass, y, gz, d, inv := w.mass, w.y, w.gz, w.d, w.inv
	for j := range l {
		for i := range below {
			n := i*l + j
			up := weight * gz[n]
			g := below[i]
			diagonal := mass[n] + g + up - g*g*lastInv[i]
			if j == 0 {
				diagonal += weight * w.bottom[i]
			}
			if j == l-1 {
				diagonal += weight * w.top[i]
			}
			v := 1 / diagonal
			x := (mass[n]*y[n] + g*last[i]) * v
			inv[n], d[n] = up*v, x
			below[i], last[i], lastInv[i] = up, x, v
		}
	}
	for j := l - 2; j >= 0; j-- {
		for i := range last {
			n := i*l + j
			x := d[n] + inv[n]*last[i]
			d[n], last[i] = x, x
		}
	}
	n := b.cells()
	copy(w.d[n:], w.y[n:])
}
