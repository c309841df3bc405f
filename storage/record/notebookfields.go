package record

import (
	"encoding/binary"
	"math"
)

// A note is stored as tagged fields, see fieldsVersion. An older calx that
// mends a note of a newer one leaves out in its revision what it does not know;
// the revision before still has it.
const noteVersion = 1

// Tags of a Note.
const (
	tagNoteID = iota + 1
	tagRevision
	tagAt
	tagAuthor
	tagWithdrawn
	tagPiece
	tagCasting
)

// Tags of a Piece, inside tagPiece.
const (
	tagPieceName = iota + 1
	tagMaterial
	tagSection
	tagFlask
	tagSprue
	tagPieceAir
	tagFiring
	tagFollow
	tagPulled
	tagHoldC
	tagHoldS
	tagState
	tagCore
	tagDry
	tagResidue
	tagPieceText
)

// Tags of a Casting, inside tagCasting.
const (
	tagCastingName = iota + 1
	tagMouldName   // once for each
	tagFiringOf    // once for each
	tagWashOut
	tagWashOutHow
	tagPoured
	tagPourC
	tagFlaskC
	tagMetal
	tagMetalKg
	tagPhoto  // once for each
	tagResult // once for each
	tagCastingText
)

// real writes all 64 bits, unless they are those of zero.
func (f *fields) real(tag uint64, v float64) {
	if v != 0 {
		f.raw(tag, binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
	}
}

func (f *fields) flag(tag uint64, v bool) {
	if v {
		f.number(tag, 1)
	}
}

// texts writes each entry, empty ones too.
func (f *fields) texts(tag uint64, list []string) {
	for _, s := range list {
		f.raw(tag, []byte(s))
	}
}

// real reads a finite number.
func (in *input) real() float64 {
	const size = 8
	if len(in.b) < size {
		in.fail("number is cut short")
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(in.b))
	in.b = in.b[size:]
	if math.IsNaN(v) || math.IsInf(v, 0) {
		in.fail("number is not finite")
		return 0
	}
	return v
}

// EncodeNote returns n as bytes: lossless, times in UTC. Numbers must be
// finite; Check sees to that.
func EncodeNote(n *Note) []byte {
	b := fields{noteVersion}
	b.number(tagNoteID, n.ID)
	b.number(tagRevision, n.Revision)
	if !n.At.IsZero() {
		b.raw(tagAt, appendTime(nil, n.At))
	}
	b.text(tagAuthor, n.Author)
	b.flag(tagWithdrawn, n.Withdrawn)
	if n.Piece != nil {
		b.raw(tagPiece, n.Piece.fields())
	}
	if n.Casting != nil {
		b.raw(tagCasting, n.Casting.fields())
	}
	return seal(b)
}

// DecodeNote undoes EncodeNote. The error is ErrDamaged or ErrVersion.
func DecodeNote(b []byte) (Note, error) {
	body, err := unseal(b, noteVersion)
	if err != nil {
		return Note{}, err
	}
	var n Note
	if err := each(&input{b: body}, n.field); err != nil {
		return Note{}, err
	}
	return n, nil
}

func (n *Note) field(tag uint64, v *input) {
	switch tag {
	case tagNoteID:
		n.ID = v.uvarint()
	case tagRevision:
		n.Revision = v.uvarint()
	case tagAt:
		n.At = v.time()
	case tagAuthor:
		n.Author = v.text()
	case tagWithdrawn:
		n.Withdrawn = v.uvarint() != 0
	case tagPiece:
		n.Piece = &Piece{}
		v.err = each(v, n.Piece.field)
	case tagCasting:
		n.Casting = &Casting{}
		v.err = each(v, n.Casting.field)
	}
}

func (p *Piece) fields() fields {
	var b fields
	b.text(tagPieceName, p.Name)
	b.text(tagMaterial, p.Material)
	b.real(tagSection, p.SectionM)
	b.text(tagFlask, p.Flask)
	b.text(tagSprue, p.Sprue)
	b.flag(tagPieceAir, p.Air)
	b.number(tagFiring, p.Firing)
	b.text(tagFollow, p.Follow)
	b.real(tagPulled, p.PulledS)
	b.real(tagHoldC, p.HoldC)
	b.real(tagHoldS, p.HoldS)
	b.text(tagState, p.State)
	b.real(tagCore, p.CoreM)
	b.real(tagDry, p.DryKg)
	b.real(tagResidue, p.ResidueKg)
	b.text(tagPieceText, p.Text)
	return b
}

func (p *Piece) field(tag uint64, v *input) {
	switch tag {
	case tagPieceName:
		p.Name = v.text()
	case tagMaterial:
		p.Material = v.text()
	case tagSection:
		p.SectionM = v.real()
	case tagFlask:
		p.Flask = v.text()
	case tagSprue:
		p.Sprue = v.text()
	case tagPieceAir:
		p.Air = v.uvarint() != 0
	case tagFiring:
		p.Firing = v.uvarint()
	case tagFollow:
		p.Follow = v.text()
	case tagPulled:
		p.PulledS = v.real()
	case tagHoldC:
		p.HoldC = v.real()
	case tagHoldS:
		p.HoldS = v.real()
	case tagState:
		p.State = v.text()
	case tagCore:
		p.CoreM = v.real()
	case tagDry:
		p.DryKg = v.real()
	case tagResidue:
		p.ResidueKg = v.real()
	case tagPieceText:
		p.Text = v.text()
	}
}

func (c *Casting) fields() fields {
	var b fields
	b.text(tagCastingName, c.Name)
	b.texts(tagMouldName, c.Moulds)
	for _, id := range c.Firings {
		b.raw(tagFiringOf, binary.AppendUvarint(nil, id))
	}
	b.text(tagWashOut, c.WashOut)
	b.text(tagWashOutHow, c.WashOutHow)
	if !c.Poured.IsZero() {
		b.raw(tagPoured, appendTime(nil, c.Poured))
	}
	b.real(tagPourC, c.PourC)
	b.real(tagFlaskC, c.FlaskC)
	b.text(tagMetal, c.Metal)
	b.real(tagMetalKg, c.MetalKg)
	b.texts(tagPhoto, c.Photos)
	b.texts(tagResult, c.Outcome)
	b.text(tagCastingText, c.Text)
	return b
}

func (c *Casting) field(tag uint64, v *input) {
	switch tag {
	case tagCastingName:
		c.Name = v.text()
	case tagMouldName:
		c.Moulds = append(c.Moulds, v.text())
	case tagFiringOf:
		c.Firings = append(c.Firings, v.uvarint())
	case tagWashOut:
		c.WashOut = v.text()
	case tagWashOutHow:
		c.WashOutHow = v.text()
	case tagPoured:
		c.Poured = v.time()
	case tagPourC:
		c.PourC = v.real()
	case tagFlaskC:
		c.FlaskC = v.real()
	case tagMetal:
		c.Metal = v.text()
	case tagMetalKg:
		c.MetalKg = v.real()
	case tagPhoto:
		c.Photos = append(c.Photos, v.text())
	case tagResult:
		c.Outcome = append(c.Outcome, v.text())
	case tagCastingText:
		c.Text = v.text()
	}
}
