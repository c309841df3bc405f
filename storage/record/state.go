package record

import "bytes"

// stateVersion heads the bytes of a controller's state.
const stateVersion = 1

// EncodeState wraps a controller's state, bytes whose meaning only the
// controller knows, so that a change of any of them is found.
func EncodeState(state []byte) []byte {
	return seal(append([]byte{stateVersion}, state...))
}

// DecodeState returns what EncodeState was given; the bytes are the caller's.
// Before version 1 the state stood there bare, as a JSON object; it is
// returned as it is, and nobody vouches for it. The error is ErrDamaged or
// ErrVersion.
func DecodeState(b []byte) ([]byte, error) {
	if bytes.HasPrefix(b, []byte("{")) {
		return bytes.Clone(b), nil
	}
	body, err := unseal(b, stateVersion)
	if err != nil {
		return nil, err
	}
	return bytes.Clone(body), nil
}
