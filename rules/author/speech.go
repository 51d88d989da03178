package author

import (
	"io/fs"
	"path"

	"kartwright/rules/diag"
	"kartwright/rules/tables"
)

// Speech reads what the phrases of word files, and of those that they extend,
// stand for. What else is in the files is not looked at; the findings are those
// of files that cannot be read at all.
func Speech(fsys fs.FS, names ...string) (Spoken, []diag.Diagnostic, error) {
	s := Spoken{}
	for _, key := range spokenKeys {
		s[key] = map[string]bool{}
	}
	var r tables.Reader
	seen := map[string]bool{}
	for len(names) > 0 {
		name := path.Clean(names[0])
		names = names[1:]
		if seen[name] {
			continue
		}
		seen[name] = true
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, nil, err
		}
		root, _ := r.Read(name, data)
		if root == nil {
			continue
		}
		for _, e := range root.Texts("extends") {
			names = append(names, path.Join(path.Dir(name), e.Text))
		}
		for _, phrase := range root.Tables("phrase") {
			for _, key := range spokenKeys {
				for _, item := range phrase.Texts(key) {
					s[key][item.Text] = true
				}
			}
		}
	}
	return s, r.Findings(), nil
}

var spokenKeys = []string{"symptom", "track", "grip", "tyres"}
