// Package resume judges a firing that was interrupted: whether it goes on by
// itself, waits for a person, or is over, and why. It knows no clock and no
// kiln: what the clocks showed, what the kiln's own cooling says of the time,
// and where the moulds stand are handed in. How a firing then goes on, from
// where in the plan and at which pace, is package controller's.
package resume
