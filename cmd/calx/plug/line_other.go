//go:build !linux

package plug

import "fmt"

// Line is one GPIO output; this operating system has none.
type Line struct{}

// OpenLine returns an error that wraps ErrUnsupported.
func OpenLine(s Spec) (*Line, error) { return nil, fmt.Errorf("GPIO line %s: %w", s, ErrUnsupported) }

// Set returns ErrUnsupported.
func (l *Line) Set(bool) error { return ErrUnsupported }

// Verify returns ErrUnsupported.
func (l *Line) Verify() error { return ErrUnsupported }

// Close does nothing.
func (l *Line) Close() error { return nil }

// String says that there is no line.
func (l *Line) String() string { return "no GPIO line" }
