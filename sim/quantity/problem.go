package quantity

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong in a file that reads well as YAML: a value out of
// its range, two values that contradict each other.
type Problem struct {
	// Path names the field as the file nests it: "walls[1].thickness". An
	// empty path means the file as a whole.
	Path string
	// Text says what was read and what would be right, without file or line.
	Text string
}

// Checker is what a type implements to have its ranges checked by [Decode]
// once every field has been read. It returns all problems at once, or nil.
type Checker interface {
	Check() []Problem
}

// Errors is what [Decode] returns: every problem of one file, in file order.
type Errors []Error

// Error is one problem with its place. Line and Column count from 1.
type Error struct {
	File         string
	Line, Column int
	Text         string
}

// Error reads "kiln.yaml:4:10: what was read; what would be right".
func (e Error) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Text)
}

// Error puts each problem on its own line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives errors.As each problem.
func (e Errors) Unwrap() []error {
	out := make([]error, len(e))
	for i, one := range e {
		out[i] = one
	}
	return out
}

func (e Errors) sorted() Errors {
	slices.SortStableFunc(e, func(a, b Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return e
}
