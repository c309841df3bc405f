package health

import (
	"math"

	"calx/cmd/calx/summary"
	"calx/sim/kiln"
)

const (
	windowBins = 180   // half an hour
	leastC     = 250.0 // below it the water in the moulds takes heat that no kiln file knows
	leastFits  = 6     // windows from which two figures can be told
	astrayC    = 6.0   // of the model from the record, beyond which a window says nothing
	roomC      = 20.0
	coldKilnC  = 40.0 // above the room a kiln has a past that nobody knows
)

// window is half an hour of a firing as the model explains it, J.
type window struct {
	givenJ  float64 // by the elements, were they as the kiln file says
	storedJ float64 // taken up by kiln and load
	lostJ   float64 // gone to the room
}

// balance has the model of the kiln follow the recorded chamber, whatever heat
// that takes, and holds what it stored and lost against the heat that was
// given: given = stored/p + lost·l/p, with p the power of the elements and l
// the loss, both over those of the kiln file. Ramps tell p, holds l.
func balance(p kiln.Params, bins []bin, coldC float64) (power, loss Estimate) {
	ws := follow(p, bins, coldC)
	if len(ws) < leastFits {
		return unknown(), unknown()
	}
	var ss, sl, ll, gs, gl float64
	for _, w := range ws {
		ss, sl, ll = ss+w.storedJ*w.storedJ, sl+w.storedJ*w.lostJ, ll+w.lostJ*w.lostJ
		gs, gl = gs+w.givenJ*w.storedJ, gl+w.givenJ*w.lostJ
	}
	det := ss*ll - sl*sl
	if !(det > 1e-6*ss*ll) {
		return unknown(), unknown() // all windows are alike
	}
	a, b := (gs*ll-gl*sl)/det, (gl*ss-gs*sl)/det
	if !(a > 0.1 && b > 0) {
		return unknown(), unknown()
	}
	var rest float64
	for _, w := range ws {
		d := w.givenJ - a*w.storedJ - b*w.lostJ
		rest += d * d
	}
	s2 := rest / float64(len(ws)-2)
	varA, varB, cov := s2*ll/det, s2*ss/det, -s2*sl/det
	// p = 1/a and l = b/a, their errors to first order.
	l := b / a
	return Estimate{summary.Number(1 / a), summary.Number(math.Sqrt(varA) / (a * a))},
		Estimate{summary.Number(l), summary.Number(math.Sqrt(math.Max(varB+l*l*varA-2*l*cov, 0)) / a)}
}

// follow runs the model along the record and gathers the windows that can be
// used.
func follow(p kiln.Params, bins []bin, coldC float64) (ws []window) {
	if len(bins) == 0 || bins[0].n == 0 {
		return nil
	}
	startC, room := bins[0].meanC(), roomC
	if math.Abs(coldC-startC) < coldKilnC {
		room = math.Min(startC, coldC)
	}
	if startC > room+coldKilnC {
		return nil
	}
	k := kiln.New(p, room)
	t := tracker{k: k, room: room, ratedW: p.RatedW()}
	var w window
	n, usable := 0, true
	for _, b := range bins {
		targetC := t.lastC
		if b.n > 0 {
			targetC = b.meanC()
		}
		storedJ, lostJ := k.StoredJ(), k.LostJ()
		fullW := t.step(targetC, b.air)
		w.storedJ += k.StoredJ() - storedJ
		w.lostJ += k.LostJ() - lostJ
		w.givenJ += fullW * b.onS
		usable = usable && !b.bad && b.n > 0 && b.forS > 0.8*binS && targetC >= leastC && !t.clamped && math.Abs(targetC-k.JunctionC()) < astrayC
		if n++; n == windowBins {
			if usable {
				ws = append(ws, w)
			}
			w, n, usable = window{}, 0, true
		}
	}
	return ws
}

// tracker heats a model so that its junction follows a record.
type tracker struct {
	k            *kiln.Kiln
	room, ratedW float64
	sum          float64 // of the error, K·s
	lastC        float64
	fullW        float64 // of the elements as hot as they are
	clamped      bool    // it would have had to cool, or more than the model can
}

// The tracker's gain: full power at fullK off, and as much again after
// resetS. Slow enough for the lag of a probe.
const fullK, resetS = 60.0, 600.0

// step carries the model over one bin and returns what its elements give at
// full power, W.
func (t *tracker) step(targetC float64, air bool) float64 {
	const most = 1.5 // elements stronger than the file says
	e := targetC - t.k.JunctionC()
	on := e/fullK + t.sum/(fullK*resetS)
	t.clamped = on <= 0 || on >= most
	if !t.clamped || on <= 0 && e > 0 || on >= most && e < 0 {
		t.sum += e * binS
	}
	on = math.Min(math.Max(on, 0), most)
	// Input.On ends at 1; the mains goes on.
	mains := 1.0
	if on > 1 {
		mains, on = math.Sqrt(on), 1
	}
	t.k.Step(binS, kiln.Input{On: on, MainsRatio: mains, AirOn: air, AmbientC: t.room})
	if given := on * mains * mains; given > 0.01 {
		t.fullW = t.k.PowerW() / given
	}
	if t.fullW == 0 {
		t.fullW = t.ratedW
	}
	t.lastC = targetC
	return t.fullW
}
