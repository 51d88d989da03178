// Command build compiles the page's core into the folder that package offline
// embeds, so that a kartwright built afterwards carries it.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"kartwright/cmd/kartwright/internal/web/offline"
)

func main() {
	c, err := offline.BuildCore(".")
	if err == nil {
		err = os.WriteFile(filepath.Join("built", "core.wasm.gz"), c.Wasm, 0o644)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join("built", "wasm_exec.js"), c.Loader, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
