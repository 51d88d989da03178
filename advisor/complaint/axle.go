package complaint

import "slices"

// resolveBusy says what corrections at the wheel are a sign of: on the straight
// the kart wanders, before and into the corner it is too sharp, after that the
// rear slides.
func (r *reader) resolveBusy() {
	for i := range r.mentions {
		m := &r.mentions[i]
		if !m.busy {
			continue
		}
		switch {
		case m.phase&(mid|exit) != 0:
			m.symptom = oversteer
		case m.phase&(braking|entry) != 0:
			m.symptom = darting
		default:
			m.symptom = wander
		}
	}
}

// resolveAxles decides which end a slide is at, or asks.
func (r *reader) resolveAxles() {
	drop := make([]bool, len(r.mentions), 2*len(r.mentions))
	for i := range r.mentions {
		m := r.mentions[i]
		if !m.either {
			continue
		}
		is, not := r.axles(m.clause)
		if is == 0 && not != 0 {
			is = both &^ not
		}
		if is == 0 && not == 0 {
			var of corner
			if is, of = r.sameEnd(m); m.corner == 0 {
				m.corner, r.mentions[i].corner = of, of
			}
		}
		if is == 0 {
			drop[i] = true
			if m.negated {
				continue // "it does not slide" asks for nothing
			}
			r.took[m.hit] = false
			r.askBalance(m.from, m.to, m.phase, "which end slides first, the front or the rear?")
			continue
		}
		of := func(a axle) symptom {
			switch a {
			case front:
				return understeer
			case back:
				return oversteer
			}
			return noGrip
		}
		r.mentions[i].symptom, r.mentions[i].either = of(is), false
		if not != 0 && not != is {
			n := m
			n.symptom, n.either, n.negated, n.hit, n.severity = of(not), false, !m.negated, -1, unsaid
			n.at = m.at - 1
			r.mentions = append(r.mentions, n)
			drop = append(drop, false)
			r.clauses[m.clause].symptoms = append(r.clauses[m.clause].symptoms, len(r.mentions)-1)
		}
	}
	r.drop(drop)
	r.correctAxles()
	r.otherEnd()
	r.otherAxles()
}

// sameEnd returns the end that was just told of, if the clause of a slide goes on
// with it: "the back does not slide going in. But it really slides coming out". It
// is in the same corner: "scared of the rear in the fast ones. It slides at the apex".
func (r *reader) sameEnd(m mention) (is axle, of corner) {
	if !r.goesOn(m.clause) {
		return 0, 0
	}
	for c := m.clause - 1; c >= 0 && r.clauses[c].sentence >= r.clauses[m.clause].sentence-1; c-- {
		for _, i := range r.clauses[c].symptoms {
			o := &r.mentions[i]
			switch o.symptom {
			case understeer:
				is |= front
			case oversteer:
				is |= back
			default:
				continue
			}
			if !o.negated {
				of = o.corner
			}
		}
		if is == both {
			return 0, 0
		}
		if is != 0 {
			return is, of
		}
	}
	return 0, 0
}

// askBalance asks which of the two balances the words from one byte to another mean.
func (r *reader) askBalance(from, to int, p phases, question string) {
	q := Question{Words: r.text[from:to], Question: question}
	for _, s := range []symptom{understeer, oversteer} {
		q.Candidates = append(q.Candidates, candidate(s, p))
	}
	r.report.Unsure = append(r.report.Unsure, q)
}

// candidate names a symptom with its place, as a question offers it.
func candidate(s symptom, p phases) string {
	name := symptomNames[s]
	if at := phaseOf(p); at != "any" {
		name += "/" + at
	}
	return name
}

// resolveDoubts asks where a balance and its opposite are offered as a choice:
// "it pushes, or maybe it is loose".
func (r *reader) resolveDoubts() {
	drop := make([]bool, len(r.mentions))
	for n := range r.hits {
		h := &r.hits[n]
		if h.role != roleChoice {
			continue
		}
		before, after := -1, -1
		for i := range r.mentions {
			m := &r.mentions[i]
			if !m.symptom.balance() || r.clauses[m.clause].sentence != r.clauses[r.clauseAt(h.from)].sentence {
				continue
			}
			if m.at < h.from {
				before = i
			} else if after < 0 {
				after = i
			}
		}
		if before < 0 || after < 0 {
			continue
		}
		a, b := &r.mentions[before], &r.mentions[after]
		if a.symptom == b.symptom || a.negated || b.negated || a.phase != 0 && b.phase != 0 && a.phase != b.phase {
			continue
		}
		drop[before], drop[after] = true, true
		r.askBalance(a.from, b.to, a.phase|b.phase, "which of the two is it?")
	}
	r.drop(drop)
}

// resolveWishes asks about a balance that is only wished for: "a bit of oversteer
// would help".
func (r *reader) resolveWishes() {
	drop := make([]bool, len(r.mentions))
	for i := range r.mentions {
		m := &r.mentions[i]
		if m.hit < 0 || m.negated || !m.symptom.balance() || !r.says(m.clause, roleWish) {
			continue
		}
		drop[i] = true
		r.askBalance(m.from, m.to, m.phase, "is that how it is, or how it should be? What does it do now?")
	}
	r.drop(drop)
}

// otherAxles takes "the front slides on entry, the rear on exit" as both ends
// sliding, each in its place.
func (r *reader) otherAxles() {
	for i := range r.mentions {
		m := r.mentions[i]
		c := m.clause + 1
		if m.negated || m.hit < 0 || !m.symptom.balance() || c >= len(r.clauses) {
			continue
		}
		cl := &r.clauses[c]
		if cl.sentence != r.clauses[m.clause].sentence || len(cl.symptoms) > 0 || cl.fine || cl.copied || r.words(cl.from, cl.to) > 5 || r.denies(c) {
			continue
		}
		w := r.whereOf(c)
		for _, n := range cl.hits {
			a := r.hits[n].axle
			if w.phase|phases(w.corner) == 0 || !(a == front && m.symptom == oversteer || a == back && m.symptom == understeer) {
				continue
			}
			o := mention{symptom: understeer + oversteer - m.symptom, phase: w.phase, corner: w.corner, clause: c, hit: -1, at: r.hits[n].from,
				from: r.t[r.hits[n].from].from, to: r.t[r.hits[n].to-1].to}
			r.mentions = append(r.mentions, o)
			cl.copied = true
			for _, k := range cl.hits {
				r.took[k] = true
			}
			break
		}
	}
}

// addOtherEnd adds, if clause c names the end that mention m does not slide at, that
// it is with the other end the other way round.
func (r *reader) addOtherEnd(m mention, c int) bool {
	for _, n := range r.clauses[c].hits {
		if a := r.hits[n].axle; a == front && m.symptom == oversteer || a == back && m.symptom == understeer {
			m.symptom, m.negated, m.hit, m.severity = understeer+oversteer-m.symptom, !m.negated, -1, unsaid
			m.at, m.from, m.to = r.hits[n].from, r.t[r.hits[n].from].from, r.t[r.hits[n].to-1].to
			r.mentions = append(r.mentions, m)
			r.took[n] = true
			return true
		}
	}
	return false
}

// correctAxles takes "the rear is not sliding, it's the front" as the front
// sliding, and "it's the rear that slides, not the front" as the front not sliding.
func (r *reader) correctAxles() {
	for i := range r.mentions {
		m := r.mentions[i]
		c := m.clause + 1
		if m.hit < 0 || !m.symptom.balance() ||
			c >= len(r.clauses) || r.clauses[c].sentence > r.clauses[m.clause].sentence+1 || len(r.clauses[c].symptoms) > 0 ||
			r.clauses[c].fine || r.words(r.clauses[c].from, r.clauses[c].to) > 2 || r.denies(c) == m.negated {
			continue
		}
		r.addOtherEnd(m, c)
	}
}

// otherEnd takes "not the front, it is the rear that lets go" as the front not
// sliding.
func (r *reader) otherEnd() {
	for i := range r.mentions {
		m := r.mentions[i]
		c := m.clause - 1
		if c > 0 && r.words(r.clauses[c].from, r.clauses[c].to) == 1 && len(r.clauses[c].hits) == 0 {
			c-- // "not the front, lads, it is the back"
		}
		if m.hit < 0 || m.negated || !m.symptom.balance() || c < 0 || r.clauses[c].sentence != r.clauses[m.clause].sentence ||
			len(r.clauses[c].symptoms) > 0 || r.clauses[c].copied || !r.denies(c) || r.words(r.clauses[c].from, r.clauses[c].to) > 4 {
			continue
		}
		if r.addOtherEnd(m, c) {
			r.clauses[c].copied = true
		}
	}
}

// axles finds which end, or both ends, the clauses around c name, and which end
// they deny.
func (r *reader) axles(c int) (is, not axle) {
	look := func(at int) {
		denied := false
		for _, n := range r.clauses[at].hits {
			switch h := &r.hits[n]; {
			case h.role == roleNot:
				denied = true
			case h.lists():
				is, not = 0, 0
				return
			case h.axle != 0 && denied:
				not, denied = h.axle, false
				r.took[n] = true
			case h.axle != 0:
				is |= h.axle
				r.took[n] = true
			}
		}
	}
	look(c)
	for at := c + 1; at < len(r.clauses) && is == 0 && r.clauses[at].sentence <= r.clauses[c].sentence+1 && len(r.clauses[at].symptoms) == 0; at++ {
		look(at)
	}
	if next := c + 1; is != 0 && is != both && not == 0 {
		for next < len(r.clauses) && len(r.clauses[next].symptoms) == 0 && !r.denies(next) && r.clauses[next].sentence == r.clauses[c].sentence {
			next++
		}
		// "It slides, and it is the back that does it, not the front."
		if next < len(r.clauses) && r.clauses[next].sentence == r.clauses[c].sentence && len(r.clauses[next].symptoms) == 0 && r.words(r.clauses[next].from, r.clauses[next].to) <= 2 {
			was := is
			if look(next); is != was || not == is {
				is, not = was, 0
			}
		}
	}
	if is == 0 && not == 0 && c > 0 && len(r.clauses[c-1].symptoms) == 0 && r.clauses[c-1].sentence == r.clauses[c].sentence {
		look(c - 1)
	}
	return is, not
}

// strongly reports whether a clause has a strong word: "rubbish in the right".
func (r *reader) strongly(c int) bool {
	return slices.ContainsFunc(r.clauses[c].hits, func(n int) bool { return r.hits[n].severity == strong })
}

// sides adds the complaint that left and right turns differ, if the text names a
// side and says that the other is different: "rights are fine, lefts are like
// another kart".
func (r *reader) sides() {
	var named, well, ill [3]bool
	only := false
	at := -1
	for c := range r.clauses {
		for _, n := range r.clauses[c].hits {
			h := &r.hits[n]
			if h.side == 0 || h.symptom != 0 {
				continue
			}
			named[h.side] = true
			if len(r.mentions) > 0 {
				r.took[n] = true
			}
			if at < 0 {
				at = n
			}
			if cl := &r.clauses[c]; cl.fine {
				well[h.side] = true
			} else if len(cl.symptoms) > 0 || r.strange(cl.from, cl.to) || r.denies(c) || r.strongly(c) {
				ill[h.side] = true
			}
			for _, o := range r.clauses[c].hits {
				only = only || r.hits[o].role == roleOnly
			}
		}
	}
	for _, m := range r.mentions {
		if m.symptom == asymmetric {
			return
		}
	}
	differ := well[left] && ill[right] && !well[right] || well[right] && ill[left] && !well[left]
	if at < 0 || !only && !(named[left] && named[right]) || len(r.mentions) == 0 && !differ {
		return
	}
	h := &r.hits[at]
	r.took[at] = true
	m := mention{symptom: asymmetric, hit: at, at: len(r.t), from: r.t[h.from].from, to: r.t[h.to-1].to, clause: r.clauseAt(h.from)}
	r.mentions = append(r.mentions, m)
}
