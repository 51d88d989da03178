// Package cli is the command line: a file for each command, the exit statuses,
// and how answers and errors are printed as text and as JSON. It decides
// nothing about karts; that is package advisor's.
package cli
