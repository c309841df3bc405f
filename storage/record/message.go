package record

import (
	"math"
	"time"
)

// Message is something to tell people, and whom it has reached.
type Message struct {
	ID       uint64    // 1, 2, 3 … in the order they came up; storage gives it
	At       time.Time // wall clock when it happened, UTC
	Kind     string    // what it is about, see controller/tidings
	Severity Severity
	Firing   uint64    // number of the firing; 0 = of none
	Event    uint64    // one more than the Seq of the newest event it tells of; 0 = of none
	Subject  string    // one line
	Body     string    // short lines; may be empty
	Acked    time.Time // when a person acknowledged it, UTC; zero = nobody did
	Sent     []Sent    // one entry for each destination that it reached
}

// Sent is how often a message reached a destination.
type Sent struct {
	To    string    // name of the destination
	Times uint32    // at least 1
	Last  time.Time // wall clock of the last time, UTC
}

// To returns how often and when m reached a destination; zero for never.
func (m *Message) To(name string) Sent {
	for _, s := range m.Sent {
		if s.To == name {
			return s
		}
	}
	return Sent{To: name}
}

// messageVersion heads the bytes of a message: tagged fields, see
// fieldsVersion. What a newer calx adds, an older one leaves out.
const messageVersion = 1

// Tags of a Message, and of a Sent inside tagSent.
const (
	tagMessageID = iota + 1
	tagMessageAt
	tagKind
	tagGrade
	tagMessageFiring
	tagMessageEvent
	tagSubject
	tagBody
	tagAcked
	tagSent // once for each
)

const (
	tagSentTo = iota + 1
	tagSentTimes
	tagSentLast
)

// moment writes a time, unless it is zero.
func (f *fields) moment(tag uint64, t time.Time) {
	if !t.IsZero() {
		f.raw(tag, appendTime(nil, t))
	}
}

// EncodeMessage returns m as bytes: lossless, times in UTC.
func EncodeMessage(m *Message) []byte {
	b := fields{messageVersion}
	b.number(tagMessageID, m.ID)
	b.moment(tagMessageAt, m.At)
	b.text(tagKind, m.Kind)
	b.number(tagGrade, uint64(m.Severity))
	b.number(tagMessageFiring, m.Firing)
	b.number(tagMessageEvent, m.Event)
	b.text(tagSubject, m.Subject)
	b.text(tagBody, m.Body)
	b.moment(tagAcked, m.Acked)
	for _, s := range m.Sent {
		var sub fields
		sub.text(tagSentTo, s.To)
		sub.number(tagSentTimes, uint64(s.Times))
		sub.moment(tagSentLast, s.Last)
		b.raw(tagSent, sub)
	}
	return seal(b)
}

// DecodeMessage undoes EncodeMessage. The error is ErrDamaged or ErrVersion.
func DecodeMessage(b []byte) (Message, error) {
	body, err := unseal(b, messageVersion)
	if err != nil {
		return Message{}, err
	}
	var m Message
	if err := each(&input{b: body}, m.field); err != nil {
		return Message{}, err
	}
	return m, nil
}

func (m *Message) field(tag uint64, v *input) {
	switch tag {
	case tagMessageID:
		m.ID = v.uvarint()
	case tagMessageAt:
		m.At = v.time()
	case tagKind:
		m.Kind = v.text()
	case tagGrade:
		m.Severity = Severity(v.atMost(math.MaxUint8))
	case tagMessageFiring:
		m.Firing = v.uvarint()
	case tagMessageEvent:
		m.Event = v.uvarint()
	case tagSubject:
		m.Subject = v.text()
	case tagBody:
		m.Body = v.text()
	case tagAcked:
		m.Acked = v.time()
	case tagSent:
		var s Sent
		v.err = each(v, s.field)
		m.Sent = append(m.Sent, s)
	}
}

func (s *Sent) field(tag uint64, v *input) {
	switch tag {
	case tagSentTo:
		s.To = v.text()
	case tagSentTimes:
		s.Times = uint32(v.atMost(math.MaxUint32))
	case tagSentLast:
		s.Last = v.time()
	}
}
