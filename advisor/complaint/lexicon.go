package complaint

// A Lexicon is what is known of one or several languages. It never changes and
// may be used by several goroutines.
type Lexicon struct {
	languages []*language
}

// Languages returns the names of the languages, "en" for instance, in the order
// in which they were loaded.
func (l *Lexicon) Languages() []string {
	names := make([]string, len(l.languages))
	for i, lang := range l.languages {
		names[i] = lang.name
	}
	return names
}

// A language is a compiled word file with what it extends.
type language struct {
	name         string
	words        map[string]int32 // form -> word
	lemmas       []string         // by word
	flags        []flags          // by word
	contractions map[string][]string
	numbers      map[string]float64
	nouns        map[string]bool // forms that name a symptom: "no hop and push" denies both
	classes      []class
	choices      [][]int32 // words of the oneOf elements
	phrases      []phrase
	together     []together
	begin        [][]int32 // by word: phrases that begin with it
	beginClass   [][]int32 // by class: phrases that begin with it
	classesOf    [][]int32 // by word: classes that may begin with it
	spellings    []spelling
	negators     map[int32]bool    // words that negate on their own
	goners       map[int32]bool    // words that say on their own that something is over
	endings      [][2]string       // how an ending is typed, and what it is: pushin, pushing
	weights      *weights          // second opinion, or nil
	asks         map[[2]int32]bool // pairs of words that are asked about when a misspelling could be either
}

type flags uint8

const (
	fills   flags = 1 << iota // may stand inside a phrase
	silent                    // a filler that phrases are stored without: "front is gone" is "front gone"
	spoils                    // a good thing with it inside is not good: "too much bite"
	breaks                    // a gap ends at it
	joins                     // a clause ends before it, as $ wants
	subject                   // begins a new statement: "when it does not it pushes"
	empty                     // means nothing on its own: never reported as unused
	pronoun                   // stands for what was said before: "that is cured"
)

func (l *language) is(word int32, f flags) bool {
	return word >= firstWord && l.flags[word]&f != 0
}

// A role is what a phrase does to the readings around it.
type role uint8

const (
	roleNone     role = iota
	roleIgnore        // a pseudo-trigger: its words mean nothing here ("no change"), found before all else
	rolePlain         // means nothing either, but is found by its length ("loose bolt")
	roleNot           // negates what follows
	roleCure          // negates what follows or what went before ("no longer", "cured")
	roleGone          // negates what went before ("has gone")
	roleBut           // ends a scope, begins a contrast
	roleAnd           // begins a clause that goes on
	roleOr            // goes on within a scope, or a range: "entry to mid"
	roleChoice        // the same, and between a balance and its opposite a doubt
	roleBecause       // ends a scope, begins an explanation
	roleWhen          // begins a clause that says when
	roleBefore        // the place right after it is not where it happens
	roleFine          // all is well here: phases beside it belong to no symptom
	roleNow           // this is so now
	roleChange        // something has changed: since, after
	rolePast          // this was so
	roleMainly        // narrows to the phase that follows
	roleOnly          // the same, and nowhere else
	roleIf            // what follows is not said to be so
	roleThen          // a time before ("used to"): what follows is over
	roleStill         // the symptom before is there in another place ("remains in the hairpin")
	roleCan           // what was said not to happen does, if the clause says now
	roleOpposite      // the balance before is over, and the other one is there
	roleWish          // how it should be, not how it is
	roleThere         // the place that was named before
	roleToo           // what is denied before is denied here too
	roleClaim         // somebody's opinion: a contrast to it denies it
)

var roleNames = []string{"", "ignore", "plain", "not", "cure", "gone", "but", "and", "or", "choice", "because", "when", "before",
	"fine", "now", "change", "past", "mainly", "only", "if", "then", "still", "can", "opposite", "wish", "there", "too", "claim"}

type side uint8

const (
	left side = iota + 1
	right
)

var sideNames = []string{"", "left", "right"}

type axle uint8

const (
	front axle = iota + 1
	back
	both = front | back
)

var axleNames = []string{"", "front", "back", "both"}

// An effect is what a phrase says; the zero value of each part says nothing.
type effect struct {
	role     role
	symptom  symptom
	phase    phases
	corner   corner
	speed    corner // high or low speed: a corner speed, or the straight for what shows there
	severity severity
	side     side
	axle     axle
	either   bool   // the axle decides between understeer and oversteer
	busy     bool   // correcting at the wheel: what it is a sign of depends on the place
	before   bool   // a severity that counts only right before a symptom ("a lot of")
	beside   bool   // a severity that counts only right beside a symptom ("like a goose")
	cured    bool   // a good thing: with a change, the symptom is over
	over     bool   // the phrase says that the symptom is over
	instead  uint32 // no symptom itself: one of these in its clause is this one ("over bumps")
	needs    uint32 // counts only if one of these symptoms is reported
	track    string
	grip     string // low medium high wet, or tenths: the phrase's number
	tyres    string // new used worn wets, or the unit of the phrase's number: laps sessions days
}

// lists reports whether a list or a range goes on after the phrase.
func (e *effect) lists() bool { return e.role == roleOr || e.role == roleChoice }

// placed reports whether the phrase says a part of the corner, or which corners.
func (e *effect) placed() bool { return e.phase|phases(e.corner|e.speed) != 0 }

// counts reports whether the phrase's number says something.
func (e *effect) counts() bool {
	return e.grip == "tenths" || e.tyres == "laps" || e.tyres == "sessions" || e.tyres == "days"
}
