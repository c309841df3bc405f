package intake

import (
	"fmt"
	"strings"
	"time"
)

// Options say how to read a table.
type Options struct {
	// Names of columns as the first line has them, or their numbers from 1.
	// Date, Setpoint and Duty may be empty.
	Date, Time, Temp, Setpoint, Duty string

	Fahrenheit bool
	TimeUnit   string         // "s", "min", "h" or "ms" for elapsed numbers; "hms" for 1:02:03; "iso" for dates; "" finds out, but never guesses a unit
	Separator  rune           // between fields; 0 finds out
	Decimal    rune           // '.' or ','; 0 finds out
	Zone       *time.Location // of times without one; nil: UTC
}

// TimeUnits are the words for Options.TimeUnit.
var TimeUnits = []string{"s", "min", "h", "ms", "hms", "iso"}

// Error is one value that cannot be right.
type Error struct {
	File         string
	Line, Column int // from 1
	Text         string
}

func (e Error) Error() string { return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text) }

// Errors are all that was found, up to a dozen.
type Errors []Error

func (es Errors) Error() string {
	var b strings.Builder
	for i, e := range es {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(e.Error())
	}
	return b.String()
}

// mostErrors is how many values are named before the rest is left unread.
const mostErrors = 12

// Row is one line of the table.
type Row struct {
	Since time.Duration // since the first row, rising
	TempC float64       // chamber, °C; NaN where the table has none
	SetC  float64       // setpoint, °C; NaN where there is none
	Duty  float64       // 0..1; NaN where there is none
}

// Table is a firing as it was found.
type Table struct {
	Rows              []Row
	Start             time.Time // wall clock of the first row; zero where the table only counts
	HasSet, HasDuty   bool
	Missing, Repeated int // rows without a temperature; rows left out because they repeat a time
}
