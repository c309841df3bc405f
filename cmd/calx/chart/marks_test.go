package chart

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"calx/storage/record"
)

func TestBadgesNeverOverlap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const width, lo, hi = 20.0, 50.0, 950.0
		at := rapid.SliceOfN(rapid.Float64Range(lo, hi), 0, 52).Draw(t, "at")
		slices.Sort(at)
		rows := rapid.IntRange(2, 4).Draw(t, "rows")
		row, centre, used := stagger(at, width, lo, hi, rows)
		assert.LessOrEqual(t, used, rows)
		for i := range at {
			assert.True(t, centre[i] >= lo+width/2-1e-9 || at[i] < lo+width/2, "left of the sheet")
			assert.True(t, centre[i] <= hi-width/2+1e-9, "right of the sheet")
			for j := range i {
				if row[i] == row[j] {
					assert.GreaterOrEqual(t, centre[i]-centre[j], width-1e-9, "%d and %d", j, i)
				}
			}
		}
	})
}

func TestBadgesStayInPlaceWhereTheyCan(t *testing.T) {
	row, centre, used := stagger([]float64{100, 200, 210, 300}, 20, 0, 400, 2)
	assert.Equal(t, []int{0, 0, 1, 0}, row)
	assert.Equal(t, []float64{100, 200, 210, 300}, centre)
	assert.Equal(t, 2, used)
}

func TestPickKeepsTheGravest(t *testing.T) {
	var all []Mark
	for i := range 100 {
		m := Mark{Since: time.Duration(i) * time.Minute, Severity: record.Info}
		switch i {
		case 60:
			m.Severity = record.Alarm
		case 80:
			m.Severity = record.Warn
		}
		all = append(all, m)
	}
	kept, left := pick(all, 4)
	assert.Equal(t, 96, left)
	var at []time.Duration
	var names string
	for _, k := range kept {
		at = append(at, k.Since)
		names += k.letter
	}
	assert.Equal(t, []time.Duration{0, time.Minute, time.Hour, 80 * time.Minute}, at)
	assert.Equal(t, "abcd", names)
	kept, _ = pick(all, 1000)
	assert.Len(t, kept, len(letters), "no more marks than letters")
	kept, left = pick(all, 0)
	assert.Empty(t, kept)
	assert.Equal(t, 100, left)
}
