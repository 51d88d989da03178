// Package offline writes the page as one file that needs no server and no
// network: its computing core is the page's own site, compiled to WebAssembly.
package offline

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"kartwright/cmd/kartwright/internal/web"
)

//go:generate go run ./build

// built holds the core if it was built before this program was: "go generate"
// here makes core.wasm.gz and its loader.
//
//go:embed built
var built embed.FS

// The names of the files of built.
const (
	coreFile   = "core.wasm.gz"
	loaderFile = "wasm_exec.js"
)

// corePackage is what is compiled.
const corePackage = "kartwright/cmd/kartwright/internal/web/core"

// Core is the compiled core, gzipped, and the script that Go provides to load
// it.
type Core struct{ Wasm, Loader []byte }

// ErrNoGo says that there is no core and that none can be built.
var ErrNoGo = errors.New("this program was built without the page's core, and there is no Go to build it with; use a kartwright that has it, or install Go and run this in kartwright's source")

// BuiltCore returns the core that this program carries; ok is false if it
// carries none.
func BuiltCore() (c Core, ok bool) {
	var err1, err2 error
	c.Wasm, err1 = built.ReadFile("built/" + coreFile)
	c.Loader, err2 = built.ReadFile("built/" + loaderFile)
	return c, err1 == nil && err2 == nil
}

// BuildCore compiles the core with the Go that is installed, from the module
// that dir lies in.
func BuildCore(dir string) (Core, error) {
	goTool, err := exec.LookPath("go")
	if err != nil {
		return Core{}, ErrNoGo
	}
	tmp, err := os.MkdirTemp("", "kartwright-page-")
	if err != nil {
		return Core{}, err
	}
	defer os.RemoveAll(tmp)
	wasm := filepath.Join(tmp, "core.wasm")
	cmd := exec.Command(goTool, "build", "-trimpath", "-ldflags=-s -w", "-o", wasm, corePackage)
	cmd.Dir, cmd.Env = dir, append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	if out, err := cmd.CombinedOutput(); err != nil {
		text := strings.TrimSpace(string(out))
		if strings.Contains(text, "not in std") || strings.Contains(text, "go.mod file not found") || strings.Contains(text, "no required module") {
			return Core{}, errors.New("this program was built without the page's core, and this folder is not kartwright's source to build it from; run it there, or use a kartwright that has it")
		}
		return Core{}, fmt.Errorf("the page's core cannot be built: %w\n%s", err, text)
	}
	root, err := goRoot(goTool)
	if err != nil {
		return Core{}, err
	}
	loader, err := os.ReadFile(filepath.Join(root, "lib", "wasm", loaderFile))
	if err != nil {
		return Core{}, fmt.Errorf("the Go at %s lacks its loader for WebAssembly: %w", root, err)
	}
	raw, err := os.ReadFile(wasm)
	if err != nil {
		return Core{}, err
	}
	var small bytes.Buffer
	z, err := gzip.NewWriterLevel(&small, gzip.BestCompression)
	if err != nil {
		return Core{}, err
	}
	if _, err := z.Write(raw); err != nil {
		return Core{}, err
	}
	if err := z.Close(); err != nil {
		return Core{}, err
	}
	return Core{small.Bytes(), loader}, nil
}

func goRoot(goTool string) (string, error) {
	out, err := exec.Command(goTool, "env", "GOROOT").Output()
	if err != nil {
		return "", fmt.Errorf("go env GOROOT: %w", err)
	}
	return strings.TrimSpace(string(out)), nil
}

//go:embed shell.html shell.js
var shell embed.FS

var page = template.Must(template.ParseFS(shell, "shell.html"))

// Page returns the whole file: the site's own style and script, the loader, the
// core and the data. Its policy lets it ask for nothing.
func Page(c Core, d web.Carried) ([]byte, error) {
	own, err := fs.ReadFile(shell, "shell.js")
	if err != nil {
		return nil, err
	}
	data, err := json.Marshal(d)
	if err != nil {
		return nil, err
	}
	style, scripts := web.Style(), [][]byte{c.Loader, own, web.Script()}
	policy := "default-src 'none'; img-src data:; base-uri 'none'; form-action 'none'; style-src " + hash(style) + "; script-src 'wasm-unsafe-eval'"
	v := struct {
		Policy  string
		Style   template.CSS
		Scripts []template.JS
		Core    template.HTML
		Data    template.JS
	}{Style: template.CSS(style), Core: template.HTML(base64.StdEncoding.EncodeToString(c.Wasm)), Data: template.JS(data)}
	for _, s := range scripts {
		if bytes.Contains(bytes.ToLower(s), []byte("</script")) {
			return nil, errors.New("a script of the page ends its own element")
		}
		v.Scripts = append(v.Scripts, template.JS(s))
		policy += " " + hash(s)
	}
	v.Policy = policy
	var out bytes.Buffer
	if err := page.Execute(&out, v); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// hash is a source's hash as a Content-Security-Policy has it.
func hash(text []byte) string {
	sum := sha256.Sum256(text)
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
