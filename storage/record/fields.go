package record

import (
	"encoding/binary"
	"math"
	"time"
)

// Heads and events are stored as tagged fields:
//
//	version   1 byte
//	fields    tag (varint), length (varint), value
//	checksum  4 bytes, little endian, CRC-32C of all before it
//
// A field with its zero value is left out. A tag that is not known is passed
// over, so an older calx reads what a newer one wrote as far as it can; the
// version goes up only when that would mislead. Tags are never used again.
const fieldsVersion = 1

// Tags of a Firing.
const (
	tagID = iota + 1
	tagName
	tagStarted
	tagEnded
	tagBoot
	tagOutcome
	tagReason
	tagProfile
	tagKiln
	tagConfig
	tagChannel // once for each
	tagPeriod
	tagUnits
	tagFirmware // Firing.Version
	tagNoChannels
	tagReadings
	tagMould // once for each
	tagBeliefs
	tagAfterCut
	tagRun // once for each
	tagControl
	tagImported
)

// Tags of a Run, inside tagRun.
const (
	tagRunBoot = iota + 1
	tagRunSince
	tagRunUptime
)

// Tags of a Channel, inside tagChannel.
const (
	tagRole = iota + 1
	tagChip
	tagType
	tagPort
)

// Tags of an Event.
const (
	tagSeq = iota + 1
	tagSince
	tagWall
	tagCode
	tagSeverity
	tagStep
	tagText
	tagHint
)

type fields []byte

func (f *fields) raw(tag uint64, v []byte) {
	*f = binary.AppendUvarint(*f, tag)
	*f = binary.AppendUvarint(*f, uint64(len(v)))
	*f = append(*f, v...)
}

func (f *fields) text(tag uint64, s string) {
	if s != "" {
		f.raw(tag, []byte(s))
	}
}

func (f *fields) number(tag, v uint64) {
	if v != 0 {
		f.raw(tag, binary.AppendUvarint(nil, v))
	}
}

// each calls fn for every field until the first fault.
func each(in *input, fn func(tag uint64, v *input)) error {
	for len(in.b) > 0 && in.err == nil {
		tag := in.uvarint()
		v := input{b: in.bytes()}
		if in.err != nil {
			break
		}
		fn(tag, &v)
		in.err = v.err
	}
	return in.err
}

func (in *input) text() string {
	s := string(in.b)
	in.b = nil
	return s
}

// EncodeFiring returns f as bytes: lossless, times in UTC.
func EncodeFiring(f *Firing) []byte {
	b := fields{fieldsVersion}
	b.number(tagID, f.ID)
	b.text(tagName, f.Name)
	if !f.Started.IsZero() {
		b.raw(tagStarted, appendTime(nil, f.Started))
	}
	if !f.Ended.IsZero() {
		b.raw(tagEnded, appendTime(nil, f.Ended))
	}
	b.text(tagBoot, f.Boot)
	b.text(tagOutcome, f.Outcome)
	b.text(tagReason, f.Reason)
	b.text(tagProfile, f.Profile)
	b.text(tagKiln, f.Kiln)
	b.text(tagConfig, f.Config)
	if f.Channels != nil && len(f.Channels) == 0 {
		b.raw(tagNoChannels, nil)
	}
	for _, c := range f.Channels {
		var sub fields
		sub.text(tagRole, c.Role)
		sub.text(tagChip, c.Chip)
		sub.text(tagType, c.Type)
		sub.text(tagPort, c.Port)
		b.raw(tagChannel, sub)
	}
	b.number(tagPeriod, uint64(f.PeriodMS))
	b.text(tagUnits, f.Units)
	b.text(tagFirmware, f.Version)
	b.number(tagReadings, f.Readings)
	for _, m := range f.Moulds {
		b.raw(tagMould, []byte(m)) // an empty one counts too
	}
	b.text(tagBeliefs, f.Beliefs)
	b.text(tagAfterCut, f.AfterCut)
	for _, r := range f.Runs {
		var sub fields
		sub.text(tagRunBoot, r.Boot)
		sub.number(tagRunSince, zigzag(int64(r.Since)))
		sub.number(tagRunUptime, zigzag(int64(r.Uptime)))
		b.raw(tagRun, sub)
	}
	b.text(tagControl, f.Control)
	b.text(tagImported, f.Imported)
	return seal(b)
}

// DecodeFiring undoes EncodeFiring. The error is ErrDamaged or ErrVersion.
func DecodeFiring(b []byte) (Firing, error) {
	body, err := unseal(b, fieldsVersion)
	if err != nil {
		return Firing{}, err
	}
	var f Firing
	err = each(&input{b: body}, f.field)
	if err != nil {
		return Firing{}, err
	}
	return f, nil
}

func (f *Firing) field(tag uint64, v *input) {
	switch tag {
	case tagID:
		f.ID = v.uvarint()
	case tagName:
		f.Name = v.text()
	case tagStarted:
		f.Started = v.time()
	case tagEnded:
		f.Ended = v.time()
	case tagBoot:
		f.Boot = v.text()
	case tagOutcome:
		f.Outcome = v.text()
	case tagReason:
		f.Reason = v.text()
	case tagProfile:
		f.Profile = v.text()
	case tagKiln:
		f.Kiln = v.text()
	case tagConfig:
		f.Config = v.text()
	case tagChannel:
		var c Channel
		v.err = each(v, c.field)
		f.Channels = append(f.Channels, c)
	case tagNoChannels:
		f.Channels = []Channel{}
	case tagPeriod:
		f.PeriodMS = uint32(v.atMost(math.MaxUint32))
	case tagUnits:
		f.Units = v.text()
	case tagFirmware:
		f.Version = v.text()
	case tagReadings:
		f.Readings = v.uvarint()
	case tagMould:
		f.Moulds = append(f.Moulds, v.text())
	case tagBeliefs:
		f.Beliefs = v.text()
	case tagAfterCut:
		f.AfterCut = v.text()
	case tagRun:
		var r Run
		v.err = each(v, r.field)
		f.Runs = append(f.Runs, r)
	case tagControl:
		f.Control = v.text()
	case tagImported:
		f.Imported = v.text()
	}
}

func (r *Run) field(tag uint64, v *input) {
	switch tag {
	case tagRunBoot:
		r.Boot = v.text()
	case tagRunSince:
		r.Since = time.Duration(v.varint())
	case tagRunUptime:
		r.Uptime = time.Duration(v.varint())
	}
}

func (c *Channel) field(tag uint64, v *input) {
	switch tag {
	case tagRole:
		c.Role = v.text()
	case tagChip:
		c.Chip = v.text()
	case tagType:
		c.Type = v.text()
	case tagPort:
		c.Port = v.text()
	}
}

// EncodeEvent returns e as bytes: lossless, times in UTC.
func EncodeEvent(e *Event) []byte {
	b := fields{fieldsVersion}
	b.number(tagSeq, e.Seq)
	b.number(tagSince, zigzag(int64(e.Since)))
	if !e.Wall.IsZero() {
		b.raw(tagWall, appendTime(nil, e.Wall))
	}
	b.text(tagCode, e.Code)
	b.number(tagSeverity, uint64(e.Severity))
	b.number(tagStep, uint64(e.Step))
	b.text(tagText, e.Text)
	b.text(tagHint, e.Hint)
	return seal(b)
}

// DecodeEvent undoes EncodeEvent. The error is ErrDamaged or ErrVersion.
func DecodeEvent(b []byte) (Event, error) {
	body, err := unseal(b, fieldsVersion)
	if err != nil {
		return Event{}, err
	}
	var e Event
	if err := each(&input{b: body}, e.field); err != nil {
		return Event{}, err
	}
	return e, nil
}

func (e *Event) field(tag uint64, v *input) {
	switch tag {
	case tagSeq:
		e.Seq = v.uvarint()
	case tagSince:
		e.Since = time.Duration(v.varint())
	case tagWall:
		e.Wall = v.time()
	case tagCode:
		e.Code = v.text()
	case tagSeverity:
		e.Severity = Severity(v.atMost(math.MaxUint8))
	case tagStep:
		e.Step = uint16(v.atMost(math.MaxUint16))
	case tagText:
		e.Text = v.text()
	case tagHint:
		e.Hint = v.text()
	}
}
