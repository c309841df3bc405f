package mould

import "math"

const (
	stefan       = 5.670374419e-8 // W/m²/K⁴, CODATA 2018
	zeroK        = 273.15
	usualFilm    = 8.0  // W/m²/K, free convection in a small hot chamber
	usualEmiss   = 0.85 // gypsum, and oxidised steel
	usualBase    = 0.5  // the lower face stands on something
	sleeveHeat   = 7850 * 520.0
	usualSleeve  = 0.002 // m
	contactM2KW  = 1e-3  // m²K/W between sleeve and investment, uncertain
	usualPoreM   = 1e-6
	usualTortuos = 3.0
	porosity     = 0.52 // of fired investment, computed from the recipe
)

// body is the compiled flask: geometry, curves and film. It never changes.
type body struct {
	radiusM, heightM float64
	rings, layers    int
	drM, dzM         float64
	volume           []float64 // per ring, m³ of one cell
	faceR            []float64 // 2·area/Δr of the outer face of each ring, m
	faceZ            []float64 // 2·area/Δz of the faces between layers, m
	endM2            []float64 // area of the upper or lower face, per ring
	sideM2           float64   // area of the outer face of the last ring
	sleeved          bool
	sleeveJK         float64 // heat capacity of the sleeve per layer, J/K
	fresh, soaked    *curve
	film             film
	base             float64
}

// film is the exchange between a face and what it sees.
type film struct {
	convection float64 // W/m²/K; free convection in a room if 0
	uprightM   float64 // height of the face, for that
	radiant    float64 // emissivity times Stefan's constant, W/m²/K⁴
	scale      float64 // of both together; a face that stands on something has less
}

// times is the film with its scale multiplied.
func (f film) times(scale float64) film {
	f.scale *= scale
	return f
}

// perM2 is the film coefficient in W/m²/K: convection, and the exact radiant
// exchange εσ(a²+b²)(a+b) with black surroundings.
func (f *film) perM2(surfaceC, airC float64) float64 {
	a, b := surfaceC+zeroK, airC+zeroK
	h := f.convection
	if h == 0 {
		h = upright(f.uprightM, surfaceC, airC)
	}
	return f.scale * (h + f.radiant*(a*a+b*b)*(a+b))
}

// inside returns the film in series with the half cell below, W/m²/K, settled
// on the surface temperature, which it returns too: two turns, as the film
// moves slowly with the surface.
func (f *film) inside(cellC, airC, halfResistance float64) (perM2, surfaceC float64) {
	h := f.perM2(cellC, airC)
	share := h * halfResistance / (1 + h*halfResistance)
	surfaceC = cellC + (airC-cellC)*share
	h = f.perM2(surfaceC, airC)
	perM2 = h / (1 + h*halfResistance)
	return perM2, cellC + perM2*(airC-cellC)*halfResistance
}

func newBody(p Params, g Grid, factorK float64) *body {
	b := &body{
		radiusM: float64(p.Flask.Diameter) / 2, heightM: float64(p.Flask.Height),
		rings: g.Rings, layers: g.Layers,
		sleeved: p.Flask.Sleeve != SleeveNone,
		base:    orElse(p.Investment.Base, usualBase),
		film: film{
			convection: orElse(p.Investment.Convection, usualFilm), radiant: stefan * orElse(p.Investment.Emissivity, usualEmiss), scale: 1,
		},
	}
	b.drM, b.dzM = b.radiusM/float64(b.rings), b.heightM/float64(b.layers)
	for i := range b.rings {
		inner, outer := float64(i)*b.drM, float64(i+1)*b.drM
		area := math.Pi * (outer*outer - inner*inner)
		b.volume = append(b.volume, area*b.dzM)
		b.endM2 = append(b.endM2, area)
		b.faceZ = append(b.faceZ, 2*area/b.dzM)
		b.faceR = append(b.faceR, 2*2*math.Pi*outer*b.dzM/b.drM)
	}
	b.sideM2 = 2 * math.Pi * b.radiusM * b.dzM
	b.sleeveJK = b.sideM2 * sleeveHeat * float64(orUsual(p.Flask.Wall, usualSleeve))
	mix := p.Investment.mix(factorK)
	b.fresh, b.soaked = newCurve(mix.dried(orElse(p.Wet, 1))), newCurve(mix.soaked(1))
	return b
}

func orUsual[Q ~float64](v, usual Q) Q {
	if v == 0 {
		return usual
	}
	return v
}

func (b *body) cells() int { return b.rings * b.layers }

// boundKg is the water of gypsum in the whole flask.
func (b *body) boundKg(c *curve, highest []float64, places []place) float64 {
	total := 0.0
	for i, v := range b.volume {
		for n := i * b.layers; n < (i+1)*b.layers; n++ {
			total += c.bound(highest[n], &places[n]) * v
		}
	}
	return total
}

// freeLeft is the share of the free water of the start that is left.
func (b *body) freeLeft(c *curve, highest []float64) float64 {
	total := 0.0
	p := place{top: freeLow - knotLowC}
	for i, v := range b.volume {
		sum := 0.0
		for _, h := range highest[i*b.layers : (i+1)*b.layers] {
			sum += c.freeShare(h, &p)
		}
		total += sum * v
	}
	return total / b.wholeM3()
}

// wholeM3 is the volume of the investment.
func (b *body) wholeM3() float64 { return math.Pi * b.radiusM * b.radiusM * b.heightM }
