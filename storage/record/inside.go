package record

// Inside is what the observer had one kind of mould for, at one reading.
type Inside struct {
	CoreC, SurfaceC float64 // °C
	WaterLeft       float64 // free water, share of that at the start, 0..1
	CharLeft        float64 // share of all char that forms, 0..1
	Clear           float64 // share of what has to burn that is gone, 0..1
}

// insideFigures is how many entries of Reading.Observer an Inside takes. The
// chance of being clear is the one after all of them.
const insideFigures = 5

// Moulds is how many kinds of mould the observer followed; 0 without one.
func (r *Reading) Moulds() int {
	if len(r.Observer)%insideFigures != 1 {
		return 0
	}
	return len(r.Observer) / insideFigures
}

// Mould is mould i, from 0 to below Moulds.
func (r *Reading) Mould(i int) Inside {
	v := r.Observer[i*insideFigures : (i+1)*insideFigures]
	return Inside{v[0], v[1], v[2], v[3], v[4]}
}

// ClearChance is the chance that every piece by itself is clear, 0..1; call it
// only where Moulds is above 0.
func (r *Reading) ClearChance() float64 { return r.Observer[len(r.Observer)-1] }
