package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/profile"
)

// usual reads a table of minutes and °C.
var usual = Options{Time: "t", Temp: "temp", TimeUnit: "min"}

func temps(t *testing.T, text string, o Options) []float64 {
	t.Helper()
	table, err := Read("x.csv", []byte(text), o)
	require.NoError(t, err)
	var out []float64
	for _, r := range table.Rows {
		out = append(out, r.TempC)
	}
	return out
}

// RFC 4180, section 2, rules 1 to 7, with its examples turned into tables: line
// breaks, the last one missing, a header, spaces, quotes, commas and line
// breaks within quotes, a quote within quotes.
func TestRFC4180(t *testing.T) {
	for rule, text := range map[string]string{
		"1, lines end in CRLF":                "t,temp,ccc\r\n0,20,cc\r\n1,30,xx\r\n",
		"2, the last may have no break":       "t,temp,ccc\r\n0,20,cc\r\n1,30,xx",
		"3, a header of names":                "field_name,t,temp\r\naaa,0,20\r\nzzz,1,30\r\n",
		"5, fields may be in quotes":          "\"t\",\"temp\",\"ccc\"\r\n\"0\",\"20\",\"cc\"\r\n1,30,xx\r\n",
		"6, breaks and commas in quotes":      "\"t\",\"temp\",\"b \r\nbb, and more\"\r\n0,20,\"x\r\ny\"\r\n1,30,xx\r\n",
		"7, a quote in quotes is twice":       "t,temp,c\r\n0,20,\"b\"\"bb\"\r\n1,30,xx\r\n",
		"relatives: line feeds, a blank line": "t,temp\n0,20\n\n1,30\n",
		"relatives: a byte order mark":        "\xef\xbb\xbft,temp\n0,20\n1,30\n",
		"relatives: semicolons":               "t;temp\n0;20\n1;30\n",
		"relatives: tabs":                     "t\ttemp\n0\t20\n1\t30\n",
		"relatives: bars and spaces":          "t | temp\n0 | 20\n1 | 30\n",
		"relatives: decimal commas":           "t;temp;x\n0;20,0;1,5\n1,0;30,00;a\n",
		"relatives: an old code page":         "t,temp,Gr\xf6\xdfe\n0,20,1\n1,30,2\n",
	} {
		assert.Equal(t, []float64{20, 30}, temps(t, text, usual), rule)
	}
	// Rule 4: every line has as many fields. One that is short of what is asked
	// for is named.
	_, err := Read("x.csv", []byte("t,temp\n0,20\n1\n"), usual)
	assert.EqualError(t, err, "x.csv:3:1: the line has 1 fields; the columns asked for need 2")
	_, err = Read("x.csv", []byte("t,temp\n0,2\"0\n"), usual)
	assert.ErrorContains(t, err, `x.csv:2:`)
	assert.ErrorContains(t, err, `a quote within it twice`)
}

func TestColumns(t *testing.T) {
	assert.Equal(t, []float64{20, 30}, temps(t, "0,20\n1,30\n", Options{Time: "1", Temp: "2", TimeUnit: "min"}), "by number, without a header")
	assert.Equal(t, []float64{20, 30}, temps(t, "When, Chamber (F)\n0,68\n1,86\n", Options{Time: "when", Temp: "chamber (f)", TimeUnit: "h", Fahrenheit: true}), "by name")
	_, err := Read("x.csv", []byte("time,T1,T2\n0,1,2\n"), Options{Time: "time", Temp: "T3", Setpoint: "SP"})
	assert.EqualError(t, err, "x.csv:1:1: --temp: there is no column \"T3\"; the first line has \"time\", \"T1\", \"T2\"\n"+
		"x.csv:1:1: --setpoint: there is no column \"SP\"; the first line has \"time\", \"T1\", \"T2\"")
}

// ISO 8601-1:2019 and RFC 3339, section 5.8: the same moments, an hour apart.
func TestTimes(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	for _, c := range []struct{ a, b, unit string }{
		{"1985-04-12T23:20:50.52Z", "1985-04-13T00:20:50.52Z", ""},
		{"1996-12-19T16:39:57-08:00", "1996-12-20T01:39:57Z", ""},
		{"2026-01-31 19:05", "2026-01-31 20:05", ""},
		{"20260131T190500Z", "20260131T200500Z", ""},
		{"31.1.2026 23:30:00", "1.2.2026 00:30:00", ""},
		{"2026-03-29 01:30:00", "2026-03-29 03:30:00", ""}, // summer time begins in Berlin
		{"23:30", "0:30", ""}, {"0:10:00", "1:10:00.0", ""},
		{"0", "60", "min"}, {"1.5", "2.5", "h"}, {"1775000000", "1775003600", "s"}, {"0", "3600000", "ms"},
	} {
		table, err := Read("x", []byte("t,temp\n"+c.a+",20\n"+c.b+",30\n"), Options{Time: "t", Temp: "temp", TimeUnit: c.unit, Zone: berlin})
		require.NoError(t, err, c.a)
		assert.Equal(t, time.Hour, table.Rows[1].Since, c.a)
	}
	table, err := Read("x", []byte("d;t;temp\n2026-01-31;19:05:00;20\n2026-01-31;19:06:00;21\n"), Options{Date: "d", Time: "t", Temp: "temp", Zone: berlin})
	require.NoError(t, err)
	assert.Equal(t, "2026-01-31T18:05:00Z", table.Start.UTC().Format(time.RFC3339))
}

// What cannot be meant is refused by its place, and nothing is made of the rest.
func TestRefused(t *testing.T) {
	for want, text := range map[string]string{
		`x.csv:3:3: temperature: read "hot"; it must be a number without a unit`:                        "t,temp\n0,20\n1,hot\n",
		`x.csv:3:3: temperature: read "21 °C"; it must be a number without a unit`:                      "t,temp\n0,20\n1,21 °C\n",
		`x.csv:3:3: temperature: read "5000", which is 5000 °C; it must be from -60 to 1800 °C`:         "t,temp\n0,20\n1,5000\n",
		`x.csv:3:1: read "0", which is before the row above; times must rise`:                           "t,temp\n1,20\n0,21\n",
		`x.csv:3:1: read "99999", 69 days after the first row`:                                          "t,temp\n0,20\n99999,21\n",
		`x.csv:2:3: temperature: read "1,234", which may be a thousand or a number with three decimals`: "t;temp\n0;1,234\n",
		`x.csv:2:3: temperature: read "1.234,5", with a point and a comma`:                              "t;temp\n0;1.234,5\n",
		`1 rows with a time and a temperature were found`:                                               "t,temp\n0,20\n1,\n",
		`x.csv:2:1: time: read "soon"; it must be a number without a unit`:                              "t,temp\nsoon,20\n",
		`x.csv:1:1: the file is UTF-16; save it as UTF-8`:                                               "\xff\xfet\x00",
		`x.csv:1:1: the file is empty`:                                                                  "",
		`x.csv:2:6: duty: read "-3"; it must be from 0 to 1, or from 0 to 100 per cent`:                 "t,temp,duty\n0,20,-3\n",
	} {
		o := usual
		if strings.Contains(text, "duty") {
			o.Duty = "duty"
		}
		table, err := Read("x.csv", []byte(text), o)
		assert.Nil(t, table, want)
		assert.ErrorContains(t, err, want)
	}
	_, err := Read("x", []byte("t,temp\n0,20\n"), Options{Time: "t", Temp: "temp"})
	assert.ErrorContains(t, err, `read "0", a number; say what it counts with --time-unit s, min or h`)
	_, err = Read("x", []byte("t,temp\n03/04/2026 12:00,20\n"), Options{Time: "t", Temp: "temp"})
	assert.ErrorContains(t, err, "2026-01-31 19:05:00", "nobody can tell day from month")
	var all Errors
	_, err = Read("x", []byte("t,temp\n"+strings.Repeat("0,a\n", 99)), usual)
	require.ErrorAs(t, err, &all)
	assert.LessOrEqual(t, len(all), mostErrors+1)
}

func TestGapsAndWhatIsMissing(t *testing.T) {
	table, err := Read("x", []byte("t,temp,sp,out\n0,20,20,0\n1,,30,50\n2,30,40,100\n2,31,40,100\n3,40,NaN,100\n4,50,60,75\n5,60,60,75\n30,500,60,75\n31,510,60,75\n"),
		Options{Time: "t", Temp: "temp", Setpoint: "sp", Duty: "out", TimeUnit: "min"})
	require.NoError(t, err)
	assert.Equal(t, 1, table.Missing)
	assert.Equal(t, 1, table.Repeated)
	assert.True(t, table.HasSet && table.HasDuty)
	assert.Equal(t, 0.5, table.Rows[1].Duty, "per cent")
	n, most := table.Gaps()
	assert.Equal(t, 1, n)
	assert.Equal(t, 25*time.Minute, most)
	f, rs, es := table.Records(Origin{Name: "n", File: "x", RatedW: 2400, Started: time.Unix(1e9, 0)})
	assert.Equal(t, "x", f.Imported)
	assert.Equal(t, uint32(60000), f.PeriodMS)
	assert.Len(t, rs, 7)
	assert.Len(t, es, 1)
	// 0 % for a minute, 50 %, 100 % twice, 75 %; nothing through the gap, 75 %.
	assert.InDelta(t, 2400*60*(0+0.5+1+1+0.75+0.75), rs[6].EnergyJ, 1e-6)
	assert.True(t, math.IsNaN(rs[2].SetpointC))
}

// A profile that is drawn with a ruler comes out again.
func TestPlanIsReadOff(t *testing.T) {
	var b strings.Builder
	b.WriteString("t,temp,sp\n")
	at := func(m float64) float64 {
		switch {
		case m <= 120:
			return 20 + 130*m/120
		case m <= 300:
			return 150
		case m <= 420:
			return 150 + 570*(m-300)/120
		case m <= 600:
			return 720
		}
		return 720 - 180*(m-600)/90
	}
	for m := 0.0; m <= 690; m++ {
		fmt.Fprintf(&b, "%g,%.1f,%.1f\n", m, at(m)+2*math.Sin(m), at(m))
	}
	table, err := Read("x", []byte(b.String()), Options{Time: "t", Temp: "temp", Setpoint: "sp", TimeUnit: "min"})
	require.NoError(t, err)
	p, starts := table.Plan(false)
	require.NotNil(t, p)
	assert.Equal(t, "heat to 150 C in 2 h\nhold 3 h\nheat to 720 C in 2 h\nhold 3 h\ncool to 540 C in 1 h 30 min\n", p.String())
	assert.Equal(t, []time.Duration{0, 2 * time.Hour, 5 * time.Hour, 7 * time.Hour, 10 * time.Hour}, starts)
	table.HasSet = false // off the chamber, which wavers
	p, _ = table.Plan(false)
	last := p.Steps[len(p.Steps)-1]
	assert.Equal(t, profile.Unpowered, last.Pace)
	assert.InDelta(t, 540, last.TargetC, 5)
	assert.LessOrEqual(t, len(p.Steps), 7)
}

// Whatever is in a file, it is refused by place, or read into times that rise
// and temperatures of a kiln.
func FuzzRead(f *testing.F) {
	f.Add("t,temp,sp,duty\n0,20,20,0\n1,30,40,50\n", "t", "temp", "min")
	f.Add("t,temp,sp,duty\n0,20,20,0.5\n1,30,40,1.2\n", "t", "temp", "min") // a share of more than all
	f.Add("\xef\xbb\xbfd;t;temp\r\n\"2026-01-31\";19:05;1,5\r\n", "t", "temp", "")
	f.Add("2026-01-31T19:05:00Z\t20\n2026-01-31T19:06:00Z\t21\n", "1", "2", "iso")
	f.Add("23:59:59,20\n0:00:01,21\n", "1", "2", "hms")
	f.Fuzz(func(t *testing.T, text, when, temp, unit string) {
		table, err := Read("x", []byte(text), Options{Time: when, Temp: temp, Setpoint: "sp", Duty: "duty", TimeUnit: unit})
		if err != nil {
			require.Nil(t, table)
			return
		}
		last := time.Duration(-1)
		for _, r := range table.Rows {
			require.Greater(t, r.Since, last)
			last = r.Since
			require.True(t, math.IsNaN(r.TempC) || r.TempC >= leastC && r.TempC <= mostC)
			require.True(t, math.IsNaN(r.Duty) || r.Duty >= 0 && r.Duty <= 1)
		}
		table.Records(Origin{})
	})
}
