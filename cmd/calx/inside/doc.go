// Package inside prepares what calx knows of the moulds before it has seen
// them: whether they go into the kiln, the air around them, and how long their
// pieces are expected to burn. During the firing the controller follows them.
package inside
