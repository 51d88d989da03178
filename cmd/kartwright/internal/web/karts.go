package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"path"
	"strings"
	"unicode"

	"kartwright/advisor/profile"
	"kartwright/geometry/frontend"
	"kartwright/rules/diag"
)

// mostKarts is how many karts are kept, and maxProfile how long a profile may
// be, in bytes.
const mostKarts, maxProfile = 24, 128 << 10

type kartsView struct {
	Karts  []kartView
	Added  string
	File   string
	Text   string // a profile that was refused
	Check  []foundLine
	Errors int
}

type kartView struct {
	Key, Name, Note, Class string
	Own, Chosen            bool
	Rows                   []figureRow
	Adjusters              []string
	Assumed                int
}

func (s *Site) kartList(r *http.Request, chosen string) (kartsView, error) {
	var v kartsView
	u := units(r)
	for _, g := range s.garage() {
		k := g.Kart
		f, err := k.Figures(k.Present)
		if err != nil {
			return v, err
		}
		x := kartView{Key: g.Key, Name: k.Name, Note: k.Note, Class: k.Class, Own: g.Own, Chosen: g.Key == chosen, Rows: figureRows(f, f, u)[:4], Assumed: len(k.Assumed())}
		for i, a := range k.Corners[frontend.Left].Adjusters {
			x.Adjusters = append(x.Adjusters, a.Name+": "+a.Print(k.Present[frontend.Left][i], u))
		}
		v.Karts = append(v.Karts, x)
	}
	return v, nil
}

// kartsPage shows the karts that can be chosen.
func (s *Site) kartsPage(w http.ResponseWriter, r *http.Request) error {
	g, err := s.chosenKart(w, r)
	if err != nil {
		return err
	}
	v, err := s.kartList(r, g.Key)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, "karts", "Karts", v)
}

// kartsAdd takes a profile, as a file or as text. It is kept in memory; its name
// is only shown, never used as a path.
func (s *Site) kartsAdd(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseMultipartForm(maxProfile); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		return err
	}
	name, text := "pasted.toml", []byte(strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n"))
	if file, head, err := r.FormFile("file"); err == nil {
		defer file.Close()
		if head.Size > 0 {
			name = plainName(head.Filename)
			if text, err = io.ReadAll(io.LimitReader(file, maxProfile+1)); err != nil {
				return err
			}
		}
	}
	if len(text) > maxProfile {
		return failf(http.StatusRequestEntityTooLarge, "the profile has more than %d kB", maxProfile>>10)
	}
	if len(strings.TrimSpace(string(text))) == 0 {
		return failf(http.StatusUnprocessableEntity, "choose a profile, a .toml file, or paste its text")
	}
	k, found := profile.Parse(name, text)
	if diag.HasErrors(found) {
		g, err := s.chosenKart(w, r)
		if err != nil {
			return err
		}
		v, err := s.kartList(r, g.Key)
		if err != nil {
			return err
		}
		c := listFindings(found, name)
		v.File, v.Text, v.Check, v.Errors = name, string(text), c.Lines, c.Errors
		return s.render(w, r, http.StatusUnprocessableEntity, "karts", "Not opened: the profile has errors", v)
	}
	s.mu.Lock()
	key := ""
	for n := 1; key == ""; n++ {
		key = fmt.Sprintf("mine%d", n)
		for _, g := range s.karts {
			if g.Key == key {
				key = ""
				break
			}
		}
	}
	full := len(s.karts) >= mostKarts
	if !full {
		s.karts = append(s.karts, garaged{Key: key, Kart: k, Own: true, Text: text})
	}
	s.mu.Unlock()
	if full {
		return failf(http.StatusInsufficientStorage, "%d karts are open, more are not kept; start kartwright anew", mostKarts)
	}
	setCookie(w, kartParam, key)
	http.Redirect(w, r, "/karts", http.StatusSeeOther)
	return nil
}

// plainName is a file's own name for showing it: no folders, nothing that does
// not print.
func plainName(name string) string {
	name = path.Base(strings.ReplaceAll(name, "\\", "/"))
	name = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return -1
	}, name)
	if name == "" || name == "." || name == "/" || name == ".." {
		return "profile.toml"
	}
	if len(name) > 80 {
		name = name[len(name)-80:]
	}
	return name
}
