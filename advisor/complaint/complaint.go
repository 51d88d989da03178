// Package complaint reads a driver's own words: which symptoms they report,
// where in the corner, how strong, whether still there, and what they say of
// the track and the tyres. What it knows of a language is a lexicon in TOML that
// a club may extend.
//
// The reading is a phrase lexicon with negation scopes (Chapman et al. 2001,
// J. Biomed. Inform. 34:301-310): phrases are found longest first, every word is
// used once, and a negator reaches over at most eight words and never past a
// contrast or the end of its clause. The package is pure: no clock, no state, no
// files but those of the fs.FS given to [Load].
package complaint

// A Report is what was understood of a text, and what was not.
type Report struct {
	Readings   []Reading  `json:"readings"`
	Conditions Conditions `json:"conditions"`
	Unused     []string   `json:"unused"` // words that led to nothing, as written
	Unsure     []Question `json:"unsure"`
	Language   string     `json:"language,omitempty"` // "en"
	Note       string     `json:"note,omitempty"`     // something to do before any change
	Fine       bool       `json:"fine,omitempty"`     // something is said to be well
}

// A Reading is one symptom in one part of the corner.
type Reading struct {
	Symptom  string `json:"symptom"`         // an id of Symptoms
	Balance  string `json:"balance"`         // understeer, oversteer, or "" for every other symptom
	Phase    string `json:"phase"`           // entry mid exit straight braking, any = not said
	Severity string `json:"severity"`        // slight normal strong; means nothing when Negated
	Corner   string `json:"corner"`          // slow fast, any = not said
	Negated  bool   `json:"negated"`         // said not to be there, or no longer
	Side     string `json:"side,omitempty"`  // left right: only in turns to that side
	Words    string `json:"words,omitempty"` // the words that were read so
}

// Conditions is what the text says of track, grip and tyres; "" = not said.
type Conditions struct {
	Track string `json:"track,omitempty"` // tight fast mixed
	Grip  string `json:"grip,omitempty"`  // low medium high wet
	Tyres string `json:"tyres,omitempty"` // new used worn wets

	GripTenths float64 `json:"grip_tenths,omitempty"` // grip as a number of 10, if it was said so
	TyreLaps   float64 `json:"tyre_laps,omitempty"`   // age of the tyres in laps, if it was said so
}

// A Question is something that the driver must decide: a wrong guess would turn
// the advice round.
type Question struct {
	Words      string   `json:"words"`
	Question   string   `json:"question"`
	Candidates []string `json:"candidates"`
}

type symptom uint8 // 0 = none

// Symptoms lists the ids that a Reading may carry, in a fixed order.
func Symptoms() []string { return append([]string(nil), symptomNames[1:]...) }

var symptomNames = []string{"", "understeer", "oversteer", "darting", "wander", "pull", "hop", "chatter", "bind",
	"over_lift", "heavy_steering", "light_steering", "kickback", "vibration", "play", "slow_straight", "wear_inner",
	"wear_outer", "graining", "fade", "no_grip", "asymmetric", "bump_unsettled"}

const (
	understeer symptom = iota + 1
	oversteer
	darting
	wander
	pull
	hop
	chatter
	bind
	overLift
	heavySteering
	lightSteering
	kickback
	vibration
	play
	slowStraight
	wearInner
	wearOuter
	graining
	fade
	noGrip
	asymmetric
	bumpUnsettled
)

// balance reports whether the symptom is understeer or oversteer.
func (s symptom) balance() bool { return s == understeer || s == oversteer }

// symptomTitles say a symptom to a person.
var symptomTitles = [...]string{"", "understeer", "oversteer", "reacts too sharply", "wanders", "pulls to one side", "hops",
	"front chatters", "inside rear stays down, engine bogs", "inside rear lifts too far or too long", "heavy steering",
	"light, vague steering", "steering kicks back", "vibration", "play in the steering", "slow on the straight",
	"front tyres wear on the inside", "front tyres wear on the outside", "front tread grained or feathered",
	"front goes off during the run", "no grip at either end", "left and right turns differ", "upset by bumps"}

// phases is a set of parts of a corner; empty = not said.
type phases uint8

const (
	entry phases = 1 << iota
	mid
	exit
	straight
	braking
)

var phaseNames = [...]string{"entry", "mid", "exit", "straight", "braking"}

type corner uint8

const (
	anyCorner corner = iota
	slow
	fast
)

var cornerNames = []string{"any", "slow", "fast"}

type severity uint8

const (
	unsaid severity = iota
	slight
	normal
	strong
)

var severityNames = []string{"normal", "slight", "normal", "strong"}
