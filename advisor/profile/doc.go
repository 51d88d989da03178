// Package profile reads one kart's TOML file: its dimensions, what can be
// adjusted on it, how it stands now, and its limits.
//
// A profile gives a corner either by angles and lengths that a person can
// measure ([corner], [steering]) or by points in space ([points]). Every value
// carries its unit and may carry ±. What is left out is assumed, and listed as
// assumed wherever an answer depends on it.
package profile
