package sheet

// Mark tells how far a source was followed.
type Mark string

// The marks, from the firmest to the weakest.
const (
	Read     Mark = "read"     // the source was read
	Derived  Mark = "derived"  // follows from other figures by the formula named
	Memory   Mark = "memory"   // the source is named from memory: check before trusting it
	Practice Mark = "practice" // common practice of the trade, no source
)

// Source is where a figure comes from. Text may be empty for [Practice].
type Source struct {
	Mark Mark   `json:"mark"`
	Text string `json:"text,omitempty"`
}

// String reads "practice" or "memory: ASM Handbook, vol. 2".
func (s Source) String() string {
	if s.Text == "" {
		return string(s.Mark)
	}
	return string(s.Mark) + ": " + s.Text
}

// Span is a range of temperatures, °C, both ends included.
type Span struct {
	LowC  float64 `json:"low_c"`
	HighC float64 `json:"high_c"`
}

// Caution is one danger and what to do about it.
type Caution struct {
	Title string `json:"title"`
	Text  string `json:"text"`
}
