package profile

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// written draws a value as a person writes it, with up to three decimals.
func written(t *rapid.T, lo, hi float64, name string) float64 {
	digits := math.Pow10(rapid.IntRange(0, 3).Draw(t, name+" digits"))
	n := rapid.Int64Range(int64(math.Ceil(lo*digits)), int64(math.Floor(hi*digits))).Draw(t, name)
	return float64(n) / digits
}

func duration(t *rapid.T, name string) time.Duration {
	unit := rapid.SampledFrom([]time.Duration{time.Millisecond, time.Second, time.Minute, time.Hour}).Draw(t, name+" unit")
	return time.Duration(rapid.Int64Range(1, min(5000, int64(maxTime/unit))).Draw(t, name)) * unit
}

// messages without control characters; quotes, backslashes and # included.
var messages = rapid.StringMatching(`[a-z"\\# “”ö,%]{0,20}[a-z]`)

// target draws one between lo and hi °C, written in u.
func target(t *rapid.T, u scale, lo, hi float64) float64 {
	if u == fahrenheit {
		lo, hi = lo*9/5+32, hi*9/5+32
	}
	if math.Floor(hi) < math.Ceil(lo) {
		return onGrid(lo)
	}
	return u.toC(written(t, lo, hi, "target"))
}

func drawStep(t *rapid.T, u scale, last float64) Step {
	s := Step{Kind: rapid.SampledFrom([]Kind{Heat, Cool, Hold, Wait, Air, Tell}).Draw(t, "kind")}
	switch s.Kind {
	case Heat, Cool:
		drawRamp(t, u, last, &s)
	case Hold:
		drawHold(t, u, &s)
	case Wait:
		s.TargetC = target(t, u, minTargetC, last)
	case Air:
		s.On = rapid.Bool().Draw(t, "on")
	case Tell:
		s.Message = messages.Draw(t, "message")
	}
	return s
}

func drawRamp(t *rapid.T, u scale, last float64, s *Step) {
	if s.Kind == Heat {
		s.TargetC = max(last, target(t, u, last, 1100))
	} else {
		s.TargetC = min(last, target(t, u, minTargetC, last))
	}
	switch s.Pace = Pace(rapid.IntRange(1, 4).Draw(t, "pace")); {
	case s.Pace == ByRate:
		s.RateCPerH = u.diffToC(written(t, 2, 5000, "rate"))
	case s.Pace == InTime:
		s.For = min(maxTime, time.Hour+duration(t, "in"))
	case s.Kind == Heat:
		s.Pace = Fastest
	}
}

func drawHold(t *rapid.T, u scale, s *Step) {
	s.Until = Until(rapid.IntRange(1, 7).Draw(t, "until"))
	switch s.Until {
	case Elapsed:
		s.For = duration(t, "for")
		return
	case ClockTime:
		s.Hour, s.Minute = rapid.IntRange(0, 23).Draw(t, "hour"), rapid.IntRange(0, 59).Draw(t, "minute")
		return
	case UntilCore:
		s.WithinC = u.diffToC(written(t, 0.5, 200, "within"))
	case UntilClear:
		s.Clear = onGrid(written(t, 1, 99.9, "clear") / 100)
	}
	s.AtMost = duration(t, "most")
	if s.Until != UntilStopped && s.Until != UntilDoor && rapid.Bool().Draw(t, "bounded below") {
		s.AtLeast = min(s.AtMost, duration(t, "least"))
	}
}

// profiles draws valid profiles as Parse makes them from canonical text.
func drawProfile(t *rapid.T) *Profile {
	p := &Profile{Fahrenheit: rapid.Bool().Draw(t, "fahrenheit"), CeilingC: 1100}
	u := scaleOf(p.Fahrenheit)
	last := 20.0
	for i := range rapid.IntRange(1, 12).Draw(t, "steps") {
		s := drawStep(t, u, last)
		s.Line = i + 2
		if s.Kind == Heat || s.Kind == Cool || s.Kind == Wait {
			last = s.TargetC
		}
		p.Steps = append(p.Steps, s)
	}
	return p
}

func TestTextRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProfile(t)
		q, err := Parse(p.String())
		require.NoError(t, err, p.String())
		assert.Equal(t, p, q, p.String())
		assert.NoError(t, p.Check())
	})
}

func TestJSONRoundTrip(t *testing.T) {
	check := validator(t)
	rapid.Check(t, func(t *rapid.T) {
		p := drawProfile(t)
		data, err := json.Marshal(p)
		require.NoError(t, err)
		require.NoError(t, check(data), string(data))
		var q Profile
		require.NoError(t, json.Unmarshal(data, &q), string(data))
		assert.Equal(t, *p, q, string(data))
	})
}

// A person must find their own figures again, to the last digit they wrote.
func TestKeepsWhatWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom([]scale{celsius, fahrenheit}).Draw(t, "unit")
		x := written(t, 0, 1400, "value")
		plain := shortest(x, x, func(v float64) float64 { return v })
		text := "heat to " + plain + " " + string(u) + " at 1200 " + string(u) + "/h\n"
		p, err := Parse(text)
		require.NoError(t, err)
		assert.Equal(t, text, p.String())
	})
}

func TestMixedUnitsPrintInTheFirst(t *testing.T) {
	p, err := Parse("hold 1 h\nheat to 302 F at 1 C/min\ncool to 40 C at 90 C/h\n")
	require.NoError(t, err)
	assert.Equal(t, "hold 1 h\nheat to 302 F at 108 F/h\ncool to 104 F at 162 F/h\n", p.String())
	assert.Equal(t, "cool to 104 F at 162 F/h", p.Sentence(2))
	assert.Equal(t, "cool to 40 C at 90 C/h", Sentence(p.Steps[2]))
	assert.Empty(t, p.Sentence(3))
}

func FuzzParse(f *testing.F) {
	f.Add(woodyPods)
	for _, name := range Shipped() {
		text, err := ShippedText(name)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Add("heat to 302.5 F at 3 F/min\r\nhold 1 1/2 h\nhold until 14:00\ntell \"a \\\" # b\"\nair off\nwait until below 45 C")
	f.Add("cool to -0.0000001 C in 1/3 h\nhold until core within 1 F, at most 1 s")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Parse(text)
		if err != nil {
			require.Nil(t, p)
			require.IsType(t, Errors{}, err)
			require.NotEmpty(t, strings.TrimSpace(err.Error()))
			return
		}
		require.NoError(t, p.Check())
		q, err := Parse(p.String())
		require.NoError(t, err, p.String())
		require.Equal(t, p.String(), q.String())
		for i := range q.Steps {
			q.Steps[i].Line = p.Steps[i].Line
		}
		require.Equal(t, p, q)
		data, err := json.Marshal(p)
		require.NoError(t, err)
		var r Profile
		require.NoError(t, json.Unmarshal(data, &r))
		require.Equal(t, *p, r)
	})
}
