package tidings

import (
	"fmt"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/storage/record"
)

func berlin(t require.TestingT) *time.Location {
	z, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	return z
}

func TestQuietIsReadAndRefused(t *testing.T) {
	q, err := ParseQuiet("22:00 to 7:05")
	require.NoError(t, err)
	assert.Equal(t, Quiet{22 * 60, 7*60 + 5}, q)
	assert.Equal(t, "22:00 to 07:05", q.String())
	for _, bad := range []string{"", "22:00-07:00", "24:00 to 07:00", "22:60 to 07:00", "07:00 to 07:00", "22:00 to 07:00 "} {
		_, err := ParseQuiet(bad)
		assert.Error(t, err, bad)
	}
}

// Summer time begins and ends at 01:00 UTC on the last Sunday of March and of
// October (Directive 2000/84/EC, articles 2 and 3): 02:00 to 03:00 is left
// out, and happens twice.
func TestQuietOverSummerTime(t *testing.T) {
	z := berlin(t)
	at := func(utc string) time.Time {
		v, err := time.Parse("2006-01-02 15:04", utc)
		require.NoError(t, err)
		return v.In(z)
	}
	night, half := Quiet{22 * 60, 7 * 60}, Quiet{22 * 60, 2*60 + 30}
	for _, c := range []struct {
		q    Quiet
		utc  string
		want bool
	}{
		{night, "2026-03-28 20:59", false}, // 21:59 winter
		{night, "2026-03-28 21:00", true},
		{night, "2026-03-29 04:59", true},  // 06:59 summer
		{night, "2026-03-29 05:00", false}, // 07:00 summer
		{half, "2026-03-29 00:59", true},   // 01:59 winter
		{half, "2026-03-29 01:00", false},  // 03:00 summer: 02:30 never came, the quiet is over
		{half, "2026-10-25 00:29", true},   // 02:29 summer
		{half, "2026-10-25 00:30", false},
		{half, "2026-10-25 01:00", true}, // 02:00 again, winter
		{half, "2026-10-25 01:30", false},
		{night, "2026-10-25 05:59", true}, // 06:59 winter
		{night, "2026-10-25 06:00", false},
	} {
		assert.Equal(t, c.want, c.q.At(at(c.utc)), "%v at %s UTC", c.q, c.utc)
	}
	assert.False(t, Quiet{}.At(at("2026-01-01 00:00")), "no span")
}

func TestJudge(t *testing.T) {
	trip := record.Message{Kind: string(Trip), Severity: record.Alarm}
	step := record.Message{Kind: string(Stage), Severity: record.Info}
	help := record.Message{Kind: string(Person), Severity: record.Warn}
	test := record.Message{Kind: string(Test)}
	acked := trip
	acked.Acked = time.Unix(1, 0)
	day := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	night := day.Add(14 * time.Hour)
	r := Rule{Quiet: Quiet{22 * 60, 7 * 60}, Passes: PassAlarm, Repeat: 10 * time.Minute, Most: 3}
	with := func(f func(*Rule)) Rule { c := r; f(&c); return c }
	for _, c := range []struct {
		name string
		r    Rule
		m    record.Message
		p    Progress
		at   time.Time
		want Verdict
	}{
		{"by day", r, step, Progress{}, day, Send},
		{"at night", r, step, Progress{}, night, Hushed},
		{"a trip at night", r, trip, Progress{}, night, Send},
		{"a trip where nothing passes", with(func(r *Rule) { r.Passes = PassNothing }), trip, Progress{}, night, Hushed},
		{"a decision at night", r, help, Progress{}, night, Hushed},
		{"a decision where it passes", with(func(r *Rule) { r.Passes = PassPerson }), help, Progress{}, night, Send},
		{"a test at night", with(func(r *Rule) { r.Passes = PassNothing; r.From = 2; r.Kinds = []Kind{Trip} }), test, Progress{}, night, Send},
		{"too small", with(func(r *Rule) { r.From = 1 }), step, Progress{}, day, Done},
		{"of another kind", with(func(r *Rule) { r.Kinds = []Kind{Trip} }), step, Progress{}, day, Done},
		{"told", r, step, Progress{Times: 1}, day, Done},
		{"a trip told just now", r, trip, Progress{Times: 1, SinceSent: 9 * time.Minute}, day, Later},
		{"a trip told long ago", r, trip, Progress{Times: 1, SinceSent: 10 * time.Minute}, day, Send},
		{"a trip told often enough", r, trip, Progress{Times: 3, SinceSent: time.Hour}, day, Done},
		{"a trip acknowledged", r, acked, Progress{Times: 1, SinceSent: time.Hour}, day, Done},
		{"a trip acknowledged before it went out", r, acked, Progress{}, day, Send},
		{"just failed", r, trip, Progress{Failed: 1, SinceTry: 14 * time.Second}, day, Later},
		{"failed a while ago", r, trip, Progress{Failed: 1, SinceTry: 15 * time.Second}, day, Send},
	} {
		assert.Equal(t, c.want, c.r.Judge(&c.m, c.p, c.at), c.name)
	}
}

func TestRetryDoublesUpToABound(t *testing.T) {
	assert.Zero(t, Retry(0))
	assert.Equal(t, 15*time.Second, Retry(1))
	assert.Equal(t, 30*time.Second, Retry(2))
	assert.Equal(t, 15*time.Minute, Retry(7))
	assert.Equal(t, 15*time.Minute, Retry(1<<30))
}

// Whatever the rule, the zone and the hours without a network: what is wanted
// is told, no later than the first minute at which quiet and network allow it
// and a retry is due, never in quiet hours that it may not pass, never more
// often than wanted.
func TestNothingIsLostAndNothingWakes(t *testing.T) {
	zones := []*time.Location{time.UTC, berlin(t), time.FixedZone("west", -9*3600-1800)}
	rapid.Check(t, func(t *rapid.T) {
		r := Rule{
			From: rapid.Uint8Range(0, 2).Draw(t, "from"), Repeat: time.Duration(rapid.IntRange(1, 90).Draw(t, "repeat")) * time.Minute, Most: rapid.IntRange(1, 6).Draw(t, "most"),
			Passes: rapid.SampledFrom([]Passes{PassAlarm, PassPerson, PassNothing}).Draw(t, "passes"),
		}
		if from, to := rapid.IntRange(0, 1439).Draw(t, "quiet from"), rapid.IntRange(0, 1439).Draw(t, "to"); from != to {
			r.Quiet = Quiet{from, to}
		}
		m := record.Message{Kind: rapid.SampledFrom(KindNames()).Draw(t, "kind"), Severity: record.Severity(rapid.IntRange(0, 2).Draw(t, "severity"))}
		zone := rapid.SampledFrom(zones).Draw(t, "zone")
		begin := time.Date(2026, time.Month(rapid.SampledFrom([]int{3, 7, 10}).Draw(t, "month")), 24, 0, rapid.IntRange(0, 2880).Draw(t, "minute"), 0, 0, time.UTC)
		downFrom, downFor := rapid.IntRange(0, 800).Draw(t, "down from"), rapid.IntRange(0, 800).Draw(t, "down for")
		p, told := Progress{}, []time.Time{}
		const minutes = 3 * 24 * 60
		for i := range minutes {
			local := begin.Add(time.Duration(i) * time.Minute).In(zone)
			if r.Judge(&m, p, local) == Send {
				require.True(t, r.Wants(&m))
				require.True(t, !r.Quiet.At(local) || r.passes(&m), "told at %v", local)
				if i >= downFrom && i < downFrom+downFor {
					p.Failed++
					p.SinceTry = 0
				} else {
					require.Less(t, len(told), r.Most)
					if n := len(told); n > 0 {
						require.GreaterOrEqual(t, local.Sub(told[n-1]), r.Repeat)
					}
					told = append(told, local)
					p = Progress{Times: len(told)}
				}
			}
			p.SinceSent += time.Minute
			p.SinceTry += time.Minute
		}
		switch {
		case !r.Wants(&m):
			require.Empty(t, told)
		case Repeats(&m) && !(r.Passes == PassNothing && r.Quiet != Quiet{}):
			require.Len(t, told, r.Most)
		case r.Quiet == Quiet{} || r.passes(&m):
			require.NotEmpty(t, told)
			require.LessOrEqual(t, told[0].Sub(begin), time.Duration(downFrom+downFor+15)*time.Minute)
		}
		if r.Wants(&m) {
			require.NotEmpty(t, told, "lost")
		}
	})
}

func TestBundle(t *testing.T) {
	z := berlin(t)
	at := time.Date(2026, 1, 10, 2, 51, 0, 0, z)
	one := record.Message{At: at, Kind: string(Stage), Subject: "pods: step 2 of 9", Body: "chamber 370 °C"}
	trip := record.Message{At: at.Add(20 * time.Minute), Kind: string(Trip), Severity: record.Alarm, Subject: "pods: TRIP", Body: "no valid temperature\ndo: check the probe"}
	s, b := Bundle([]record.Message{one}, 0, at)
	assert.Equal(t, "pods: step 2 of 9", s)
	assert.Equal(t, "chamber 370 °C", b)
	_, b = Bundle([]record.Message{one}, 0, at.Add(4*time.Hour))
	assert.Equal(t, "chamber 370 °C\ntold late: this was at 02:51", b)
	_, b = Bundle([]record.Message{one}, 0, at.Add(24*time.Hour))
	assert.Contains(t, b, "told late: this was at Sat 10 Jan 02:51")
	s, b = Bundle([]record.Message{trip}, 2, trip.At)
	assert.Equal(t, "still: pods: TRIP", s)
	assert.Contains(t, b, "calx tell --ack")
	s, b = Bundle([]record.Message{one, trip, one}, 0, at.Add(time.Hour))
	assert.Equal(t, "pods: TRIP (and 2 more)", s)
	assert.Equal(t, "02:51  pods: step 2 of 9\n03:11  pods: TRIP\n       no valid temperature\n       do: check the probe\n02:51  pods: step 2 of 9", b)
}

// A message never breaks a header, a terminal or the bound of a service.
func TestFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := record.Message{Subject: rapid.StringN(0, 400, -1).Draw(t, "subject"), Body: string(rapid.SliceOfN(rapid.Byte(), 0, 4000).Draw(t, "body"))}
		Fit(&m)
		require.LessOrEqual(t, len(m.Subject), mostSubject)
		require.LessOrEqual(t, len(m.Body), mostBody)
		require.NotRegexp(t, `[\x00-\x1f\x7f]`, m.Subject)
		require.NotRegexp(t, `[\x00-\x09\x0b-\x1f\x7f]`, m.Body)
		again := m
		Fit(&again)
		require.Equal(t, m, again, fmt.Sprintf("%q", m.Subject))
	})
}
