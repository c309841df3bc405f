// Package health follows a kiln over all its firings: what its elements give,
// what its walls lose, how its relay wears, whether its thermometers still
// agree. Each firing is condensed to a few figures, once; trends over them come
// with the doubt that they deserve, and where nothing can be told yet that is
// said. It opens no log, prints nothing and decides nothing.
package health
