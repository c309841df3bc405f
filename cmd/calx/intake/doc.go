// Package intake reads a firing that was recorded elsewhere: a table of times
// and temperatures as any logger or spreadsheet writes it (RFC 4180 and its
// usual relatives), into the records of a firing. What the table does not hold
// is left unknown, never invented; what it holds and cannot be meant is refused
// with its line and column, and nothing is made of the rest.
package intake
