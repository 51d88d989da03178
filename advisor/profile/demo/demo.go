// Package demo embeds invented karts that between them have every kind of
// adjuster.
package demo

import (
	"embed"
	"strings"
)

// FS holds the profiles, NAME.toml.
//
//go:embed *.toml
var FS embed.FS

// Default is the name of the kart that answers when none is given.
const Default = "alder"

// Names returns the karts' names in alphabetical order.
func Names() []string {
	entries, _ := FS.ReadDir(".") // embedded: cannot fail
	var out []string
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".toml"))
	}
	return out
}

// Read returns a kart's profile by its name; ok is false if there is none.
func Read(name string) (data []byte, ok bool) {
	data, err := FS.ReadFile(name + ".toml")
	return data, err == nil
}
