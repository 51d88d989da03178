package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"kartwright/advisor/journal"
	"kartwright/advisor/profile"
	"kartwright/advisor/testday"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/rules/diag"
)

// pageDays are the test days of a folder, as the page works on them: the files of
// 'day plan --save', changed as 'day next' changes them.
type pageDays struct {
	a   *app
	dir string
}

// pageDays returns the page's test days: those of the folder that the flag names,
// or of days beside the journal that --journal, the environment or the system
// names. It is nil if there is no folder to look in.
func (a *app) pageDays(dir, j string) (web.Days, error) {
	if dir = cmp.Or(dir, a.Getenv("KARTWRIGHT_DAYS")); dir == "" {
		if j = cmp.Or(j, a.Getenv("KARTWRIGHT_JOURNAL")); j == "" {
			var err error
			if j, err = journal.DefaultPath(a.Getenv, runtime.GOOS); err != nil {
				return nil, nil // nowhere to keep them is none of them
			}
		}
		dir = filepath.Join(filepath.Dir(j), "days")
	} else if info, err := os.Stat(dir); err != nil {
		return nil, readError("the folder of the test days", dir, err)
	} else if !info.IsDir() {
		return nil, fmt.Errorf("%s is no folder; --days names the one that the test days are kept in", dir)
	}
	dir, err := filepath.Abs(dir)
	quiet := &app{App: a.App, json: a.json, units: a.units}
	quiet.Ask = false
	return pageDays{quiet, dir}, err
}

const (
	dayTail     = ".toml"
	dayKartTail = ".kart.toml" // a profile beside the day that it belongs to
	longestDay  = 60           // characters of a name
	widestDay   = 200          // bytes of it: a file's name has at most 255
	manyDays    = 400          // files that are kept in the folder at most, and looked at
)

// dayMark tells a day from other files of its folder, even one with errors.
var dayMark = regexp.MustCompile(`(?m)^\s*\[\[\s*run\s*\]\]`)

// reserved are the names that Windows keeps for its devices, whatever follows
// their first point.
var reserved = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(\.|$)`)

// path is the file of a day. A name that is none, or that leads elsewhere, is
// fs.ErrInvalid.
func (p pageDays) path(name string) (string, error) {
	odd := func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" -_.()+", r)
	}
	file := name + dayTail
	if name == "" || utf8.RuneCountInString(name) > longestDay || len(name) > widestDay || reserved.MatchString(name) || strings.ContainsFunc(name, odd) || strings.HasPrefix(name, ".") || strings.TrimSpace(name) != name ||
		strings.HasSuffix(file, dayKartTail) || !filepath.IsLocal(file) || filepath.Base(file) != file {
		return "", fmt.Errorf("%q: %w", name, fs.ErrInvalid)
	}
	return filepath.Join(p.dir, file), nil
}

func (p pageDays) List() ([]web.DayFile, error) {
	entries, err := os.ReadDir(p.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	type aged struct {
		web.DayFile
		at time.Time
	}
	var list []aged
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), dayTail)
		path, bad := p.path(name)
		if !ok || bad != nil {
			continue
		}
		info, err := os.Stat(path)
		if err != nil || !info.Mode().IsRegular() {
			continue // gone meanwhile, or no file
		}
		list = append(list, aged{web.DayFile{Name: name}, info.ModTime()})
	}
	slices.SortStableFunc(list, func(a, b aged) int { return cmp.Or(b.at.Compare(a.at), cmp.Compare(b.Name, a.Name)) })
	var out []web.DayFile
	for _, x := range list[:min(len(list), manyDays)] {
		data, err := os.ReadFile(filepath.Join(p.dir, x.Name+dayTail))
		if err != nil || !dayMark.Match(data) {
			continue
		}
		d, found := testday.Parse(x.Name+dayTail, data)
		if x.Day = d; d == nil {
			i := slices.IndexFunc(found, func(f diag.Diagnostic) bool { return f.Severity == diag.Error })
			line, _ := found[i].At.Position()
			x.Trouble = fmt.Sprintf("line %d: %s", line, found[i].Message)
		}
		out = append(out, x.DayFile)
	}
	return out, nil
}

func (p pageDays) Open(name string) (web.OpenDay, error) {
	path, err := p.path(name)
	if err != nil {
		return web.OpenDay{}, fs.ErrNotExist
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return web.OpenDay{}, err
	}
	d, err := parseDay(name+dayTail, data)
	if err != nil {
		return web.OpenDay{}, inWords(err)
	}
	return p.with(name, path, d)
}

// with loads the kart of a day.
func (p pageDays) with(name, path string, d *testday.Day) (web.OpenDay, error) {
	o := web.OpenDay{Name: name, Day: d}
	if !d.NeedsKart() {
		return o, nil
	}
	var err error
	if o.Kart, err = p.a.dayKart(d, path, ""); err != nil {
		err = fmt.Errorf("the day's kart %s: %w", d.Kart, inWords(err))
	}
	return o, err
}

// inWords says the findings of a file in one sentence, for who does not see its
// text. Other errors stay as they are.
func inWords(err error) error {
	var f fileError
	if !errors.As(err, &f) {
		return err
	}
	for _, x := range f.found {
		if x.Severity == diag.Error {
			line, _ := x.At.Position()
			return fmt.Errorf("%s, line %d: %s", x.At.File.Name, line, x.Message)
		}
	}
	return err
}

func (p pageDays) Add(name string, d *testday.Day, kart []byte) (string, error) {
	given := name != ""
	if !given {
		name = p.a.Now().Format(time.DateOnly)
	}
	if _, err := p.path(name); err != nil {
		return "", err
	}
	if err := os.MkdirAll(p.dir, 0o755); err != nil {
		return "", err
	}
	if entries, err := os.ReadDir(p.dir); err != nil {
		return "", err
	} else if len(entries) >= manyDays {
		return "", fmt.Errorf("the folder of the test days holds %d files already, more are not kept; put old days elsewhere", len(entries))
	}
	base := name
	for n := 2; ; n++ {
		path, err := p.path(name)
		if err != nil {
			return "", err
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err == nil {
			err = p.fill(f, path, d, kart)
		}
		if err == nil {
			return name, nil
		}
		if given || !errors.Is(err, fs.ErrExist) || n > manyDays {
			return "", err
		}
		name = fmt.Sprintf("%s-%d", base, n)
	}
}

// fill writes a new day into its file, which is empty so far, and its kart beside
// it. If that fails neither is left.
func (p pageDays) fill(f *os.File, path string, d *testday.Day, kart []byte) (err error) {
	own := *d
	beside := strings.TrimSuffix(path, dayTail) + dayKartTail
	begun := []string{path}
	defer func() {
		if err != nil {
			for _, name := range begun {
				err = errors.Join(err, os.Remove(name))
			}
		}
	}()
	if kart != nil {
		k, err := os.OpenFile(beside, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return errors.Join(err, f.Close())
		}
		begun = append(begun, beside)
		_, err = k.Write(kart)
		if err = errors.Join(err, k.Sync(), k.Close()); err != nil {
			return errors.Join(err, f.Close())
		}
		own.Kart = filepath.Base(beside)
	}
	_, err = f.Write(own.Text())
	return errors.Join(err, f.Sync(), f.Close())
}

func (p pageDays) Change(name string, change func(web.OpenDay) error) error {
	path, err := p.path(name)
	if err != nil {
		return fs.ErrNotExist
	}
	return inWords(p.a.changeDay(path, func(d *testday.Day) error {
		o, err := p.with(name, path, d)
		if err != nil {
			return err
		}
		return change(o)
	}))
}

// Change is the change that advice in the journal was to make.
func (l pageLog) Change(k *profile.Kart, id string) (c testday.Change, err error) {
	err = errors.New("there is no journal yet")
	if jerr := l.with(func(ctx context.Context, j *journal.Journal) error {
		var adv *journal.Advice
		if adv, err = findAdvice(ctx, j, k.Name, id); err == nil {
			c, err = changeOf(adv)
		}
		return nil
	}); jerr != nil {
		return c, jerr
	}
	return c, err
}

// JudgeDay logs how the changes that were taken from advice turned out.
func (l pageLog) JudgeDay(d *testday.Day, v *testday.Verdict) (int, error) {
	logged, _, err := l.a.logDay(d, v, l.from.journal)
	return len(logged), err
}
