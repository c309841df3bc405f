package record

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func aPiece() *Piece {
	return &Piece{Name: "T3", Material: "twig", SectionM: 0.011, Flask: "plug", Firing: 2, PulledS: 3600, State: "charred"}
}

// drawNote draws any note, sensible or not; only numbers are finite.
func drawNote(t *rapid.T) Note {
	text := rapid.String()
	texts := func(name string) []string {
		l := rapid.SliceOfN(text, 0, 3).Draw(t, name)
		if len(l) == 0 {
			return nil
		}
		return l
	}
	real := rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64)
	at := func(name string) time.Time {
		return time.Unix(rapid.Int64Range(-1e10, 1e11).Draw(t, name), rapid.Int64Range(0, 999_999_999).Draw(t, name)).UTC()
	}
	n := Note{ID: rapid.Uint64().Draw(t, "id"), Revision: rapid.Uint64().Draw(t, "rev"), At: at("at"), Author: text.Draw(t, "author"), Withdrawn: rapid.Bool().Draw(t, "withdrawn")}
	if rapid.Bool().Draw(t, "piece") {
		n.Piece = &Piece{text.Draw(t, "name"), text.Draw(t, "material"), real.Draw(t, "section"), text.Draw(t, "flask"), text.Draw(t, "sprue"),
			rapid.Bool().Draw(t, "air"), rapid.Uint64().Draw(t, "firing"), text.Draw(t, "follow"), real.Draw(t, "pulled"), real.Draw(t, "hold C"), real.Draw(t, "hold s"),
			text.Draw(t, "state"), real.Draw(t, "core"), real.Draw(t, "dry"), real.Draw(t, "residue"), text.Draw(t, "text")}
		return n
	}
	var firings []uint64
	if l := rapid.SliceOfN(rapid.Uint64(), 0, 3).Draw(t, "firings"); len(l) > 0 {
		firings = l
	}
	n.Casting = &Casting{text.Draw(t, "name"), texts("moulds"), firings, text.Draw(t, "wash-out"), text.Draw(t, "how"), at("poured"),
		real.Draw(t, "pour"), real.Draw(t, "flask"), text.Draw(t, "metal"), real.Draw(t, "kg"), texts("photos"), texts("outcome"), text.Draw(t, "text")}
	return n
}

func TestNotesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := drawNote(t)
		got, err := DecodeNote(EncodeNote(&n))
		require.NoError(t, err)
		require.Equal(t, n, got)
	})
}

func TestNoteOfANewerCalxIsReadAsFarAsKnown(t *testing.T) {
	n := Note{ID: 1, Revision: 2, Piece: aPiece()}
	b := EncodeNote(&n)
	more := fields(append([]byte(nil), b[:len(b)-crcSize]...))
	more.text(99, "what a later calx keeps")
	got, err := DecodeNote(seal(more))
	require.NoError(t, err)
	require.Equal(t, n, got)

	more[0] = noteVersion + 1
	_, err = DecodeNote(seal(more))
	require.ErrorIs(t, err, ErrVersion)
	b[3] ^= 1
	_, err = DecodeNote(b)
	require.ErrorIs(t, err, ErrDamaged)
}

// The bytes of version 1 stay readable: this note was written by the first
// calx that had a notebook.
func TestNoteOfVersion1(t *testing.T) {
	b := fields{1}
	b.number(1, 7)
	b.number(2, 1)
	b.raw(3, appendTime(nil, time.Unix(1_700_000_000, 5)))
	var p fields
	p.text(2, "twig")
	p.real(3, 0.011)
	p.text(12, "clear")
	b.raw(6, p)
	n, err := DecodeNote(seal(b))
	require.NoError(t, err)
	require.Equal(t, Note{ID: 7, Revision: 1, At: time.Unix(1_700_000_000, 5).UTC(), Piece: &Piece{Material: "twig", SectionM: 0.011, State: "clear"}}, n)
}

func TestCheckNamesTheField(t *testing.T) {
	require.NoError(t, (&Note{Piece: aPiece()}).Check())
	require.NoError(t, (&Note{Casting: &Casting{}}).Check())
	piece := func(fn func(*Piece)) Note { p := aPiece(); fn(p); return Note{Piece: p} }
	casting := func(c Casting) Note { return Note{Casting: &c} }
	for _, tt := range []struct {
		name  string
		note  Note
		field string
		says  string
	}{
		{"nothing", Note{}, "note", "neither a piece nor a casting"},
		{"no section", piece(func(p *Piece) { p.SectionM = 0 }), "section_m", "is missing"},
		{"inches for mm", piece(func(p *Piece) { p.SectionM = 11 }), "section_m", "it must be 0.0002 to 0.3 m"},
		{"not a number", piece(func(p *Piece) { p.SectionM = math.NaN() }), "section_m", "is NaN"},
		{"state", piece(func(p *Piece) { p.State = "grey" }), "state", "raw, charred, char core, ash, clear"},
		{"no history", piece(func(p *Piece) { p.Firing, p.PulledS = 0, 0 }), "hold_s", "must be given"},
		{"half a hold", piece(func(p *Piece) { p.Firing, p.PulledS, p.HoldC = 0, 0, 700 }), "hold_s", "must be given"},
		{"firing alone", piece(func(p *Piece) { p.PulledS = 0 }), "firing", "go together"},
		{"both", piece(func(p *Piece) { p.HoldC = 700 }), "hold_s", "either"},
		{"core of a clear one", piece(func(p *Piece) { p.CoreM = 0.002 }), "core_m", `the state is "charred"`},
		{"core too thick", piece(func(p *Piece) { p.CoreM, p.State = 0.011, "char core" }), "core_m", "under the section"},
		{"residue alone", piece(func(p *Piece) { p.ResidueKg = 1e-4 }), "residue_kg", "without dry_kg"},
		{"residue too heavy", piece(func(p *Piece) { p.ResidueKg, p.DryKg = 2e-3, 1e-3 }), "residue_kg", "under the dry mass"},
		{"material", piece(func(p *Piece) { p.Material = " " }), "material", "such as twig"},
		{"not text", piece(func(p *Piece) { p.Name = "\xff" }), "name", "UTF-8"},
		{"wash-out", casting(Casting{WashOut: "perhaps"}), "wash_out", "yes or no"},
		{"how without", casting(Casting{WashOutHow: "hose"}), "wash_out_how", "must be yes"},
		{"Fahrenheit", casting(Casting{PourC: 2100}), "pour_c", "20 to 2000 °C"},
		{"outcome", casting(Casting{Outcome: []string{"bad"}}), "outcome", "ash inclusion"},
		{"good and not", casting(Casting{Outcome: []string{"misrun", "good"}}), "outcome", "good alone"},
		{"twice", casting(Casting{Outcome: []string{"misrun", "misrun"}}), "outcome", "twice"},
		{"firing 0", casting(Casting{Firings: []uint64{0}}), "firings", "numbered from 1"},
		{"endless", casting(Casting{Text: strings.Repeat("a", longestText+1)}), "note", "at most 8000"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.note.Check()
			var f FieldError
			require.True(t, errors.As(err, &f), "%v", err)
			assert.Equal(t, tt.field, f.Field)
			assert.ErrorContains(t, err, tt.says)
		})
	}
}

func FuzzDecodeNote(f *testing.F) {
	f.Add(EncodeNote(&Note{ID: 1, Revision: 1, Piece: aPiece()}))
	f.Add(EncodeNote(&Note{ID: 1, Casting: &Casting{Moulds: []string{"pod"}, Outcome: []string{"good"}, Firings: []uint64{3}}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		n, err := DecodeNote(seal(b))
		if err != nil {
			if n != (Note{}) {
				t.Fatalf("got a note beside %v", err)
			}
			return
		}
		again, err := DecodeNote(EncodeNote(&n))
		require.NoError(t, err)
		require.Equal(t, n, again)
	})
}
