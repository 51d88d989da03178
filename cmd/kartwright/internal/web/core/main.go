//go:build js && wasm

// Command core is the page's site inside the page: compiled to WebAssembly it
// answers the same requests as kartwright serve, with no server and no network.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"runtime/debug"
	"syscall/js"

	"kartwright/advisor/complaint"
	"kartwright/advisor/profile"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/rules/diag"
	"kartwright/rulesets"
	"kartwright/rulesets/words"
)

func main() {
	debug.SetGCPercent(200)
	site, err := open(js.Global().Get("kartwrightData").String())
	if err != nil {
		js.Global().Get("kartwrightFailed").Invoke(err.Error())
		return
	}
	js.Global().Set("kartwrightRespond", js.FuncOf(func(_ js.Value, args []js.Value) any {
		body := make([]byte, args[4].Length())
		js.CopyBytesToGo(body, args[4])
		r, err := site.Respond(args[0].String(), args[1].String(), args[2].String(), args[3].String(), body)
		if err != nil {
			r = web.Reply{Status: 400, Body: []byte(err.Error())}
		}
		cookies := make([]any, len(r.Cookies))
		for i, c := range r.Cookies {
			cookies[i] = c
		}
		return map[string]any{"status": r.Status, "location": r.Location, "cookies": cookies, "body": string(r.Body)}
	}))
	js.Global().Get("kartwrightOpen").Invoke()
	select {}
}

// ruleFS has the files that came with the page before the shipped ones.
type ruleFS map[string]string

func (f ruleFS) Open(name string) (fs.File, error) {
	if text, ok := f[name]; ok {
		return web.MemFile(name, []byte(text)), nil
	}
	file, err := rulesets.FS.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return rulesets.FS.Open(path.Base(name))
	}
	return file, err
}

func open(data string) (*web.Site, error) {
	var d web.Carried
	if err := json.Unmarshal([]byte(data), &d); err != nil {
		return nil, fmt.Errorf("what the page carries cannot be read: %w", err)
	}
	c := web.Config{RuleFS: ruleFS(d.RuleFiles), Rules: d.Rules, Club: web.Club{Name: d.Club}}
	if text, ok := d.RuleFiles[d.Club]; ok && d.Club != "" {
		c.Club.Text = []byte(text)
	}
	if d.KartFile != "" {
		k, found := profile.Parse(d.KartFile, []byte(d.Kart))
		if diag.HasErrors(found) {
			return nil, fmt.Errorf("the profile that the page carries: %v", found[0])
		}
		c.Kart = k
	}
	var found []diag.Diagnostic
	if c.Words, found = complaint.Load(words.FS, d.Words...); diag.HasErrors(found) {
		return nil, fmt.Errorf("the words that the page carries: %v", found[0])
	}
	s, found, err := web.New(c)
	if diag.HasErrors(found) {
		return nil, fmt.Errorf("the rules that the page carries: %v", found[0])
	}
	return s, err
}
