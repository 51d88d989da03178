package ruleset

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/BurntSushi/toml"
)

// manyRules writes n rules of the usual shape, with the vocabulary of the fixtures.
func manyRules(t testing.TB, n int) fstest.MapFS {
	base, err := os.ReadFile("testdata/ok/base.toml")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("format = 1\nset = \"many\"\ntitle = \"Many rules\"\nextends = [\"base.toml\"]\n")
	for i := range n {
		fmt.Fprintf(&b, `
[[rule]]
id = "rule-%d"
title = "a rule of the usual length"
when = { symptom = "%s", phase = "%s", track = "%s", grip = ["low", "medium"], tyres = "not new", without = ["over_lift"] }
vote = { caster = "+0.%d deg", toe = "-1 mm over 255 mm" }
confidence = 0.%d
family = "family-%d"
because = "more caster lifts the inside rear wheel sooner, which frees the kart on the way in"
source = "common practice"
cautions = ["the steering gets heavier"]
`, i, []string{"understeer", "oversteer"}[i%2], []string{"entry", "mid", "exit"}[i%3], []string{"tight", "fast"}[i/2%2], 3+i%7, 1+i%9, i/2)
	}
	return fstest.MapFS{"base.toml": {Data: base}, "many.toml": {Data: []byte(b.String())}}
}

// The limit for loading and checking 1 000 rules is 50 ms. It is held against
// the fastest of the rounds: what else the machine does only adds to a time. As
// a ratio, which a slow machine cannot spoil, all that is done beside decoding
// may not take longer than one and a half times the decoding itself.
func BenchmarkLoad(b *testing.B) {
	fsys := manyRules(b, 1000)
	text := string(fsys["many.toml"].Data)
	never := time.Duration(1<<63 - 1)
	load, decode := never, never
	for b.Loop() {
		start := time.Now()
		loaded, findings := Load(fsys, "many.toml")
		load = min(load, time.Since(start))
		if len(findings) > 0 || len(loaded.Set.Rules()) != 1000 {
			b.Fatal(findings)
		}
		b.StopTimer()
		start = time.Now()
		var m map[string]any
		if _, err := toml.Decode(text, &m); err != nil {
			b.Fatal(err)
		}
		decode = min(decode, time.Since(start))
		b.StartTimer()
	}
	b.ReportMetric(float64(load.Microseconds())/1000, "fastest-ms")
	ratio := float64(load) / float64(decode)
	b.ReportMetric(ratio, "load/decode")
	if load > 50*time.Millisecond {
		b.Errorf("loading 1000 rules takes %v, the limit is 50 ms", load)
	}
	if ratio > 2.5 {
		b.Errorf("loading takes %.1f times as long as decoding, the limit is 2.5", ratio)
	}
}
