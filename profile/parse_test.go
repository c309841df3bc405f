package profile

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// one parses a text of a single step and drops its line.
func one(t *testing.T, text string) Step {
	t.Helper()
	p, err := Parse(text)
	require.NoError(t, err, text)
	require.Len(t, p.Steps, 1, text)
	s := p.Steps[0]
	s.Line = 0
	return s
}

func TestSentences(t *testing.T) {
	const h, min = time.Hour, time.Minute
	heat := func(c, r float64) Step { return Step{Kind: Heat, TargetC: c, Pace: ByRate, RateCPerH: r} }
	hold := func(d time.Duration) Step { return Step{Kind: Hold, Until: Elapsed, For: d} }
	rows := []struct {
		text string
		want Step
	}{
		{"heat to 150 C at 60 C/h", heat(150, 60)},
		{"heat to 150 °C at 60 °C/h", heat(150, 60)},
		{"heat to 150℃ at 60℃/h", heat(150, 60)},
		{"heat to 150 degC at 60 degC/hr", heat(150, 60)},
		{"heat to 150 deg C at 60 degrees Celsius per hour", heat(150, 60)},
		{"HEAT  TO\t150c AT 60C / H", heat(150, 60)},
		{"heat to 150 C at 60 C/h", heat(150, 60)}, // no-break spaces
		{"heat to 150 C at 1.5 C/min", heat(150, 90)},
		{"heat to 302 F at 108 F/h", heat(150, 60)},
		{"heat to 302 ℉ at 3 fahrenheit per minute", heat(150, 100)},
		{"heat to -4 F at 9 F/h", heat(-20, 5)},
		{"heat to −20 C at 5 C/h", heat(-20, 5)}, // typographic minus
		{"heat to .5 C at 60 C/h", heat(0.5, 60)},
		{"heat to 150 C in 3 h", Step{Kind: Heat, TargetC: 150, Pace: InTime, For: 3 * h}},
		{"heat to 150 C as fast as possible", Step{Kind: Heat, TargetC: 150, Pace: Fastest}},
		{"cool to 540 C at 100 C/h", Step{Kind: Cool, TargetC: 540, Pace: ByRate, RateCPerH: 100}},
		{"cool to 540 C in 90 min", Step{Kind: Cool, TargetC: 540, Pace: InTime, For: 90 * min}},
		{"cool to 540 C unpowered", Step{Kind: Cool, TargetC: 540, Pace: Unpowered}},
		{"cool to 540 C as fast as possible", Step{Kind: Cool, TargetC: 540, Pace: Fastest}},
		{"hold 2 h", hold(2 * h)},
		{"hold 2 h 30 min", hold(150 * min)},
		{"hold 2h30min15s", hold(150*min + 15*time.Second)},
		{"hold 2 hours 30 minutes", hold(150 * min)},
		{"hold 90 min", hold(90 * min)},
		{"hold 30 s", hold(30 * time.Second)},
		{"hold 1.5 h", hold(90 * min)},
		{"hold 1 1/2 h", hold(90 * min)},
		{"hold 1/3 hour", hold(20 * min)},
		{"hold 0.1 s", hold(100 * time.Millisecond)},
		{"hold until 14:00", Step{Kind: Hold, Until: ClockTime, Hour: 14}},
		{"hold until 7:05", Step{Kind: Hold, Until: ClockTime, Hour: 7, Minute: 5}},
		{"hold until dry, at most 8 h", Step{Kind: Hold, Until: UntilDry, AtMost: 8 * h}},
		{"hold until dry at most 8 h", Step{Kind: Hold, Until: UntilDry, AtMost: 8 * h}},
		{"hold until core within 15 C, at most 3 h", Step{Kind: Hold, Until: UntilCore, WithinC: 15, AtMost: 3 * h}},
		{"hold until core within 27 F,at most 3 h", Step{Kind: Hold, Until: UntilCore, WithinC: 15, AtMost: 3 * h}},
		{"hold until clear 95%, at least 3 h, at most 10 h", Step{Kind: Hold, Until: UntilClear, Clear: 0.95, AtLeast: 3 * h, AtMost: 10 * h}},
		{"hold until clear 99.9 percent, at most 10 h, at least 0 h", Step{Kind: Hold, Until: UntilClear, Clear: 0.999, AtMost: 10 * h}},
		{"hold until stopped, at most 4 h", Step{Kind: Hold, Until: UntilStopped, AtMost: 4 * h}},
		{"hold until door opens, at most 6 h", Step{Kind: Hold, Until: UntilDoor, AtMost: 6 * h}},
		{"hold until the door opens, at most 6 h", Step{Kind: Hold, Until: UntilDoor, AtMost: 6 * h}},
		{"wait until below 45 C", Step{Kind: Wait, TargetC: 45}},
		{"air on", Step{Kind: Air, On: true}},
		{"Air OFF", Step{Kind: Air}},
		{`tell "open the vent" # now`, Step{Kind: Tell, Message: "open the vent"}},
		{`tell “open the # vent”`, Step{Kind: Tell, Message: "open the # vent"}},
		{`tell "say \"hi\" \\ go"`, Step{Kind: Tell, Message: `say "hi" \ go`}},
	}
	for _, r := range rows {
		t.Run(r.text, func(t *testing.T) { assert.Equal(t, r.want, one(t, r.text)) })
	}
}

// Fixed points of the two scales and the interval: NIST SP 811 (2008),
// appendix B.8 (t/°C = (t/°F − 32)/1.8; 1 °F interval = 5/9 K).
func TestFahrenheit(t *testing.T) {
	for f, c := range map[float64]float64{-40: -40, 32: 0, 212: 100, 1355: 735, 302: 150} {
		assert.Equal(t, c, fahrenheit.toC(f), "%g F", f)
	}
	assert.Equal(t, 0.555556, fahrenheit.diffToC(1), "kept to a millionth of a degree")
	assert.Equal(t, 15.0, fahrenheit.diffToC(27), "a difference has no offset")
}

// The profile printed in the design of the language.
const woodyPods = `# woody pods, two 90 mm flasks
never above 735 C
heat to 150 C at 60 C/h
hold 2 h
heat to 370 C at 75 C/h
hold until core within 15 C, at most 3 h
heat to 720 C at 120 C/h
hold until clear 95%, at least 3 h, at most 10 h
cool to 540 C at 100 C/h
hold until stopped, at most 4 h
`

func TestParseWhole(t *testing.T) {
	const h = time.Hour
	want := &Profile{CeilingC: 735, Steps: []Step{
		{Kind: Heat, Line: 3, TargetC: 150, Pace: ByRate, RateCPerH: 60},
		{Kind: Hold, Line: 4, Until: Elapsed, For: 2 * h},
		{Kind: Heat, Line: 5, TargetC: 370, Pace: ByRate, RateCPerH: 75},
		{Kind: Hold, Line: 6, Until: UntilCore, WithinC: 15, AtMost: 3 * h},
		{Kind: Heat, Line: 7, TargetC: 720, Pace: ByRate, RateCPerH: 120},
		{Kind: Hold, Line: 8, Until: UntilClear, Clear: 0.95, AtLeast: 3 * h, AtMost: 10 * h},
		{Kind: Cool, Line: 9, TargetC: 540, Pace: ByRate, RateCPerH: 100},
		{Kind: Hold, Line: 10, Until: UntilStopped, AtMost: 4 * h},
	}}
	p, err := Parse(woodyPods)
	require.NoError(t, err)
	assert.Equal(t, want, p)
	assert.Equal(t, woodyPods[len("# woody pods, two 90 mm flasks\n"):], p.String())
}

func TestParseTolerates(t *testing.T) {
	want := &Profile{CeilingC: 735, Fahrenheit: true, Steps: []Step{
		{Kind: Heat, Line: 3, TargetC: 150, Pace: ByRate, RateCPerH: 60},
		{Kind: Hold, Line: 4, Until: Elapsed, For: time.Hour},
	}}
	for name, text := range map[string]string{
		"no final newline": "# x\n\nheat to 302 F at 60 C/h\nhold 1 h\nnever above 735 C",
		"crlf":             "# x\r\n\r\nheat to 302 F at 60 C/h\r\nhold 1 h\r\nnever above 735 C\r\n",
		"cr":               "# x\r\rheat to 302 F at 60 C/h\rhold 1 h\rnever above 735 C\r",
		"byte order mark":  "\uFEFF# x\n\nheat to 302 F at 60 C/h\nhold 1 h\nnever above 735 C\n",
		"spaces, comments": "  # x\n \t\n  heat to 302 F at 60 C/h  # fast\nhold 1 h # \"x\nnever above 735 C\n\n",
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Parse(text)
			require.NoError(t, err)
			assert.Equal(t, want, p)
		})
	}
}

func TestNeverHeats(t *testing.T) {
	_, err := Parse("tell \"hello\"\nwait until below 45 C\nair off\n")
	assert.NoError(t, err)
}
