package identify

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// reference is one of the data sets of NIST's Statistical Reference Datasets
// for nonlinear regression (StRD, www.itl.nist.gov/div898/strd), with the
// certified parameters, their standard errors and the residual sum of squares.
type reference struct {
	name          string
	model         func(b []float64, x float64) float64
	starts        [][]float64
	value, stderr []float64
	sum           float64
	x, y          []float64
}

var references = []reference{
	{
		name:   "Misra1a, lower difficulty",
		model:  func(b []float64, x float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) },
		starts: [][]float64{{500, 0.0001}, {250, 0.0005}},
		value:  []float64{2.3894212918e+02, 5.5015643181e-04},
		stderr: []float64{2.7070075241e+00, 7.2668688436e-06},
		sum:    1.2455138894e-01,
		x:      []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0},
		y:      []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78},
	},
	{
		name: "MGH17, average difficulty",
		model: func(b []float64, x float64) float64 {
			return b[0] + b[1]*math.Exp(-x*b[3]) + b[2]*math.Exp(-x*b[4])
		},
		starts: [][]float64{{0.5, 1.5, -1, 0.01, 0.02}},
		value:  []float64{3.7541005211e-01, 1.9358469127e+00, -1.4646871366e+00, 1.2867534640e-02, 2.2122699662e-02},
		stderr: []float64{2.0723153551e-03, 2.2031669222e-01, 2.2175707739e-01, 4.4861358114e-04, 8.9471996575e-04},
		sum:    5.4648946975e-05,
		x:      every10(33),
		y: []float64{0.844, 0.908, 0.932, 0.936, 0.925, 0.908, 0.881, 0.850, 0.818, 0.784, 0.751, 0.718, 0.685, 0.658, 0.628, 0.603, 0.580,
			0.558, 0.538, 0.522, 0.506, 0.490, 0.478, 0.467, 0.457, 0.448, 0.438, 0.431, 0.424, 0.420, 0.414, 0.411, 0.406},
	},
	{
		name: "Thurber, higher difficulty",
		model: func(b []float64, x float64) float64 {
			return (b[0] + x*(b[1]+x*(b[2]+x*b[3]))) / (1 + x*(b[4]+x*(b[5]+x*b[6])))
		},
		starts: [][]float64{{1000, 1000, 400, 40, 0.7, 0.3, 0.03}, {1300, 1500, 500, 75, 1, 0.4, 0.05}},
		value:  []float64{1.2881396800e+03, 1.4910792535e+03, 5.8323836877e+02, 7.5416644291e+01, 9.6629502864e-01, 3.9797285797e-01, 4.9727297349e-02},
		stderr: []float64{4.6647963344e+00, 3.9571156086e+01, 2.8698696102e+01, 5.5675370270e+00, 3.1333340687e-02, 1.4984928198e-02, 6.5842344623e-03},
		sum:    5.6427082397e+03,
		x: []float64{-3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501, -1.460, -1.274, -1.212, -1.100, -1.046, -0.915,
			-0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103, 0.010, 0.119, 0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200},
		y: []float64{80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060, 401.672, 390.724, 567.534, 635.316, 733.054, 759.087, 894.206,
			990.785, 1090.109, 1080.914, 1122.643, 1178.351, 1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350, 1468.705, 1447.894, 1457.628},
	},
}

func every10(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 10 * float64(i)
	}
	return out
}

// The least squares find NIST's certified values, and their standard errors,
// to seven and five digits from every start listed.
func TestLeastSquaresOnReferenceData(t *testing.T) {
	for _, ref := range references {
		for _, start := range ref.starts {
			p := problem{central: true, tol: 1e-12, most: 500, residuals: func(b []float64) []float64 {
				out := make([]float64, len(ref.x))
				for i, x := range ref.x {
					out[i] = ref.model(b, x) - ref.y[i]
				}
				return out
			}}
			s, err := p.leastSquares(start)
			require.NoError(t, err, ref.name)
			c, err := s.covariance()
			require.NoError(t, err, ref.name)
			assert.InEpsilon(t, ref.sum, s.sum, 1e-8, "%s: sum of squares", ref.name)
			variance := s.sum / float64(len(ref.x)-len(start))
			for j := range start {
				assert.InEpsilon(t, ref.value[j], s.x[j], 1e-6, "%s from %v: b%d", ref.name, start, j+1)
				assert.InEpsilon(t, ref.stderr[j], math.Sqrt(variance*c.At(j, j)), 1e-5, "%s from %v: standard error of b%d", ref.name, start, j+1)
			}
		}
	}
}
