package offline

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"kartwright/cmd/kartwright/internal/web"
)

// The file's policy lets it ask for nothing and run only the scripts that are in
// it, each of which it names by its hash.
func TestPolicy(t *testing.T) {
	page, err := Page(Core{Wasm: []byte{0xfb, 0xff, 0xfe}, Loader: []byte("'use strict';")}, web.Carried{Kart: "</script><b>", KartFile: "a.toml"})
	require.NoError(t, err)
	text := string(page)
	if !strings.Contains(text, `id="core">+//+</script>`) {
		t.Error("the core is not in the file as it was encoded")
	}
	if strings.Contains(text, "</script><b>") {
		t.Error("a profile can end the element that carries it")
	}
	policy := regexp.MustCompile(`Content-Security-Policy" content="([^"]*)"`).FindStringSubmatch(text)
	require.NotNil(t, policy)
	if !strings.HasPrefix(policy[1], "default-src &#39;none&#39;;") || strings.Contains(policy[1], "unsafe-inline") || strings.Contains(policy[1], "http") {
		t.Errorf("the policy lets too much in: %s", policy[1])
	}
	scripts := regexp.MustCompile(`(?s)<script>(.*?)</script>`).FindAllStringSubmatch(text, -1)
	if len(scripts) != 3 {
		t.Fatalf("the file has %d scripts, want the loader, its own and the page's", len(scripts))
	}
	for i, s := range scripts {
		named := strings.ReplaceAll(hash([]byte(s[1])), "'", "&#39;")
		if !strings.Contains(strings.ReplaceAll(policy[1], "&#43;", "+"), named) {
			t.Errorf("script %d is not named by its hash, so no browser would run it", i)
		}
	}
}

func TestScriptThatEndsItself(t *testing.T) {
	if _, err := Page(Core{Loader: []byte("x = '</SCRIPT>'")}, web.Carried{}); err == nil {
		t.Error("a script that ends its own element was written into a page")
	}
}
