package complaint

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A token is one word, number or punctuation mark of a driver's text. A
// contraction gives several tokens with the same byte range.
type token struct {
	norm     string  // folded word; empty for a mark
	word     int32   // id in the language, see the word ids
	number   float64 // value when isNumber; a ratio such as 6/10 is 0.6
	isNumber bool
	isRatio  bool
	mark     byte // one of , . ; : ! ? - + / and 0 for a word
	from, to int  // byte range in the text
	loud     bool // drawn out ("soooo"), or in capitals within a text that is not
}

// foldings maps the accented letters of the shipped languages, and of their
// Latin neighbours, to what people type who have no such key.
var foldings = map[rune]string{
	'à': "a", 'á': "a", 'â': "a", 'ã': "a", 'ä': "a", 'å': "a",
	'ç': "c", 'è': "e", 'é': "e", 'ê': "e", 'ë': "e",
	'ì': "i", 'í': "i", 'î': "i", 'ï': "i", 'ñ': "n",
	'ò': "o", 'ó': "o", 'ô': "o", 'õ': "o", 'ö': "o", 'ø': "o",
	'ù': "u", 'ú': "u", 'û': "u", 'ü': "u", 'ý': "y", 'ÿ': "y",
	'ß': "ss", 'æ': "ae", 'œ': "oe",
}

// umlauts writes German umlauts with the letter e, as people do without dots.
var umlauts = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue")

// fold returns s in lower case and without accents, combining ones included.
func fold(s string) string {
	plain := true
	for i := 0; i < len(s); i++ {
		if c := s[i]; c >= utf8.RuneSelf || 'A' <= c && c <= 'Z' {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range s {
		r = unicode.ToLower(r)
		if f, ok := foldings[r]; ok {
			b.WriteString(f)
		} else if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// squeeze cuts every run of three or more equal bytes down to n.
func squeeze(s string, n int) string {
	var b strings.Builder
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		if k := j - i; k >= 3 {
			b.WriteString(s[i : i+n])
		} else {
			b.WriteString(s[i:j])
		}
		i = j
	}
	return b.String()
}

// tokens splits a text. It never fails: bytes that mean nothing are dropped.
func (l *language) tokens(text string) []token {
	out := make([]token, 0, len(text)/4+4)
	mixed := strings.ContainsFunc(text, unicode.IsLower)
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		switch {
		case unicode.IsDigit(r):
			i = l.addNumber(&out, text, i)
		case unicode.IsLetter(r):
			j := i
			for j < len(text) {
				r, size := utf8.DecodeRuneInString(text[j:])
				if !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) && !(isApostrophe(r) && letterAt(text, j+size)) {
					break
				}
				j += size
			}
			if text[i:j] == "km" && strings.HasPrefix(text[j:], "/h") {
				j += len("/h")
			}
			l.addWord(&out, text, i, j, mixed)
			i = j
		default:
			if m := markOf(text, i, r, size); m != 0 {
				out = append(out, token{mark: m, word: unknownWord, from: i, to: i + size})
			}
			i += size
		}
	}
	return counted(out)
}

// counted joins numbers in words that are one number: a hundred and ten, sixty
// five, two hundred.
func counted(t []token) []token {
	out := t[:0]
	for i := 0; i < len(t); i++ {
		n := t[i]
		for spoken(n) {
			j := i + 1
			if n.number >= 100 && j+1 < len(t) && t[j].mark == 0 && !t[j].isNumber && spoken(t[j+1]) && t[j+1].number < 100 && t[j+1].from-n.to <= 6 {
				j++ // hundred and ten
			}
			if j >= len(t) || !spoken(t[j]) {
				break
			}
			next := t[j].number
			switch {
			case j == i+1 && n.number < 10 && next == 100:
				n.number *= 100
			case n.number >= 100 && next < 100, j == i+1 && n.number >= 20 && n.number < 100 && math.Mod(n.number, 10) == 0 && next >= 1 && next < 10:
				n.number += next
			default:
				j = -1
			}
			if j < 0 {
				break
			}
			n.to, i = t[j].to, j
		}
		out = append(out, n)
	}
	return out
}

// spoken reports whether a token is a number in a word.
func spoken(t token) bool { return t.isNumber && t.word != numberWord }

func isApostrophe(r rune) bool { return r == '\'' || r == '’' || r == '‘' || r == '`' || r == '´' }

func letterAt(text string, i int) bool {
	r, _ := utf8.DecodeRuneInString(text[i:])
	return unicode.IsLetter(r)
}

// markOf returns the clause mark that the rune at i stands for, 0 for none. A
// hyphen inside a word joins; one beside a space is a dash.
func markOf(text string, i int, r rune, size int) byte {
	switch r {
	case ',', ';', ':', '!', '?', '+', '/':
		return byte(r)
	case '.':
		if strings.HasPrefix(text[i:], "..") || i > 0 && text[i-1] == '.' {
			return ',' // an ellipsis goes on, it does not end
		}
		return '.'
	case '…', '(', ')', '[', ']':
		return ','
	case '\n':
		return '.'
	case '&':
		return '+'
	case '–', '—':
		return '-'
	case '-':
		if i > 0 && text[i-1] != ' ' && i+size < len(text) && text[i+size] != ' ' {
			return 0
		}
		return '-'
	case '>':
		return '+'
	}
	return 0
}

func (l *language) addNumber(out *[]token, text string, i int) int {
	j := i
	digits := func() {
		for j < len(text) && '0' <= text[j] && text[j] <= '9' {
			j++
		}
	}
	digits()
	if j+1 < len(text) && (text[j] == '.' || text[j] == ',') && '0' <= text[j+1] && text[j+1] <= '9' {
		j++
		digits()
	}
	if j == i { // a digit of another script
		_, size := utf8.DecodeRuneInString(text[i:])
		return i + size
	}
	v, _ := strconv.ParseFloat(strings.Replace(text[i:j], ",", ".", 1), 64)
	t := token{norm: text[i:j], word: numberWord, number: v, isNumber: true, from: i, to: j}
	if j+1 < len(text) && text[j] == '/' && '0' <= text[j+1] && text[j+1] <= '9' {
		k := j + 1
		j = k
		digits()
		if d, _ := strconv.ParseFloat(text[k:j], 64); d > 0 {
			t.number, t.isRatio, t.to, t.norm = v/d, true, j, text[i:j]
		}
	}
	*out = append(*out, t)
	return j
}

func (l *language) addWord(out *[]token, text string, from, to int, mixed bool) {
	raw := strings.ReplaceAll(text[from:to], "/", "") // km/h
	loud := mixed && utf8.RuneCountInString(raw) >= 4 && strings.ToUpper(raw) == raw
	norm := fold(raw)
	joined := norm
	if strings.ContainsFunc(norm, isApostrophe) {
		joined = strings.Map(func(r rune) rune {
			if isApostrophe(r) {
				return -1
			}
			return r
		}, norm)
	}
	// With its accent a word may be another one: Italian è is not e.
	parts, ok := l.contractions[strings.ToLower(raw)]
	if !ok {
		parts, ok = l.contractions[joined]
	}
	if ok {
		for _, p := range parts {
			l.add(out, p, from, to, loud)
		}
		return
	}
	if joined == norm {
		l.add(out, norm, from, to, loud)
		return
	}
	for _, p := range strings.FieldsFunc(norm, isApostrophe) {
		l.add(out, p, from, to, loud)
	}
}

// ended finds a word by the ending that it is meant to have.
func (l *language) ended(norm string) (int32, bool) {
	for _, e := range l.endings {
		if stem, ok := strings.CutSuffix(norm, e[0]); ok && len(stem) >= 3 {
			if id, ok := l.words[stem+e[1]]; ok && id >= firstWord {
				return id, true
			}
		}
	}
	return unknownWord, false
}

func (l *language) add(out *[]token, norm string, from, to int, loud bool) {
	t := token{norm: norm, from: from, to: to, loud: loud}
	id, ok := l.words[norm]
	if !ok {
		for n := 2; n >= 1 && !ok; n-- {
			if s := squeeze(norm, n); s != norm {
				if id, ok = l.words[s]; ok {
					t.norm, t.loud = s, true
				}
			}
		}
	}
	if !ok {
		if id, ok = l.ended(t.norm); !ok {
			id = unknownWord
		}
	}
	t.word = id
	if v, ok := l.numbers[t.norm]; ok {
		t.number, t.isNumber = v, true
	}
	*out = append(*out, t)
}
