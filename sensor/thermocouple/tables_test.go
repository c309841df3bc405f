package thermocouple

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rows reads a file of testdata: figures of the NIST ITS-90 Thermocouple
// Database, SRD 60 (Monograph 175).
func rows(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return r[1:]
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

func index(t testing.TB, s string) int {
	t.Helper()
	v, err := strconv.Atoi(s)
	require.NoError(t, err)
	return v
}

// TestReferenceTable: every published figure is in the Go table, and the Go
// table holds nothing else.
func TestReferenceTable(t *testing.T) {
	published := 0
	for _, r := range rows(t, "its90_reference.csv") {
		c := Type(r[0][0]).curve()
		require.NotNil(t, c, r)
		s := c.reference[index(t, r[1])-1]
		assert.Equal(t, number(t, r[2]), s.minC, r)
		assert.Equal(t, number(t, r[3]), s.maxC, r)
		power, value := index(t, r[5]), number(t, r[6])
		if r[4] == "exp" {
			assert.Equal(t, value, [...]float64{s.bell.a0, s.bell.a1, s.bell.a2}[power], r)
		} else {
			assert.Equal(t, value, s.c[power], r)
		}
		published++
	}
	held := 0
	for _, c := range curves {
		for _, s := range c.reference {
			held += len(s.c)
			if s.bell != nil {
				held += 3
			}
		}
	}
	assert.Equal(t, published, held)
}

func TestInverseTable(t *testing.T) {
	published := 0
	for _, r := range rows(t, "its90_inverse.csv") {
		s := Type(r[0][0]).curve().inverse[index(t, r[1])-1]
		assert.Equal(t, number(t, r[2]), s.minC, r)
		assert.Equal(t, number(t, r[3]), s.maxC, r)
		assert.Equal(t, number(t, r[5]), s.maxMV, r)
		assert.Equal(t, number(t, r[9]), s.d[index(t, r[8])], r)
		published++
	}
	held := 0
	for _, c := range curves {
		for _, s := range c.inverse {
			held += len(s.d)
		}
	}
	assert.Equal(t, published, held)
}

// TestPolynomialBounds holds the bare inverse polynomial of every piece against
// the error printed with it (SRD 60), widened by half of the last printed
// digit: the raw extremes pass the printed two decimals by up to 0.0033 °C.
func TestPolynomialBounds(t *testing.T) {
	const lastDigit, stepC = 0.005, 0.1
	for _, r := range rows(t, "its90_inverse.csv") {
		if r[8] != "0" { // one row a piece carries the bounds
			continue
		}
		typ, piece := Type(r[0][0]), index(t, r[1])-1
		alone := curve{inverse: typ.curve().inverse[piece : piece+1]}
		minC, maxC := number(t, r[2]), number(t, r[3])
		low, high := math.Inf(1), math.Inf(-1)
		for i := 0; ; i++ {
			want := minC + float64(i)*stepC
			if want > maxC {
				break
			}
			mV, err := typ.EMF(want)
			require.NoError(t, err)
			diff := alone.start(mV) - want
			low, high = min(low, diff), max(high, diff)
		}
		assert.GreaterOrEqual(t, low, number(t, r[6])-lastDigit, "type %s piece %d, °C", typ, piece+1)
		assert.LessOrEqual(t, high, number(t, r[7])+lastDigit, "type %s piece %d, °C", typ, piece+1)
	}
}

// TestSegmentJoins: at a join both pieces give the same voltage within 0.1 nV,
// so it does not matter which is used.
func TestSegmentJoins(t *testing.T) {
	const stepMV = 1e-7
	for i, c := range curves {
		for j := 1; j < len(c.reference); j++ {
			lower, upper := &c.reference[j-1], &c.reference[j]
			require.Equal(t, lower.maxC, upper.minC)
			assert.InDelta(t, lower.emf(lower.maxC), upper.emf(upper.minC), stepMV, "type %s", B+Type(i))
		}
	}
}

// TestExp: within 2 units in the last place of the library's function.
func TestExp(t *testing.T) {
	for x := -690.0; x <= 690; x += 0.37 {
		want := math.Exp(x)
		assert.InDelta(t, want, exp(x), want*4.5e-16, "x = %v", x)
	}
	assert.Equal(t, 1.0, exp(0))
}
