//go:build !linux

package plug

import "fmt"

// Line is one GPIO output; this operating system has none.
type Line struct{}

// OpenLine returns an error that wraps ErrUnsupported and ErrNoLine.
func OpenLine(s Spec) (*Line, error) {
	return nil, fmt.Errorf("GPIO line %s: %w: %w", s, ErrNoLine, ErrUnsupported)
}

// Set returns ErrUnsupported.
func (l *Line) Set(bool) error { return ErrUnsupported }

// Verify returns ErrUnsupported.
func (l *Line) Verify() error { return ErrUnsupported }

// Close does nothing.
func (l *Line) Close() error { return nil }

// String says that there is no line.
func (l *Line) String() string { return "no GPIO line" }

// Input is one GPIO line to listen to; this operating system has none.
type Input struct{}

// OpenInput returns an error that wraps ErrUnsupported and ErrNoLine.
func OpenInput(name string, _ bool) (*Input, error) {
	return nil, fmt.Errorf("GPIO line %s: %w: %w", name, ErrNoLine, ErrUnsupported)
}

// High returns ErrUnsupported.
func (i *Input) High() (bool, error) { return false, ErrUnsupported }

// Close does nothing.
func (i *Input) Close() error { return nil }

// String says that there is no line.
func (i *Input) String() string { return "no GPIO line" }
