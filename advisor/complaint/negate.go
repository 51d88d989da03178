package complaint

import "slices"

// mention makes a mention of every symptom phrase.
func (r *reader) mention() {
	for c := range r.clauses {
		cl := &r.clauses[c]
		for _, n := range cl.hits {
			h := &r.hits[n]
			if h.symptom == 0 && !h.either && !h.busy || h.instead != 0 {
				continue
			}
			m := mention{busy: h.busy, symptom: h.symptom, phase: h.phase, corner: h.corner, severity: h.severity, side: h.side,
				either: h.either, clause: c, hit: n, from: r.t[h.from].from, to: r.t[h.to-1].to, at: h.from, cured: h.cured, negated: h.over, final: h.over}
			if h.symptom != chatter && h.loud(r.t) && m.severity == unsaid {
				m.severity = strong
			}
			cl.symptoms = append(cl.symptoms, len(r.mentions))
			r.mentions = append(r.mentions, m)
			r.took[n] = true
		}
	}
	for c := range r.clauses {
		for _, n := range r.clauses[c].hits {
			if r.hits[n].instead != 0 {
				r.replace(c, n)
			}
		}
	}
	r.dropDoubtful()
}

// replace makes the symptoms of clause c, or of the one beside it, that hit n may
// stand for into its symptom: "it hops over the bumps".
func (r *reader) replace(c, n int) {
	h := &r.hits[n]
	for at := c; at < len(r.clauses) && at <= c+1 && r.clauses[at].sentence == r.clauses[c].sentence; at++ {
		if at > c && len(r.clauses[c].symptoms) > 0 {
			return
		}
		list := r.clauses[at].symptoms
		if at == c && len(list) == 0 && c > 0 && r.clauses[c-1].sentence == r.clauses[c].sentence {
			list = r.clauses[c-1].symptoms // "it hops, but only over the bumps"
		}
		for _, i := range list {
			if m := &r.mentions[i]; h.instead&(1<<m.symptom) != 0 || m.either {
				if m.symptom, m.either = h.symptom, false; h.phase != 0 || !showsOnStraight[h.symptom] {
					m.phase = h.phase // but "it twitches on the straight whenever I touch the wheel" keeps its place
				}
				r.took[n] = true
			}
		}
	}
}

// dropDoubtful drops a slide at an unnamed end, and corrections of an unnamed
// kind, where the sentence names the balance itself.
func (r *reader) dropDoubtful() {
	drop := make([]bool, len(r.mentions))
	for i, m := range r.mentions {
		if !m.either && !m.busy {
			continue
		}
		for _, o := range r.mentions {
			if m.either && o.clause < m.clause && (o.negated || r.denies(o.clause)) && r.contrast(o.clause, m.clause) && r.goesOn(m.clause) {
				continue // "the back no longer steps out going in, but now it slips away at the apex"
			}
			if o.symptom != 0 && (m.either || o.symptom == understeer || o.symptom == oversteer || o.symptom == wander || o.symptom == darting) {
				drop[i] = drop[i] || r.clauses[o.clause].sentence == r.clauses[m.clause].sentence
			}
		}
	}
	r.drop(drop)
}

func (h *hit) loud(t []token) bool {
	for i := h.from; i < h.to; i++ {
		if t[i].loud {
			return true
		}
	}
	return false
}

// negate decides which mentions are said not to be there.
func (r *reader) negate() {
	for c := 0; c < len(r.clauses); c++ {
		r.restored(c)
		r.graded(c)
		r.elsewhereSaid(c)
		if cl := &r.clauses[c]; cl.lead == leadBut && len(cl.hits) > 0 && !r.denies(c) {
			r.except(c, &r.hits[cl.hits[0]])
		}
		for k, n := range r.clauses[c].hits {
			switch r.hits[n].role {
			case roleToo:
				r.echo(c)
			case roleOnly:
				r.except(c, &r.hits[n])
			case roleNot:
				r.not(c, k)
			case roleCure, roleGone:
				r.gone(c, k)
			case roleThen:
				r.took[n] = true
				if !r.enclosing(c, n) {
					r.forward(c, k, n)
				}
			case roleStill:
				r.still(c, &r.hits[n])
			case roleOpposite:
				r.opposite(c, &r.hits[n])
			case roleCan:
				if r.says(c, roleNow) || c > 0 && r.says(c-1, rolePast) {
					r.turn(c, false)
				}
			}
		}
	}
	r.settleCured()
	r.claims()
	r.past()
}

// turnedRound denies a balance that a later clause contradicts: "we had it loose on
// the way in, and now it is tight on the way in". It looks at mentions with their
// places.
func (r *reader) turnedRound() {
	for j := range r.mentions {
		o := &r.mentions[j]
		if !o.symptom.balance() || o.negated || o.phase == 0 || !r.says(o.clause, roleNow) {
			continue
		}
		for i := range r.mentions {
			if m := &r.mentions[i]; m.clause < o.clause && m.symptom == understeer+oversteer-o.symptom && m.phase == o.phase && m.corner == o.corner && !r.says(m.clause, roleNow) {
				m.negated, m.final = true, true
			}
		}
	}
}

// past denies what was so where a clause near by says what is so now: another
// symptom ("it was loose, now it pushes"), that all is well ("it was coming round,
// the rear is planted now"), or that what could not be done can.
func (r *reader) past() {
	for c := range r.clauses {
		if !r.says(c, rolePast) || r.says(c, roleNow) {
			continue
		}
		for d := max(0, c-1); d < len(r.clauses) && r.clauses[d].sentence <= r.clauses[c].sentence+1; d++ {
			if d != c && r.clauses[d].sentence >= r.clauses[c].sentence-1 {
				r.pastAndNow(c, d)
			}
		}
	}
}

// pastAndNow denies what clause c says was so, by what clause d says is so.
func (r *reader) pastAndNow(c, d int) {
	now := r.clauses[d].symptoms
	if a, b := r.whereOf(c), r.whereOf(d); a.phase != 0 && b.phase != 0 && a.phase&b.phase == 0 || a.corner != 0 && b.corner != 0 && a.corner != b.corner {
		return // two places
	}
	apart := r.clauses[c].sentence != r.clauses[d].sentence
	for _, i := range r.clauses[c].symptoms {
		m := &r.mentions[i]
		if m.either || m.busy || m.negated {
			continue
		}
		for _, j := range now {
			o := &r.mentions[j]
			same := m.symptom == o.symptom && (m.phase == 0 || o.phase == 0 || m.phase == o.phase) &&
				(m.corner == 0 || o.corner == 0 || m.corner == o.corner)
			if same && o.negated || m.symptom != o.symptom && !o.negated && !apart && d > c && r.says(d, roleNow) {
				m.negated = true
			}
		}
		if len(now) == 0 && r.fineNow(d) {
			m.negated, m.final = true, true
		}
	}
}

// fineNow reports whether a clause says that all is well now, or since a change.
func (r *reader) fineNow(c int) bool {
	cl := &r.clauses[c]
	if !cl.fine || !cl.change && !r.says(c, roleNow) || r.whereOf(c) != (where{}) {
		return false
	}
	return !r.strange(cl.from, cl.to) || slices.ContainsFunc(cl.hits, func(n int) bool {
		return r.hits[n].role == roleFine && r.pronounBefore(r.hits[n].from)
	})
}

// says reports whether a clause has a phrase of that role.
func (r *reader) says(c int, role role) bool {
	return slices.ContainsFunc(r.clauses[c].hits, func(n int) bool { return r.hits[n].role == role })
}

// claims denies what somebody only says: "he calls it loose, but the front
// slides first".
func (r *reader) claims() {
	for c := range r.clauses {
		for _, n := range r.clauses[c].hits {
			if r.hits[n].role != roleClaim {
				continue
			}
			if c > 0 && r.clauses[c-1].sentence == r.clauses[c].sentence && r.clauses[c].lead != leadBut {
				for _, i := range r.clauses[c].symptoms {
					for _, j := range r.clauses[c-1].symptoms {
						if r.mentions[i].symptom == r.mentions[j].symptom && r.mentions[j].negated {
							r.mentions[i].negated = true // "it is not loose, he keeps saying loose"
						}
					}
				}
			}
			d := c + 1
			for d < len(r.clauses) && r.clauses[d].sentence == r.clauses[c].sentence && len(r.clauses[d].symptoms) == 0 {
				d++
			}
			if d >= len(r.clauses) || r.clauses[d].sentence != r.clauses[c].sentence || !r.contrast(c, d) {
				continue
			}
			for _, i := range r.clauses[c].symptoms {
				for _, j := range r.clauses[d].symptoms {
					a, b := &r.mentions[i], &r.mentions[j]
					if !a.negated && !b.negated && a.symptom+b.symptom == understeer+oversteer && a.symptom != b.symptom &&
						(a.phase == b.phase || a.phase == 0 || b.phase == 0) && len(r.wheres(c)) == 0 {
						a.negated = true
						r.took[n] = true
					}
				}
			}
		}
	}
}

// enclosing negates the symptom whose words stand around hit n: "the steering
// used to be heavy".
func (r *reader) enclosing(c, n int) bool {
	for _, i := range r.clauses[c].symptoms {
		m := &r.mentions[i]
		if m.hit < 0 || r.hits[m.hit].spread && r.hits[n].role == roleThen {
			continue
		}
		if o := &r.hits[m.hit]; o.from < r.hits[n].from && r.hits[n].to < o.to {
			m.negated, m.final = true, !m.cured
			for _, j := range r.clauses[c].symptoms {
				// The same, said twice: "is not hanging up in the air for too long".
				if p := &r.mentions[j]; p.symptom == m.symptom && p.at > m.at && !p.cured {
					p.negated, p.final = true, true
				}
			}
			return true
		}
	}
	return false
}

// settleCured keeps a good thing ("turns in well") only as the end of its
// symptom: the text must say that something changed, or deny the good thing.
func (r *reader) settleCured() {
	drop := make([]bool, len(r.mentions))
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.hit >= 0 && r.hits[m.hit].spread && !r.hits[m.hit].weighed && m.negated && !m.final {
			// A denial among scattered words may belong to any of them.
			drop[i] = true
			continue
		}
		if !m.cured {
			continue
		}
		switch {
		case m.negated && !m.final: // "does not turn in well"
			m.negated = false
		case m.negated: // "turns in well, that is fixed"
		case r.changed(m.clause):
			m.negated, m.final = true, true
		case r.otherBefore(m):
			m.negated, m.final = true, true
		default:
			drop[i] = true
			r.clauses[m.clause].fine = true
			if m.hit >= 0 {
				r.took[m.hit] = false
			}
		}
	}
	r.drop(drop)
}

// otherBefore reports whether a clause beside a good thing says that it was not so
// before: "the rear stays put, before it swung out".
func (r *reader) otherBefore(m *mention) bool {
	for _, c := range []int{m.clause - 1, m.clause + 1} {
		if c < 0 || c >= len(r.clauses) || r.clauses[c].sentence != r.clauses[m.clause].sentence || !r.says(c, rolePast) {
			continue
		}
		for _, i := range r.clauses[c].symptoms {
			if r.mentions[i].symptom == m.symptom {
				return true
			}
		}
	}
	return false
}

// drop removes mentions and renumbers what refers to them.
func (r *reader) drop(drop []bool) {
	to := make([]int, len(r.mentions))
	kept := r.mentions[:0]
	for i, m := range r.mentions {
		to[i] = len(kept)
		if !drop[i] {
			kept = append(kept, m)
		}
	}
	r.mentions = kept
	for c := range r.clauses {
		s := r.clauses[c].symptoms[:0]
		for _, i := range r.clauses[c].symptoms {
			if !drop[i] {
				s = append(s, to[i])
			}
		}
		r.clauses[c].symptoms = s
	}
}

// changed reports whether a clause, or one beside it that has no symptom, says
// that something is different from before.
func (r *reader) changed(c int) bool {
	if r.clauses[c].change {
		return true
	}
	for _, i := range []int{c - 1, c + 1} {
		if i >= 0 && i < len(r.clauses) && r.clauses[i].sentence == r.clauses[c].sentence && r.clauses[i].change &&
			len(r.clauses[i].symptoms) == 0 {
			return true
		}
	}
	return false
}

// not applies the negator at position k of a clause's hits.
func (r *reader) not(c, k int) {
	cl := &r.clauses[c]
	n := cl.hits[k]
	h := &r.hits[n]
	r.took[n] = true
	for _, o := range cl.hits {
		if r.hits[o].role == roleIf && r.hits[o].from < h.from {
			return // "if it did not push" says that it does
		}
	}
	if h.to < cl.to && r.l.is(r.t[h.to].word, subject) {
		if h.content == 1 {
			return
		}
		if len(cl.symptoms) == 0 {
			r.again(c, h, true) // "there is no sign of it"
			return
		}
	}
	for _, o := range cl.hits[k+1:] {
		o := &r.hits[o]
		if o.role == roleCure && r.words(h.to, o.from) <= 5 {
			o.effect = &effect{} // "no amount of width gets rid of": still there
			return
		}
		if o.symptom != 0 || o.role != roleNone {
			break
		}
	}
	if k+1 < len(cl.hits) {
		switch o := &r.hits[cl.hits[k+1]]; {
		case (o.role == roleGone || o.role == roleCure) && o.from-h.to <= 2:
			o.effect = &effect{} // "not gone", "does not stop": still there
			return
		case o.role == roleFine && o.from-h.to <= 2:
			cl.fine = false // "not good"
			o.effect = &effect{}
			return
		}
	}
	if r.enclosing(c, n) || r.forward(c, k, n) {
		return
	}
	// "oversteer no": nothing follows, a symptom stands right before.
	for _, i := range cl.symptoms {
		m := &r.mentions[i]
		if m.hit >= 0 && r.words(r.hits[m.hit].to, h.from) == 0 && r.words(h.to, cl.to) == 0 {
			// "The hop is gone. The push is not."
			m.negated = c == 0 || r.clauses[c-1].sentence < cl.sentence-1 || !r.says(c-1, roleGone) && !r.says(c-1, roleCure)
			return
		}
	}
	if len(cl.symptoms) == 0 && !(c+1 < len(r.clauses) && r.clauses[c+1].sentence == cl.sentence && r.words(cl.from, cl.to) == 1 && r.denies(c+1)) {
		r.deny(c, h) // but not "no, they are not graining"
	}
}

// forward negates what follows hit k of clause c, and reports whether anything
// did.
func (r *reader) forward(c, k, n int) bool {
	from := r.hits[n].to
	done := false
	linked := true // the next mention may be negated
	for at := c; at < len(r.clauses); at++ {
		cl := &r.clauses[at]
		if at > c {
			if cl.sentence != r.clauses[c].sentence || cl.lead == leadBut || cl.lead == leadReason {
				return done
			}
			if !r.continues(at) {
				return done
			}
			linked = true
		}
		for j, o := range cl.hits {
			h := &r.hits[o]
			if at == c && j <= k {
				continue
			}
			if r.words(from, h.from) > negationWindow {
				return done
			}
			switch {
			case h.lists():
				linked = true
			case h.role == roleNow && !done && r.hits[n].role == roleNot && j == k+1 && h.from == from:
				// "not now": the negator still has to find its object
			case h.role == roleNow, h.role == roleChange, h.role == roleNot, h.role == roleGone, h.role == roleCure, h.role == roleFine, h.role == roleThen:
				return done
			}
			if i := r.mentionOf(o); i >= 0 && (linked || !done) {
				r.mentions[i].negated, done, linked = true, true, false
			}
		}
	}
	return done
}

// continues reports whether a clause goes on with a list that is being denied:
// "no hop and push", "no push, hop or looseness".
func (r *reader) continues(c int) bool {
	cl := &r.clauses[c]
	if len(cl.symptoms) == 0 {
		return false
	}
	first := r.mentions[cl.symptoms[0]]
	if first.hit < 0 || r.words(cl.from, r.hits[first.hit].from) > 0 {
		return false
	}
	for i := cl.from; i < r.hits[first.hit].from; i++ {
		if r.l.is(r.t[i].word, fills) {
			return false // "and the steering …" begins anew
		}
	}
	noun := r.l.nouns[r.t[first.at].norm]
	switch cl.lead {
	case leadAnd:
		return noun
	case leadComma:
		for _, n := range cl.hits {
			if r.hits[n].lists() {
				return noun
			}
		}
		return noun && c+1 < len(r.clauses) && r.clauses[c+1].lead == leadComma && r.continues(c+1)
	}
	return false
}

func (r *reader) mentionOf(hit int) int {
	for i := range r.mentions {
		if r.mentions[i].hit == hit {
			return i
		}
	}
	return -1
}

// words counts the words between two tokens that are not fillers.
func (r *reader) words(from, to int) int {
	n := 0
	for i := from; i < to && i < len(r.t); i++ {
		if r.t[i].mark == 0 && !r.l.is(r.t[i].word, fills) {
			n++
		}
	}
	return n
}

// gone applies a phrase such as "no longer", "cured", "has disappeared".
func (r *reader) gone(c, k int) {
	cl := &r.clauses[c]
	n := cl.hits[k]
	h := &r.hits[n]
	if (h.role == roleCure || h.role == roleGone && (h.content > 1 || r.l.negators[r.t[h.from].word])) && r.enclosing(c, n) {
		r.took[n] = true
		return // "the wheel has stopped kicking"
	}
	if r.says(c, roleIf) || c > 0 && r.clauses[c-1].sentence == cl.sentence && r.says(c-1, roleIf) {
		return // "if I brake earlier the push goes away" says that it is there
	}
	if h.role == roleNone || r.inside(n) {
		return // taken back by a negator, or part of a symptom: "has gone shiny"
	}
	r.took[n] = true
	if r.becomes(cl.hits[k+1:], h) || r.gripGoes(c, h) || r.bang(c, h) {
		return
	}
	for _, i := range cl.symptoms {
		// "It took the hop out of it."
		if m := &r.mentions[i]; m.hit >= 0 && h.from < r.hits[m.hit].from && r.hits[m.hit].to < h.to {
			m.negated, m.final = true, true
			return
		}
	}
	before := false
	for _, i := range cl.symptoms {
		before = before || r.mentions[i].at < h.from
	}
	if !before && (h.role == roleCure || r.l.negators[r.t[h.from].word]) && r.forward(c, k, n) {
		return
	}
	if before {
		for _, i := range cl.symptoms {
			if m := &r.mentions[i]; m.at < h.from {
				// "I would not say that the hop is cured" says that it is there.
				m.negated, m.final = m.final || !m.negated || h.content > 1 || !r.says(c, roleNot), true
			}
		}
		// "The hop and the push are gone."
		for p := c; p > 0 && r.clauses[p].lead == leadAnd && r.bare(p-1); p-- {
			for _, i := range r.clauses[p-1].symptoms {
				r.mentions[i].negated, r.mentions[i].final = true, true
			}
		}
		return
	}
	if len(cl.symptoms) > 0 || !r.pronounBefore(h.from) && r.strange(cl.from, h.from) {
		return
	}
	r.deny(c, h)
}

// becomes reports whether "gone" only says what something is now: "the track has gone
// really sticky".
func (r *reader) becomes(after []int, h *hit) bool {
	at := h.to
	for _, n := range after {
		o := &r.hits[n]
		if r.words(at, o.from) > 0 {
			return false
		}
		if o.track != "" || o.grip != "" || o.tyres != "" {
			return true
		}
		if o.severity == unsaid || o.symptom != 0 {
			return false
		}
		at = o.to
	}
	return false
}

// bang reports whether "gone" only tells how fast it went: "then the rear lets go,
// bang, gone".
func (r *reader) bang(c int, h *hit) bool {
	cl := &r.clauses[c]
	if cl.lead != leadComma || c == 0 || r.words(cl.from, cl.to) > r.words(h.from, h.to) {
		return false
	}
	b := &r.clauses[c-1]
	return b.lead == leadComma && b.sentence == cl.sentence && len(b.symptoms) == 0 && r.words(b.from, b.to) == 1
}

// gripGoes reports whether what goes away is not the fade that the clause tells of
// but the grip: "good for five laps, then the grip goes away".
func (r *reader) gripGoes(c int, h *hit) bool {
	if s := r.clauses[max(c-1, 0)].symptoms; c > 0 && len(s) > 0 && r.mentions[s[len(s)-1]].symptom == fade && r.clauses[c].lead == leadComma && r.l.is(r.t[r.clauses[c].from].word, joins) {
		return true // "the first laps are lovely, then it goes away"
	}
	for _, i := range r.clauses[c].symptoms {
		m := &r.mentions[i]
		if m.symptom != fade || m.hit < 0 {
			return false
		}
		if m.at >= h.from {
			break
		}
		if !r.strange(r.hits[m.hit].to, h.from) {
			return false
		}
	}
	return len(r.clauses[c].symptoms) > 0 && !r.pronounBefore(h.from)
}

// pronounBefore reports whether a pronoun, with words that say nothing after it,
// stands before a token.
func (r *reader) pronounBefore(i int) bool {
	for i--; i >= 0 && r.t[i].mark == 0; i-- {
		if r.l.is(r.t[i].word, pronoun) {
			return true
		}
		if !r.l.is(r.t[i].word, silent) {
			return false
		}
	}
	return false
}

// inside reports whether hit n stands between the words of a symptom.
func (r *reader) inside(n int) bool {
	for o := range r.hits {
		if x := &r.hits[o]; x.symptom != 0 && x.from < r.hits[n].from && r.hits[n].to < x.to {
			return true
		}
	}
	return false
}

// bare reports whether a clause is nothing but symptoms.
func (r *reader) bare(c int) bool {
	cl := &r.clauses[c]
	if len(cl.symptoms) == 0 {
		return false
	}
	for i := cl.from; i < cl.to; i++ {
		if !r.covered(i) && !r.l.is(r.t[i].word, fills) {
			return false
		}
	}
	return true
}

// strange reports whether words stand between two tokens that belong to no
// phrase and are not empty: the subject of "gone" is then something else.
func (r *reader) strange(from, to int) bool {
	for i := from; i < to; i++ {
		t := &r.t[i]
		if t.mark != 0 || t.isNumber || r.l.is(t.word, empty) {
			continue
		}
		if !r.covered(i) {
			return true
		}
	}
	return false
}

// covered reports whether a token belongs to a phrase.
func (r *reader) covered(i int) bool {
	for n := range r.hits {
		if h := &r.hits[n]; h.from <= i && i < h.to && h.own>>(i-h.from)&1 == 1 {
			return true
		}
	}
	return false
}

// deny negates the symptoms of the last clause that has any, for a clause that
// has none of its own: "…; that is gone", "but not in the fast ones".
func (r *reader) deny(c int, h *hit) {
	if h.role == roleNot && (r.clauses[c].lead == leadReason || r.strange(r.clauses[c].from, r.clauses[c].to)) {
		return
	}
	if h.role == roleNot && c > 0 && r.says(c, rolePast) && !r.says(c, roleNow) && r.says(c-1, roleNow) {
		return // "it hops now, it was not doing that this morning"
	}
	if c > 0 && len(r.clauses[c-1].symptoms) == 0 && r.says(c-1, roleCure) {
		return // "I hoped that this would stop it, and it did not"
	}
	if s := r.clauses[max(c-1, 0)].symptoms; c > 0 && len(s) > 0 && r.words(r.clauses[c].from, r.clauses[c].to) <= max(1, r.words(h.from, h.to)) && !r.goesOn(c) && !r.pronounBefore(h.from) {
		if m := &r.mentions[s[len(s)-1]]; m.hit >= 0 && !m.negated && r.deniesWithin(&r.hits[m.hit]) {
			return // "No turn-in. None."
		}
	}
	if p := c - 1; h.role == roleNot && p >= 0 && r.clauses[c].lead == leadComma && r.words(r.clauses[c].from, r.clauses[c].to) == 1 && r.placeOnly(p) {
		r.again(p, &r.hits[r.clauses[p].hits[0]], true) // "it washes out in the slow ones; fast stuff, never"
		return
	}
	if p := c - 1; h.role == roleNot && p >= 0 && r.words(r.clauses[c].from, r.clauses[c].to) == 1 && r.goesOn(c) {
		// "He says the hop is cured. It is not."
		for _, i := range r.clauses[p].symptoms {
			if m := &r.mentions[i]; m.final && m.negated && (r.says(p, roleGone) || r.says(p, roleCure)) {
				m.negated = false
				return
			}
		}
	}
	r.again(c, h, true)
}

// placeOnly reports whether a clause says a place and nothing else.
func (r *reader) placeOnly(c int) bool {
	cl := &r.clauses[c]
	for _, n := range cl.hits {
		if h := &r.hits[n]; !h.placed() || h.symptom != 0 {
			return false
		}
	}
	return len(cl.hits) > 0 && !cl.copied && !r.strange(cl.from, cl.to)
}

// denies reports whether a clause has a word that negates.
func (r *reader) denies(c int) bool {
	for _, n := range r.clauses[c].hits {
		switch r.hits[n].role {
		case roleNot, roleCure, roleGone:
			return true
		}
	}
	return false
}

// echo denies a bare symptom as the one before it was: "the push has gone, and the
// hop too".
func (r *reader) echo(c int) {
	if c == 0 || r.clauses[c].sentence != r.clauses[c-1].sentence || len(r.clauses[c-1].symptoms) == 0 || !r.bare(c) {
		return
	}
	if s := r.clauses[c-1].symptoms; r.mentions[s[len(s)-1]].negated {
		for _, i := range r.clauses[c].symptoms {
			r.mentions[i].negated, r.mentions[i].final = true, true
		}
	}
}

// graded takes "strong on entry, slight on exit" as the symptom of the clause
// before, that strong in that place.
func (r *reader) graded(c int) {
	cl := &r.clauses[c]
	if c == 0 || len(cl.symptoms) > 0 || cl.fine || cl.copied || cl.sentence != r.clauses[c-1].sentence || len(r.clauses[c-1].symptoms) == 0 ||
		r.denies(c) || r.words(cl.from, cl.to) > 5 || r.strange(cl.from, cl.to) {
		return
	}
	w, before := r.whereOf(c), r.whereOf(c-1)
	if w.phase|phases(w.corner) == 0 || before.phase|phases(before.corner) == 0 || w == before {
		return
	}
	for _, n := range cl.hits {
		if h := &r.hits[n]; h.severity != unsaid && h.role == roleNone {
			r.again(c, h, false)
			for i := range r.mentions {
				if m := &r.mentions[i]; m.clause == c && m.hit < 0 {
					m.severity = h.severity
				}
			}
			return
		}
	}
}

// elsewhereSaid takes "it's not under braking that the rear goes, it's when he turns
// in" as the rear going there.
func (r *reader) elsewhereSaid(c int) {
	if c == 0 || r.clauses[c].sentence > r.clauses[c-1].sentence+1 || !r.goesOn(c) {
		return
	}
	if n := r.placeThenSymptom(c - 1); n < 0 || !r.denied(n) {
		return
	}
	at := c
	if next := c + 1; r.whereOf(c) == (where{}) && next < len(r.clauses) && r.clauses[next].lead == leadComma {
		at = next // "it's later, at the apex"
	}
	for _, d := range []int{c, at} {
		if cl := &r.clauses[d]; len(cl.symptoms) > 0 || cl.fine || cl.copied || r.denies(d) {
			return
		}
	}
	if r.whereOf(at).phase&^r.whereOf(c-1).phase == 0 {
		return
	}
	for _, n := range r.clauses[at].hits {
		if h := &r.hits[n]; h.phase != 0 {
			r.again(at, h, false)
			return
		}
	}
}

// placeThenSymptom returns the first place of a clause, if a symptom follows it;
// else -1.
func (r *reader) placeThenSymptom(c int) int {
	place := -1
	for _, n := range r.clauses[c].hits {
		switch h := &r.hits[n]; {
		case h.symptom != 0 || h.either:
			return place
		case h.phase != 0 && place < 0:
			place = n
		}
	}
	return -1
}

// restored takes "…, now it is fine" as the end of the symptom before; "… and then
// it is fine again" only tells of the lap.
func (r *reader) restored(c int) {
	cl := &r.clauses[c]
	if !cl.fine || !cl.change || len(cl.symptoms) > 0 || cl.lead == leadStart || cl.lead == leadAnd && !r.says(c, roleNow) || r.whereOf(c) != (where{}) || r.strange(cl.from, cl.to) {
		return
	}
	for _, n := range cl.hits {
		if h := &r.hits[n]; h.role == roleFine {
			r.again(c, h, true)
			r.took[n] = true
			return
		}
	}
}

// except takes "no push, only in the hairpin" and "gone but for the hairpin" as
// the symptom being there, in that place alone.
func (r *reader) except(c int, h *hit) {
	cl := &r.clauses[c]
	if len(cl.symptoms) > 0 || cl.copied || cl.fine || r.whereOf(c) == (where{}) || r.words(cl.from, cl.to) > 4 || r.strange(cl.from, cl.to) {
		return
	}
	for p := c - 1; p >= 0; p-- {
		if s := r.clauses[p].symptoms; len(s) > 0 {
			if r.mentions[s[len(s)-1]].negated {
				r.again(c, h, false)
			}
			return
		}
	}
}

// still says that the symptoms of the last clause are there in this one; "now it
// does", without a place, turns round what was said not to happen.
func (r *reader) still(c int, h *hit) {
	cl := &r.clauses[c]
	if len(cl.symptoms) > 0 {
		return
	}
	if r.whereOf(c) == (where{}) && c > 0 && r.clauses[c-1].sentence == cl.sentence && r.says(c-1, roleThen) && !r.denies(c) {
		for _, i := range r.clauses[c-1].symptoms {
			r.mentions[i].negated = false // "used to push, still does"
		}
		return
	}
	if r.whereOf(c) != (where{}) || r.denies(c) || !r.says(c, roleNow) {
		r.again(c, h, false)
		return
	}
	r.turn(c, true)
}

// opposite takes "yesterday it pushed, today the opposite" at its word, and "on the
// way out it is the opposite".
func (r *reader) opposite(c int, h *hit) {
	if c == 0 || len(r.clauses[c].symptoms) > 0 || r.clauses[c].sentence-r.clauses[c-1].sentence > 1 {
		return
	}
	w := r.whereOf(c)
	if w == (where{}) && !r.says(c-1, rolePast) {
		return
	}
	for _, i := range r.clauses[c-1].symptoms {
		m := r.mentions[i]
		if m.negated || !m.symptom.balance() {
			continue
		}
		if w == (where{}) {
			r.mentions[i].negated, r.mentions[i].final = true, true
		}
		m.phase, m.corner = w.phase, max(w.corner, w.speed)
		m.symptom, m.hit, m.clause, m.at, m.severity = understeer+oversteer-m.symptom, -1, c, h.from, unsaid
		m.from, m.to = r.t[h.from].from, r.t[h.to-1].to
		r.mentions = append(r.mentions, m)
		r.clauses[c].copied = true
		return
	}
}

// turn turns round what the clause before c says: "it did not turn in", and, if
// back, "it was not hopping".
func (r *reader) turn(c int, back bool) {
	cl := &r.clauses[c]
	if len(cl.symptoms) > 0 {
		return
	}
	p := c - 1
	for p > 0 && len(r.clauses[p].symptoms) == 0 {
		p--
	}
	if p < 0 || r.clauses[p].sentence < cl.sentence-1 {
		return
	}
	for _, i := range r.clauses[p].symptoms {
		m := &r.mentions[i]
		switch {
		case m.negated:
			m.negated, m.final = !back, true
		case m.hit >= 0 && r.deniesWithin(&r.hits[m.hit]):
			m.negated, m.final = true, true
		}
	}
}

// deniesWithin reports whether a symptom is said as a good thing that does not
// happen: "does not turn in".
func (r *reader) deniesWithin(h *hit) bool {
	for i := h.from; i < h.to; i++ {
		if h.own>>(i-h.from)&1 == 1 && r.l.negators[r.t[i].word] {
			return true
		}
	}
	return false
}

// again repeats the symptoms of the last clause that has any for clause c, which
// has none: with the place of this clause, or, if it names none, for themselves.
func (r *reader) again(c int, h *hit, negated bool) {
	cl := &r.clauses[c]
	for _, n := range cl.hits {
		if r.hits[n].axle != 0 {
			return // "not the back" is about the end that slides
		}
	}
	w := r.whereOf(c)
	p := c - 1
	for p >= 0 && len(r.clauses[p].symptoms) == 0 {
		p--
	}
	if p < 0 || cl.sentence-r.clauses[p].sentence > 1 {
		return
	}
	for _, i := range r.clauses[p].symptoms {
		m := r.mentions[i]
		if m.either || m.busy {
			continue
		}
		if negated && h.role == roleNot && cl.lead != leadBut && m.hit >= 0 && !m.negated && !m.cured && r.deniesWithin(&r.hits[m.hit]) && r.words(h.to, cl.to) <= 3 {
			continue // "does not turn in, not in the hairpin and not in the fast ones"
		}
		if w == (where{}) {
			if negated {
				r.mentions[i].negated, r.mentions[i].final = true, true
			}
			continue
		}
		m.negated, m.hit, m.clause, m.at = negated, -1, c, h.from
		if p := w.phase &^ elsewhere[m.symptom]; p != 0 {
			m.phase = p
		}
		m.corner, m.side, m.severity = max(w.corner, w.speed), w.side, unsaid
		m.from, m.to = r.t[h.from].from, r.t[cl.to-1].to
		r.mentions = append(r.mentions, m)
		cl.copied = true
		for _, n := range cl.hits {
			r.took[n] = true
		}
	}
}

// whereOf joins all places that a clause names.
func (r *reader) whereOf(c int) (w where) {
	for _, n := range r.clauses[c].hits {
		h := &r.hits[n]
		if h.symptom == 0 {
			w.phase |= h.phase
			w.corner, w.speed, w.side = max(w.corner, h.corner), max(w.speed, h.speed), max(w.side, h.side)
		}
	}
	return w
}
