// Package mould is the physics inside a flask during burnout: where the heat
// is, how much water is left, what of the pattern is char and what is clear.
package mould
