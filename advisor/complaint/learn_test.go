package complaint

import (
	"encoding/binary"
	"flag"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"kartwright/rulesets/words"
)

var learnFlag = flag.String("learn", "", "learn the weights of this language, en for instance, from the labelled sentences")

// setAside are files that nothing is learnt from, so that they say what a
// stranger's sentence is worth.
var setAside = []string{"aside.jsonl", "fresh.jsonl", "abroad.jsonl"}

// often is how often a feature must be met: what was met less says nothing of other
// texts.
const often = 3

// least is the smallest weight that is kept, in units: a 127th of the greatest.
const least = 5

// learn returns a file of weights: for each symptom, and for whether one is gone, a
// logistic regression by stochastic gradient descent with steps that shrink with what
// a weight has moved already (AdaGrad: Duchi, Hazan, Singer 2011, J. Mach. Learn. Res.
// 12:2121-2159).
func learn(l *language, sentences []sentence) []byte {
	texts := make([][]uint32, len(sentences))
	var mentions, places [][]uint32 // what is around each symptom of which it is said whether it is there, and where
	var over []bool
	var at [][outcomes]bool
	single := make(map[uint32]bool) // features that are a word
	for i, s := range sentences {
		r := reader{text: s.Text, l: l, t: l.tokens(s.Text)}
		r.read()
		text := l.features(r.t)
		for _, f := range text {
			texts[i] = append(texts[i], f.hash)
			single[f.hash] = single[f.hash] || f.word
		}
		for k := range r.mentions {
			m := &r.mentions[k]
			is := func(negated bool) bool {
				return slices.ContainsFunc(s.Expected, func(e Reading) bool { return e.Symptom == symptomNames[m.symptom] && e.Negated == negated })
			}
			if m.symptom != 0 && m.hit >= 0 && is(true) != is(false) {
				mentions, over = append(mentions, r.around(m)), append(over, is(true))
			}
			var where [outcomes]bool
			for _, e := range s.Expected {
				if e.Symptom == symptomNames[m.symptom] && e.Negated == m.negated {
					o := isNot
					if k := slices.Index(phaseNames[:], e.Phase); k >= 0 {
						o = isAt + k
					}
					where[o] = true
				}
			}
			if m.symptom != 0 && m.hit >= 0 && where != [outcomes]bool{} {
				places, at = append(places, r.whereabouts(m, text)), append(at, where)
			}
		}
	}
	weight := make([]map[uint32]float64, outcomes)
	var wait sync.WaitGroup
	for s := 1; s < gone; s++ {
		wait.Go(func() {
			weight[s] = regress(texts, uint64(s), func(i int) bool {
				return slices.ContainsFunc(sentences[i].Expected, func(r Reading) bool { return r.Symptom == symptomNames[s] })
			})
		})
	}
	wait.Go(func() { weight[gone] = regress(mentions, uint64(gone), func(i int) bool { return over[i] }) })
	for o := isAt; o < outcomes; o++ {
		wait.Go(func() { weight[o] = regress(places, uint64(o), func(i int) bool { return at[i][o] }) })
	}
	wait.Wait()

	units := make([]float64, outcomes)
	all := make(map[uint32]bool)
	for s := 1; s < outcomes; s++ {
		most := 1e-9
		for f, w := range weight[s] {
			most = max(most, math.Abs(w))
			all[f] = true
		}
		units[s] = most / math.MaxInt8
	}
	out := []byte(weightsMagic)
	out = binary.LittleEndian.AppendUint32(out, 0) // to be filled in
	for s := 1; s < outcomes; s++ {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(units[s])))
	}
	var entries, starts []byte
	n := uint32(0)
	for _, h := range slices.Sorted(maps.Keys(all)) {
		from := len(entries) / 2
		for s := 1; s < outcomes; s++ {
			if v := math.Round(weight[s][h] / units[s]); math.Abs(v) >= least {
				entries = append(entries, byte(s), byte(int8(v)))
			}
		}
		if len(entries)/2 > from || single[h] {
			out = binary.LittleEndian.AppendUint32(out, h)
			starts = binary.LittleEndian.AppendUint32(starts, uint32(from))
			n++
		}
	}
	binary.LittleEndian.PutUint32(out[len(weightsMagic):], n)
	out = append(out, starts...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(entries)/2))
	return append(out, entries...)
}

// regress returns the weight of each feature for what is true of some of the items.
func regress(items [][]uint32, seed uint64, is func(item int) bool) map[uint32]float64 {
	const (
		rounds = 60
		rate   = 0.1
		shrink = 1e-4
	)
	met := make(map[uint32]int)
	for _, t := range items {
		for _, f := range t {
			met[f]++
		}
	}
	var hashes []uint32
	index := make(map[uint32]int)
	x := make([][]int, len(items))
	for i, t := range items {
		for _, f := range t {
			if met[f] < often {
				continue
			}
			k, ok := index[f]
			if !ok {
				k = len(hashes)
				index[f] = k
				hashes = append(hashes, f)
			}
			x[i] = append(x[i], k)
		}
	}
	w, moved := make([]float64, len(hashes)), make([]float64, len(hashes))
	random := rand.New(rand.NewPCG(1, seed))
	order := random.Perm(len(x))
	for range rounds {
		random.Shuffle(len(order), func(a, b int) { order[a], order[b] = order[b], order[a] })
		for _, i := range order {
			sum, want := 0.0, 0.0
			for _, k := range x[i] {
				sum += w[k]
			}
			if is(i) {
				want = 1
			}
			wrong := 1/(1+math.Exp(-sum)) - want
			if math.Abs(wrong) < 1e-3 {
				continue
			}
			for _, k := range x[i] {
				d := wrong + shrink*w[k]
				moved[k] += d * d
				w[k] -= rate * d / math.Sqrt(moved[k]+1e-2)
			}
		}
	}
	out := make(map[uint32]float64, len(hashes))
	for k, h := range hashes {
		out[h] = w[k]
	}
	return out
}

// With -learn it writes the weights of a language.
func TestLearn(t *testing.T) {
	if *learnFlag == "" {
		t.Skip("no -learn")
	}
	files, err := filepath.Glob(filepath.Join(labelled, "*.jsonl"))
	require.NoError(t, err)
	var sentences []sentence
	for _, f := range files {
		if slices.Contains(setAside, filepath.Base(f)) {
			continue
		}
		for _, s := range readSentences(t, f) {
			if s.Language == *learnFlag {
				sentences = append(sentences, s)
			}
		}
	}
	// The word file alone, since weights are not learnt from weights.
	words, err := words.FS.ReadFile(*learnFlag + ".toml")
	require.NoError(t, err)
	lexicon, found := Load(fstest.MapFS{"words.toml": {Data: words}}, "words.toml")
	require.Empty(t, found)
	data := learn(lexicon.languages[0], sentences)
	require.NoError(t, os.WriteFile(filepath.Join("../../rulesets/words", *learnFlag+".weights"), data, 0o666))
	t.Logf("%d sentences, %d bytes", len(sentences), len(data))
}
