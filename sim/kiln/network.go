package kiln

// network is the linear heat balance of the bodies in the chamber over one
// step, in terms of how far each will rise. Every conductance is positive and
// every body is tied to the room or to its own heat capacity, so the solution
// exists and lies between the hottest and the coldest of what acts on it.
type network struct {
	g      [bodies][bodies + 1]float64 // conductance from i to j > i, the room last, W/K
	own    [bodies]float64             // heat capacity over the step, W/K
	source [bodies]float64             // heat brought in, W
	behind [bodies]leaf
}

// leaf is a body that touches only one other.
type leaf struct {
	rate float64 // its rise over that of its neighbour's lead
	gapK float64 // neighbour over leaf at the start, K
}

// hang puts a leaf at leafC with own (heat capacity over the step, W/K) behind
// body i at bodyC, through the conductance g. It is eliminated at once.
func (n *network) hang(i int, bodyC, g, own, leafC float64) {
	l := leaf{rate: g / (own + g), gapK: bodyC - leafC}
	n.behind[i] = l
	n.own[i] += own * l.rate
	n.source[i] -= own * l.rate * l.gapK
}

// rise is how far the leaf rises when its neighbour rises by riseK.
func (l leaf) rise(riseK float64) float64 { return l.rate * (l.gapK + riseK) }

// solve returns the rise of each body in K and the heat in W that leaves for
// the room. It is elimination without exchange of rows, which a matrix of this
// kind (symmetric, dominated by its diagonal) does not need.
func (n *network) solve(tC *[bodies]float64, roomC float64) (rise [bodies]float64, lostW float64) {
	var d, r [bodies]float64
	for i := range bodies {
		d[i] += n.own[i] + n.g[i][room]
		r[i] += n.source[i] + n.g[i][room]*(roomC-tC[i])
		for j := i + 1; j < bodies; j++ {
			g := n.g[i][j]
			flow := g * (tC[j] - tC[i])
			d[i] += g
			d[j] += g
			r[i] += flow
			r[j] -= flow
		}
	}
	m := n.g // off the diagonal the matrix is -m
	for i := range bodies {
		inv := 1 / d[i]
		for j := i + 1; j < bodies; j++ {
			share := m[i][j] * inv
			r[j] += share * r[i]
			d[j] -= share * m[i][j]
			for k := j + 1; k < bodies; k++ {
				m[j][k] += share * m[i][k]
			}
		}
	}
	for i := bodies - 1; i >= 0; i-- {
		sum := r[i]
		for j := i + 1; j < bodies; j++ {
			sum += m[i][j] * rise[j]
		}
		rise[i] = sum / d[i]
		lostW += n.g[i][room] * (tC[i] + rise[i] - roomC)
	}
	return rise, lostW
}
