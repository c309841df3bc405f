package record

import "time"

// NoteKind says what an entry of the notebook is about.
type NoteKind uint8

// The kinds of entries; each kind is numbered by itself, from 1.
const (
	PieceNote   NoteKind = iota + 1 // a test piece, pulled and broken open
	CastingNote                     // a casting, from mould to outcome
)

func (k NoteKind) String() string {
	switch k {
	case PieceNote:
		return "piece"
	case CastingNote:
		return "casting"
	}
	return "unknown"
}

// Note is one revision of one entry of the notebook. An entry is never changed
// or removed: mending it adds a revision, and so does withdrawing it. Each
// revision is whole.
type Note struct {
	ID        uint64    `json:"id"`       // of the entry, among those of its kind
	Revision  uint64    `json:"revision"` // 1, 2, 3 …
	At        time.Time `json:"at"`       // wall clock when it was written, UTC
	Author    string    `json:"author,omitempty"`
	Withdrawn bool      `json:"withdrawn,omitempty"` // no longer counted; may be restored by a later revision

	// Exactly one of these is set; it gives the kind.
	Piece   *Piece   `json:"piece,omitempty"`
	Casting *Casting `json:"casting,omitempty"`
}

// Kind is what the entry is about; 0 when it says nothing.
func (n *Note) Kind() NoteKind {
	switch {
	case n.Piece != nil && n.Casting == nil:
		return PieceNote
	case n.Casting != nil && n.Piece == nil:
		return CastingNote
	}
	return 0
}

// Piece is one look at a test piece. Zero is "not said" unless told otherwise.
// What it went through is either a firing of this log until it was pulled, or a
// hold that a person gives instead.
type Piece struct {
	Name      string  `json:"name"`      // on its label: "T3"; looks at one piece of one firing belong together
	Material  string  `json:"material"`  // "twig"
	SectionM  float64 `json:"section_m"` // thickest place, m
	Flask     string  `json:"flask,omitempty"`
	Sprue     string  `json:"sprue,omitempty"`
	Air       bool    `json:"air,omitempty"`        // the fresh-air relay was on during the hold
	Firing    uint64  `json:"firing,omitempty"`     // number of the firing
	Follow    string  `json:"follow,omitempty"`     // temperature it had: "chamber", "core 2", or the role of a thermocouple; "" is the best there is
	PulledS   float64 `json:"pulled_s,omitempty"`   // when it was pulled, s since the firing began
	HoldC     float64 `json:"hold_c,omitempty"`     // °C, without a firing
	HoldS     float64 `json:"hold_s,omitempty"`     // how long it was held there, s
	State     string  `json:"state"`                // one of PieceStates
	CoreM     float64 `json:"core_m,omitempty"`     // diameter of the char core, m
	DryKg     float64 `json:"dry_kg,omitempty"`     // before, kg
	ResidueKg float64 `json:"residue_kg,omitempty"` // char and ash, kg
	Text      string  `json:"note,omitempty"`
}

// Casting is the sheet of one casting. Zero is "not said".
type Casting struct {
	Name       string    `json:"name,omitempty"`
	Moulds     []string  `json:"moulds,omitempty"`
	Firings    []uint64  `json:"firings,omitempty"`      // numbers of firings in this log
	WashOut    string    `json:"wash_out,omitempty"`     // "yes" or "no"
	WashOutHow string    `json:"wash_out_how,omitempty"` // "warm water, three times"
	Poured     time.Time `json:"poured,omitzero"`        // UTC
	PourC      float64   `json:"pour_c,omitempty"`       // of the metal, °C
	FlaskC     float64   `json:"flask_c,omitempty"`      // of the flask at the pour, °C
	Metal      string    `json:"metal,omitempty"`
	MetalKg    float64   `json:"metal_kg,omitempty"`
	Photos     []string  `json:"photos,omitempty"`  // paths; the pictures stay where they are
	Outcome    []string  `json:"outcome,omitempty"` // Good alone, or the Defects
	Text       string    `json:"note,omitempty"`
}

// PieceStates are what a broken piece looks like, in the order it passes
// through them.
var PieceStates = [...]string{"raw", "charred", "char core", "ash", "clear"}

// Good is the outcome without a defect.
const Good = "good"

// Defects are what may be wrong with a casting; the names are the trade's own.
var Defects = [...]string{"ash inclusion", "char", "shrinkage", "cracking/finning", "misrun", "gas porosity"}

// Latest is the last revision of each entry; all holds the revisions of an entry
// one after another.
func Latest(all []Note) []Note {
	var out []Note
	for _, n := range all {
		if k := len(out); k > 0 && out[k-1].ID == n.ID {
			out[k-1] = n
			continue
		}
		out = append(out, n)
	}
	return out
}

// Standing leaves out what was withdrawn.
func Standing(notes []Note) []Note {
	var out []Note
	for _, n := range notes {
		if !n.Withdrawn {
			out = append(out, n)
		}
	}
	return out
}
