package sensor

// Door is what a switch at the door of the kiln says.
type Door uint8

// The positions. The zero value is a kiln without a switch.
const (
	DoorUnknown Door = iota
	DoorShut
	DoorOpen
)

func (d Door) String() string {
	switch d {
	case DoorShut:
		return "shut"
	case DoorOpen:
		return "open"
	}
	return "unknown"
}
