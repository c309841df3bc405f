package guard

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/notice"
	"calx/sensor/thermocouple"
)

// stand lets a witness stand still in a chamber of 150 °C.
func stand(atC, water float64) Boil {
	var b Boil
	for i := range 900 {
		b = b.After(1, atC+0.25*float64(i%2), 150, water)
	}
	return b
}

// Saturation of water by IAPWS-IF97: 100 °C at 101.4 kPa, 90 °C at 70.2 kPa.
func TestWaterBoilsWhereItDoes(t *testing.T) {
	l := limits()
	for _, c := range []float64{90, 96, 100} {
		assert.Equal(t, Fine, stand(c, 0.5).Finding(l).Verdict, "%g °C", c)
	}
}

// A witness of type N in boiling water, its terminals at 25 °C, read as K.
func TestWitnessOfAnotherTypeBoilsElsewhere(t *testing.T) {
	n, k := thermocouple.Type('N'), thermocouple.Type('K')
	mv, err := n.EMF(100)
	require.NoError(t, err)
	cold, err := n.EMF(25)
	require.NoError(t, err)
	ref, err := k.EMF(25)
	require.NoError(t, err)
	reads, err := k.Temperature(mv - cold + ref)
	require.NoError(t, err)
	assert.InDelta(t, 77, reads, 2)
	f := stand(reads, 0.5).Finding(limits())
	assert.Equal(t, Tell, f.Verdict)
	assert.Equal(t, notice.BoilsWrong, f.Code)
}

func TestStandingStillIsNotAlwaysBoiling(t *testing.T) {
	l := limits()
	assert.Equal(t, Fine, stand(77, 0).Finding(l).Verdict, "a dry flask")
	assert.Equal(t, Fine, stand(140, 0.5).Finding(l).Verdict, "a flask as hot as the chamber")
	assert.Equal(t, Fine, stand(22, 0.5).Finding(l).Verdict, "one that has not begun to warm")
	b := Boil{}
	for range 900 {
		b = b.After(1, math.NaN(), 150, 0.5)
	}
	assert.Equal(t, Fine, b.Finding(l).Verdict, "a witness that is not there")
}
