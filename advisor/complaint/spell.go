package complaint

import "kartwright/rules/source"

// Spelling tolerance. One wrong, missing, extra or exchanged letter makes up
// most misspellings (Damerau 1964, Comm. ACM 7(3):171-176), so the distance is
// the unrestricted Damerau–Levenshtein one, which is a metric. Only listed words
// may be misspelt: of four letters and more with one slip, of seven and more, if
// they are listed so and begin with the right letter, with two.

// maxWord is the longest word, in bytes, that is compared; longer ones are exact.
const maxWord = 24

// slips returns how many slips a dictionary word of n letters may have.
func slips(n int) int {
	switch {
	case n <= 3 || n > maxWord:
		return 0
	case n <= 6:
		return 1
	}
	return 2
}

// distance returns the Damerau–Levenshtein distance of a and b, counted in
// bytes of the folded words, or limit+1 if it is above limit.
func distance(a, b string, limit int) int {
	la, lb := len(a), len(b)
	if la-lb > limit || lb-la > limit || la > maxWord || lb > maxWord {
		return limit + 1
	}
	var last [256]uint8 // last row in which a letter of a stood
	var d [maxWord + 2][maxWord + 2]uint8
	far := uint8(la + lb)
	d[0][0] = far
	for i := 0; i <= la; i++ {
		d[i+1][0], d[i+1][1] = far, uint8(i)
	}
	for j := 0; j <= lb; j++ {
		d[0][j+1], d[1][j+1] = far, uint8(j)
	}
	for i := 1; i <= la; i++ {
		var match uint8 // last column with b[match-1] == a[i-1]
		for j := 1; j <= lb; j++ {
			k, m := last[b[j-1]], match
			cost := uint8(1)
			if a[i-1] == b[j-1] {
				cost, match = 0, uint8(j)
			}
			d[i+1][j+1] = min(d[i][j]+cost, d[i+1][j]+1, d[i][j+1]+1,
				d[k][m]+uint8(i)-k-1+1+uint8(j)-m-1)
		}
		last[a[i-1]] = uint8(i)
	}
	if n := int(d[la+1][lb+1]); n <= limit {
		return n
	}
	return limit + 1
}

// letters is the set of the letters of a word. Two words whose sets differ by
// more than n letters on one side are more than n slips apart.
func letters(s string) uint32 {
	var set uint32
	for i := 0; i < len(s); i++ {
		set |= 1 << ((s[i] - 'a') & 31)
	}
	return set
}

// A spelling is one form that a misspelt word may be taken for.
type spelling struct {
	form  string
	word  int32
	slips int
	asked bool // two slips away it is asked about
	set   uint32
	table *source.Node // that lists the word
}

// correct finds the word that a misspelling stands for. If there is exactly one
// nearest word within its slips it is returned; if several words of different
// meaning are equally near, if the only near one may not be guessed, or if one
// that it must not be taken for is near too, they are returned as asks.
func (l *language) correct(norm string) (word int32, asks []int32) {
	if len(norm) < 4 || len(norm) > maxWord {
		return unknownWord, nil
	}
	set := letters(norm)
	best := 3
	word = unknownWord
	near := func(id int32) {
		for _, a := range asks {
			if a == id {
				return
			}
		}
		asks = append(asks, id)
	}
	guess := false
	for _, s := range l.spellings {
		limit := min(best, 2)
		if s.form[0] != norm[0] {
			limit = min(limit, 1)
		}
		if n := len(s.form) - len(norm); n > limit || -n > limit || !overlap(s.set, set, limit) {
			continue
		}
		if s.slips < limit && !s.asked {
			limit = s.slips
		}
		n := distance(norm, s.form, limit)
		if n > limit {
			continue
		}
		if n < best {
			best, asks, guess = n, asks[:0], false
		}
		near(s.word)
		guess = guess || n > s.slips
	}
	switch {
	case len(asks) == 0:
		return unknownWord, nil
	case len(asks) == 1 && !guess:
		// A word that must not be taken for another is asked about as soon as
		// that other is two slips away as well, even if it is the further one.
		for _, s := range l.spellings {
			if best > 0 && l.asks[[2]int32{asks[0], s.word}] && overlap(s.set, set, 2) && distance(norm, s.form, 2) <= 2 {
				near(s.word)
			}
		}
		if len(asks) == 1 {
			return asks[0], nil
		}
	}
	return unknownWord, asks
}

// tooAlike returns the pairs of words of different meaning, not on the list of
// those to ask about, that are as near as the slips they may have together: one
// misspelling could be either. Of each pair check wants at least one.
func (l *language) tooAlike(check func(spelling) bool) (pairs [][2]spelling) {
	for i, a := range l.spellings {
		for _, b := range l.spellings[i+1:] {
			limit := a.slips + b.slips
			if a.word != b.word && (check(a) || check(b)) && !l.asks[[2]int32{a.word, b.word}] &&
				overlap(a.set, b.set, limit) && distance(a.form, b.form, limit) <= limit {
				pairs = append(pairs, [2]spelling{a, b})
			}
		}
	}
	return pairs
}

func overlap(a, b uint32, n int) bool {
	return atMost(a&^b, n) && atMost(b&^a, n)
}

// atMost reports whether x has at most n bits.
func atMost(x uint32, n int) bool {
	for ; x != 0 && n >= 0; n-- {
		x &= x - 1
	}
	return x == 0 && n >= 0
}
