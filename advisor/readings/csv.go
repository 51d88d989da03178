package readings

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"

	"kartwright/rules/diag"
	"kartwright/rules/source"
)

// csv reads a table of comma-separated values. Semicolons and tabs are
// understood where the title row has them, as spreadsheets write where the
// decimal sign is a comma. A row whose side is ± states how far the readings of
// each column may be off; one whose side is zero, what the gauges show at
// nothing.
func (p *parser) csv(name string, data []byte) {
	file, _ := source.Parse(name, data) // for places only; it is not TOML
	p.file.start = file.Start()
	p.file.Kart = p.kart.Name
	skip := 0
	if bytes.HasPrefix(data, []byte("\ufeff")) {
		skip = len("\ufeff")
	}
	r := csv.NewReader(bytes.NewReader(data[skip:]))
	r.Comment, r.FieldsPerRecord, r.TrimLeadingSpace = '#', -1, true
	r.Comma = comma(data[skip:])
	// at returns the place of a field, quotes included.
	at := func(i int, text string) source.Span {
		ln, col := r.FieldPos(i)
		start := file.LineStart(ln) + col - 1
		if ln == 1 {
			start += skip
		}
		end := min(start+len(text), len(data))
		if start > 0 && data[start-1] == '"' {
			start, end = start-1, min(end+1, len(data))
		}
		return file.Span(start, end)
	}
	var titles []cell
	var rows []line
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			p.syntax(file, err, skip)
			return
		}
		blank := strings.TrimSpace(strings.Join(record, "")) == ""
		if blank {
			continue
		}
		if titles == nil {
			for i, text := range record {
				titles = append(titles, title(text, at(i, text)))
			}
			if !p.titles(titles) {
				return
			}
			continue
		}
		l := line{at: at(0, record[0])}
		for i, text := range record {
			if i >= len(titles) {
				if strings.TrimSpace(text) != "" {
					p.errorf(badCSV, at(i, text), "%q stands beyond the last titled column", text)
				}
				continue
			}
			c := titles[i]
			c.text, c.at = strings.TrimSpace(text), at(i, text)
			if c.key != "" {
				l.cells = append(l.cells, c)
			}
		}
		rows = append(rows, l)
	}
	if titles == nil {
		p.errorf(noReadings, p.file.start, "the file has no rows")
		return
	}
	// Spreads and zeros first, wherever they stand.
	var plainRows []line
	for _, l := range rows {
		switch special(l) {
		case "±":
			p.accuracy(only(l))
		case "zero":
			p.zeros(only(l))
		default:
			plainRows = append(plainRows, l)
		}
	}
	for _, l := range plainRows {
		p.row(l)
	}
}

// comma returns what separates the values of the title row.
func comma(data []byte) rune {
	for l := range bytes.Lines(data) {
		if l := bytes.TrimSpace(l); len(l) == 0 || l[0] == '#' {
			continue
		}
		for _, c := range ";\t" {
			if bytes.ContainsRune(l, c) {
				return c
			}
		}
		break
	}
	return ','
}

// title reads the title of a column, which may end in a unit in brackets.
func title(text string, at source.Span) cell {
	text = strings.TrimSpace(text)
	c := cell{key: text, keyAt: at}
	if name, unit, ok := strings.Cut(text, "("); ok && strings.HasSuffix(unit, ")") {
		c.key, c.unit = strings.TrimSpace(name), strings.TrimSpace(strings.TrimSuffix(unit, ")"))
	}
	return c
}

// titles checks the title row. Only if it is right do the rows mean anything.
func (p *parser) titles(titles []cell) bool {
	ok, sided := true, false
	seen := map[string]source.Span{}
	for _, c := range titles {
		if c.key == "" {
			continue
		}
		m, known := p.meaning(c.key, c.keyAt)
		ok = ok && known
		sided = sided || m.side
		if first, there := seen[plain(c.key)]; there {
			p.report(diag.Errorf(twice, c.keyAt, "there are two columns %q", c.key).WithNote(first, "the first one"))
			ok = false
		}
		seen[plain(c.key)] = c.keyAt
	}
	if ok && !sided {
		p.errorf(badSide, p.file.start, "the title row has no column \"side\"")
	}
	return ok && sided
}

// special returns "±" or "zero" for a row that holds no readings.
func special(l line) string {
	for _, c := range l.cells {
		if plain(c.key) == sideKey {
			switch plain(c.text) {
			case "±", "+/-":
				return "±"
			case "zero":
				return "zero"
			}
		}
	}
	return ""
}

// only returns the filled cells of a row apart from its side, a depth under the
// name that spreads and zeros have for it.
func only(l line) line {
	out := line{at: l.at}
	for _, c := range l.cells {
		if c.text == "" || plain(c.key) == sideKey || plain(c.key) == noteKey {
			continue
		}
		if strings.HasSuffix(plain(c.key), " depth") {
			c.key = "depth"
		}
		out.cells = append(out.cells, c)
	}
	return out
}

// syntax reports that the file is no such table.
func (p *parser) syntax(file *source.File, err error, skip int) {
	var pe *csv.ParseError
	if !errors.As(err, &pe) {
		p.errorf(badCSV, file.Start(), "%v", err)
		return
	}
	start := file.LineStart(pe.Line) + pe.Column - 1
	if pe.Line == 1 {
		start += skip
	}
	start = max(0, min(start, len(file.Data)))
	say := map[error]string{csv.ErrBareQuote: "a quote stands inside a cell that is not in quotes", csv.ErrQuote: "a quoted cell is not closed"}[pe.Err]
	if say == "" {
		say = pe.Err.Error()
	}
	p.report(diag.Errorf(badCSV, file.Span(start, min(start+1, len(file.Data))), "%s", say).WithHelp(`put the cell in quotes and double a quote inside it, "0.5 ""in""", or write in for inches`))
}
