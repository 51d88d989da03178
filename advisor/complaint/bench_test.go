package complaint

import (
	"testing"

	"kartwright/rulesets/words"
)

func BenchmarkLoadEnglish(b *testing.B) {
	for b.Loop() {
		Load(words.FS, "en.toml")
	}
}

func BenchmarkRead(b *testing.B) {
	l := load(b, "en")
	for b.Loop() {
		l.Read("So first run it was hopping everywhere, second run with the change no hop but pushing like a pig into the slow corners, third run about the same as the second.")
	}
}
