// Package geometry holds the quantities that the rest of kartwright computes
// with: Angle, Length, Turns, Clock and Vec, and how they are read from and
// printed for people.
//
// The frame is that of ISO 8855: x forward, y to the left, z up. Package
// frontend says how it is mirrored for the right corner.
//
// Every product that is added to something is converted to float64 first,
// which forbids the compiler to fuse the two into one rounding, so that every
// architecture prints the same digits. The package imports only the standard
// library.
package geometry
