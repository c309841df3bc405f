package main

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sensor"
	"calx/storage/record"
)

// What a fit is told of a firing: the relay of calx's own, the duty of a table
// from elsewhere, the door, the room.
func TestRecordedOf(t *testing.T) {
	_, p, err := loadKiln("bench-9l-brick")
	require.NoError(t, err)
	f := &firing{head: record.Firing{ID: 4, Channels: []record.Channel{{Role: "chamber"}}}}
	for i := range 3 {
		f.readings = append(f.readings, record.Reading{Since: time.Duration(i) * time.Second, Duty: 0.25, Relay: i == 1, Air: i == 2,
			Door: uint8(i), Channels: []record.Sample{{HotC: 18, ColdC: 21}}})
	}
	r := recordedOf(f, p)
	require.Len(t, r.Samples, 3)
	assert.Equal(t, "firing 4", r.Name)
	assert.Equal(t, 18.0, r.RoomC, "a cold chamber is as warm as the room")
	assert.Equal(t, []float64{0, 1, 0}, []float64{r.Samples[0].On, r.Samples[1].On, r.Samples[2].On})
	assert.True(t, r.Samples[2].Air)
	assert.True(t, math.IsNaN(r.Samples[0].Door), "no switch")
	assert.Equal(t, 0.0, r.Samples[sensor.DoorShut].Door)
	assert.Equal(t, 1.0, r.Samples[sensor.DoorOpen].Door)

	f.head.Imported = "old.csv"
	assert.Equal(t, 0.25, recordedOf(f, p).Samples[1].On)
	for i := range f.readings {
		f.readings[i].Channels[0].HotC = 240
	}
	assert.Equal(t, 18.0, recordedOf(f, p).RoomC, "of a warm start the cold junction tells, which sits 3 °C warm")
}
