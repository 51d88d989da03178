package web

import (
	"kartwright/advisor/profile"
	"kartwright/advisor/testday"
)

// Days are the test days of the page, each in a file that the command line's day
// commands work on too. A name that is none, or leads out of their folder, is
// answered with fs.ErrNotExist.
type Days interface {
	// List names them, the one changed last first.
	List() ([]DayFile, error)
	// Open reads one.
	Open(name string) (OpenDay, error)
	// Add keeps a new day and returns its name: the one given, or, for none, one
	// of its own making. It never replaces another; a name that is taken is
	// fs.ErrExist, one that cannot be a file's is fs.ErrInvalid. A profile is
	// kept beside the day as its kart; nil leaves the kart that the day names.
	Add(name string, d *testday.Day, profile []byte) (string, error)
	// Change changes one while nobody else can, the command line neither.
	Change(name string, change func(OpenDay) error) error
}

// DayFile is an entry of a list of days.
type DayFile struct {
	Name    string
	Day     *testday.Day // nil if the file has errors
	Trouble string       // the first of them
}

// OpenDay is a day with its kart, which is nil if no change of it moves an
// adjuster.
type OpenDay struct {
	Name string
	Day  *testday.Day
	Kart *profile.Kart
}
