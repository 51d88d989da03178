package testday

import "math/bits"

// word reads an order of one change from letters.
func word(letters string) Order {
	o := make(Order, len(letters))
	for i, c := range letters {
		o[i] = Setup(c - 'A')
	}
	return o
}

// ThueMorse is the word of 2^m runs on which every polynomial trend of a degree
// below m cancels (E. Prouhet 1851): ABBA for m = 2, ABBABAAB for m = 3.
func ThueMorse(m int) Order {
	o := make(Order, 1<<m)
	for i := range o {
		o[i] = Setup(bits.OnesCount(uint(i)) & 1)
	}
	return o
}

// BaseBetween goes back to the base after every change: 0 1 0 2 0.
func BaseBetween(k int) Order {
	o := Order{0}
	for j := range k {
		o = append(o, 1<<j, 0)
	}
	return o
}

// Palindrome goes through the changes and the same way back: 0 1 2 2 1 0. Every
// setting has the same mean time, so every trend of an odd degree cancels.
func Palindrome(k int) Order {
	o := Order{0}
	for j := range k {
		o = append(o, 1<<j)
	}
	for i := k; i >= 0; i-- {
		o = append(o, o[i])
	}
	return o
}

// ABBAEach is ABBA for each change in turn.
func ABBAEach(k int) Order {
	var o Order
	for j := range k {
		o = append(o, 0, 1<<j, 1<<j, 0)
	}
	return o
}

// BothWays is BaseBetween and the same way back: 0 1 0 2 0 2 0 1 0.
func BothWays(k int) Order {
	o := BaseBetween(k)
	for i := len(o) - 2; i >= 0; i-- {
		o = append(o, o[i])
	}
	return o
}

// A Column of the 2^m runs in standard (Yates) order is a product of some of
// its letters: bit 0 is A, bit 1 is B. A column of r letters is free of every
// trend of a degree below r (C.-S. Cheng, M. Jacroux, Journal of the American
// Statistical Association 83, 1988).
type Column uint

// High reports whether the column is + in run i, counted from 0.
func (c Column) High(i int) bool { return bits.OnesCount(uint(c)&^uint(i))&1 == 0 }

// Factorial gives each change the runs in which its column is +, with the signs
// turned so that the first run is the base.
func Factorial(m int, columns ...Column) Order {
	o := make(Order, 1<<m)
	for j, c := range columns {
		for i := range o {
			if c.High(i) != c.High(0) {
				o[i] |= 1 << j
			}
		}
	}
	return o
}

// again repeats an order m times; where it ends and begins alike, one run
// serves as both if share is set.
func again(o Order, m int, share bool) Order {
	out := append(Order(nil), o...)
	for range m - 1 {
		next := o
		if share && out[len(out)-1] == o[0] {
			next = o[1:]
		}
		out = append(out, next...)
	}
	return out
}

// scheme is a way to order runs.
type scheme struct {
	name, why string
	order     Order
	together  bool // has changes on together
}

// schemes lists the orders known for k changes, at most runs long.
func schemes(k, runs int) []scheme {
	const a, b, c, d Column = 1, 2, 4, 8 // the letters of standard order
	var out []scheme
	add := func(name, why string, o Order, together bool) {
		if len(o) <= runs {
			out = append(out, scheme{name, why, o, together})
		}
	}
	if k == 1 {
		add("ABA", "the least that takes out a steady drift", word("ABA"), false)
		add("ABBA", "a steady drift cancels; both settings run equally often", word("ABBA"), false)
		add("ABABA", "the base again after every run", word("ABABA"), false)
		add("ABAABA", "ABA twice", word("ABAABA"), false)
		add("ABBABBA", "ABBA twice with one base run shared", word("ABBABBA"), false)
		add("ABBA twice", "few changes of setting", word("ABBAABBA"), false)
		add("ABBABAAB", "a drift that bends cancels as well", ThueMorse(3), false)
		for m := 3; 4*m <= runs; m++ {
			add("ABBA "+itoa(m)+" times", "few changes of setting", again(word("ABBA"), m, false), false)
		}
		add("ABBABAAB and its mirror", "a drift that bends cancels as well", ThueMorse(4), false)
		return out
	}
	for m := 1; m*2*k <= runs; m++ {
		times := ""
		switch {
		case m == 2:
			times = ", twice"
		case m > 2:
			times = ", " + itoa(m) + " times"
		}
		add("base between"+times, "the base after every change: the driver always compares with what he just drove", again(BaseBetween(k), m, true), false)
		add("there and back"+times, "every setting once on the way out and once on the way back", again(Palindrome(k), m, false), false)
		add("ABBA for each"+times, "one change after the other, each judged by itself", again(ABBAEach(k), m, false), false)
		add("there and back, base between"+times, "the base after every change, both ways", again(BothWays(k), m, true), false)
	}
	const combined = "every run tells of every change; it takes for granted that the changes do not depend on each other"
	switch k {
	case 2:
		add("both together, drift-free", combined, Factorial(3, a|b, b|c), true)
		add("both together, drift-free, 16 runs", combined, Factorial(4, a|b|d, b|c|d), true)
	case 3:
		add("all together, nearly drift-free", combined+"; two changes of setting fewer", Order{0, 3, 7, 5, 4, 6, 2, 1}, true)
		add("all together, drift-free", combined, Factorial(3, a|b, b|c, a|b|c), true)
		add("all together, free of bent drift too", combined, Factorial(4, a|b|d, b|c|d, a|b|c|d), true)
	case 4:
		add("all together, drift-free", combined, Factorial(4, a|b, b|c, c|d, b|c|d), true)
		add("all together, free of bent drift too", combined, Factorial(4, a|b|c, a|b|d, b|c|d, a|b|c|d), true)
	}
	return out
}
