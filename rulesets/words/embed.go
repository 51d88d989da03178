// Package words holds the shipped word files: what drivers say in each language.
package words

import "embed"

// FS has one file a language: en.toml, it.toml, es.toml, fr.toml, de.toml.
//
//go:embed *.toml *.weights
var FS embed.FS
