//go:build browser

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image/png"
	"math/rand/v2"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"kartwright/advisor/profile/demo"
	"kartwright/cmd/kartwright/internal/web"
	"kartwright/cmd/kartwright/internal/web/offline"
	"kartwright/rulesets"
)

func demoText(t *testing.T, name string) string {
	t.Helper()
	data, ok := demo.Read(name)
	require.True(t, ok)
	return string(data)
}

// A browser opens pages of a site and notes what they ask of the network and
// what they complain of.
type browser struct {
	t   *testing.T
	ctx context.Context
	url string // of the site

	mu    sync.Mutex
	asked []string
	said  []string
}

// needed skips a test for want of something, but never in CI.
func needed(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(what + " is missing; .ci/run installs it")
	}
	t.Skip(what + " is missing; .ci/run installs it")
}

func openBrowser(t *testing.T, url string) *browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		needed(t, "chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path))
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox) // Chromium refuses to start as root otherwise
	}
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	// The first call starts the browser, and a timeout on it would end it.
	require.NoError(t, chromedp.Do(ctx))
	ctx, cancel = context.WithTimeout(ctx, 8*time.Minute)
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx, url: url}
	b.media("", "light")
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	go func() {
		for e, err := range chromedp.Events(ctx, network.RequestWillBeSent) {
			if err != nil {
				return
			}
			b.mu.Lock()
			b.asked = append(b.asked, e.Request.URL)
			b.mu.Unlock()
		}
	}()
	go func() {
		for m, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			b.mu.Lock()
			b.said = append(b.said, fmt.Sprintf("%+v", m))
			b.mu.Unlock()
		}
	}()
	t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, u := range b.asked {
			if !strings.HasPrefix(u, url) && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "blob:") {
				t.Errorf("a page asked for %s, which is not of this site", u)
			}
		}
		for _, m := range b.said {
			if strings.Contains(m, "Content Security Policy") || strings.Contains(m, "Uncaught") {
				t.Errorf("the browser complained: %s", m)
			}
		}
	})
	return b
}

// serve opens a site in a browser.
func serve(t *testing.T) (*shop, *browser) {
	s := newShop(t)
	server := httptest.NewServer(s.Handler(nil))
	t.Cleanup(server.Close)
	return s, openBrowser(t, server.URL)
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.url + path))
}

// until waits for a condition in JavaScript: what a click leads to is there only
// some time after it, and the page may be replaced meanwhile.
func (b *browser) until(condition string) {
	b.t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(40 * time.Millisecond) {
		ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`document.readyState === "complete" && !!(`+condition+`)`))
		if err == nil && ok {
			return
		}
	}
	text, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](`document.body.innerText`))
	b.t.Fatalf("%s did not come true; the page says (%v):\n%s", condition, err, text)
}

func eval[T any](b *browser, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return v
}

// click clicks the middle of what a selector finds, as a finger does, so that
// something that lies over it would be noticed. It waits until that has come to rest:
// a page that still scrolls or grows would take the click elsewhere.
func (b *browser) click(selector string) {
	b.t.Helper()
	place := `(() => {
		const e = document.querySelector(` + strconv.Quote(selector) + `)
		if (!e) return ""
		e.scrollIntoView({block: "nearest", behavior: "instant"})
		const r = e.getBoundingClientRect()
		return [r.x, r.y, r.width, r.height].join()
	})()`
	last := ""
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(60 * time.Millisecond) {
		at, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](place))
		if err == nil && at != "" && at == last {
			break
		}
		last = at
	}
	b.do(chromedp.Click(chromedp.CSS(selector), chromedp.NodeVisible))
}

func (b *browser) size(width int) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(int64(width), 800))
}

// media chooses light or dark, or print; nothing glides away under a click.
func (b *browser) media(kind, scheme string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: kind, Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
	require.NoError(b.t, err)
}

func (b *browser) scripts(on bool) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
	require.NoError(b.t, err)
}

// picked is the part of a choice that a finger touches.
func picked(name, value string) string {
	return fmt.Sprintf(`label:has(> input[name=%q][value=%q])`, name, value)
}

// The main job on a small phone: say it, read the answer, get the job card; and
// the same without scripts.
func TestBrowserMainJob(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %t", scripts), func(t *testing.T) {
			_, b := serve(t)
			b.size(320)
			b.scripts(scripts)
			b.open("/")
			b.click("details summary")
			b.click(picked("say", "bind"))
			b.click(picked("phase", "exit"))
			b.click(picked("how", "strong"))
			b.click(picked("track", "tight"))
			b.click("form.say button.go")
			b.until(`document.querySelector("h1")?.innerText.startsWith("Try first: more caster")`)
			for _, want := range []string{"Tighten it 0.82 turn (about 13/16)", "depth gauge", "Take care", "To undo it"} {
				if text := eval[string](b, `document.body.innerText`); !strings.Contains(text, want) {
					t.Errorf("the answer does not say %q:\n%s", want, text)
				}
			}
			b.click("a.button.go")
			b.until(`document.querySelector("h1")?.innerText.startsWith("Job card: More caster")`)
			if n := eval[int](b, `document.querySelectorAll(".ticks input").length`); n < 5 {
				t.Errorf("the job card has %d steps to tick, want at least 5", n)
			}
			b.click(".ticks li:first-child label")
			if n := eval[int](b, `document.querySelectorAll(".ticks input:checked").length`); n != 1 {
				t.Errorf("after a tap on the first step %d are ticked, want 1", n)
			}
		})
	}
}

func TestBrowserDriversWords(t *testing.T) {
	_, b := serve(t)
	b.size(390)
	b.open("/")
	b.do(chromedp.SendKeys(chromedp.CSS("#text"), "pushes on the way in at the hairpins, fine on exit, new tyres, track is green"))
	b.click("form.say button.go")
	b.until(`document.querySelector("h1")?.innerText === "Try first: more toe-out"`)
	b.do(chromedp.NavigateBack())
	b.until(`document.querySelector("#text")?.value.startsWith("pushes")`)
}

// Figures follow a control while it moves, with the mouse and with the keyboard,
// and without scripts after a button.
func TestBrowserTurnIt(t *testing.T) {
	_, b := serve(t)
	b.size(390)
	b.open("/turn")
	b.click(`button[value="l0:1"]`)
	b.until(`document.querySelector("#says-l0").textContent === "0.06 turns tighter" && document.querySelector("#strip-caster").textContent === "12.05°"`)
	b.do(chromedp.Focus(chromedp.CSS("#l2")))
	for range 3 {
		b.do(chromedp.KeyEvent("\u0304")) // right arrow
	}
	b.until(`document.querySelector("#says-l2").textContent === "0.03 turns longer" && document.querySelector("#strip-toe").textContent === "-0.07°"`)
	if at := eval[string](b, `location.pathname+location.search`); at != "/turn" {
		t.Errorf("moving a control led to %s, want it to stay at /turn", at)
	}
	b.click(`button[value="standard"]`)
	b.until(`document.querySelector("#says-l0").textContent === "standard" && document.querySelector("#live").innerText.includes("Nothing is turned")`)
	b.click(`button[value="l0:1"]`)
	b.until(`document.querySelector("#says-l0").textContent === "0.06 turns tighter"`)
	b.click(`button[value="hold"]`)
	b.until(`document.querySelector("#live h2").textContent === "Compared with the held setting"`)
	b.click(`label:has(> input[name=apart][type=checkbox])`)
	b.until(`document.querySelector("#says-r0")?.textContent === "0.06 turns tighter"`)

	b.scripts(false)
	b.open("/turn")
	b.click(`button[value="l0:1"]`)
	b.until(`document.querySelector("#says-l0").textContent === "0.06 turns tighter"`)
}

// retype replaces what the rules editor holds, as a person does.
func (b *browser) retype(text string) {
	b.t.Helper()
	b.until(`document.querySelector("#pad")`)
	eval[chromedp.Void](b, `document.querySelector("#pad").focus(); getSelection().selectAllChildren(document.querySelector("#pad"))`)
	b.do(chromedp.KeyEvent(kb.Delete), chromedp.SendKeys(chromedp.CSS("#pad"), text))
}

// underLine is how far a finding lies below the line it belongs to, and the next
// line below the finding, in px; and what that line is.
const underLine = `(() => {
	const f = document.querySelector("#check [data-line]"), bad = document.querySelector(".pad .bad");
	if (!f || !bad) return "nothing is found";
	const next = document.createRange();
	next.selectNode(bad.nextSibling);
	const at = f.getBoundingClientRect(), line = [...bad.getClientRects()].pop(), below = [...next.getClientRects()].find(r => r.width);
	const ok = Math.abs(at.top - line.bottom) < 8 && below.top >= at.bottom - 1 && below.top < at.bottom + 12 && at.height > 20;
	return (ok ? "under " : at.top + " to " + at.bottom + " between " + line.bottom + " and " + below.top + " ") + bad.textContent;
})()`

// A rule with an error is explained under its line while it is written, is not
// saved, and is not lost.
func TestBrowserRuleEdit(t *testing.T) {
	s, b := serve(t)
	bad := strings.Replace(goodClub, "caster =", "casster =", 1)
	const line = `under vote = { casster = "+1 deg" }`
	for _, width := range []int{320, 1280} {
		b.size(width)
		b.open("/club")
		b.retype(bad)
		b.until(`document.querySelector("#check .found")?.innerText.includes("Did you mean")`)
		if got := eval[string](b, underLine); got != line {
			t.Errorf("at %d px what is found lies %s, want it %s", width, got, line)
		}
	}
	if got := eval[string](b, `document.querySelector(".pad u").textContent`); got != "casster" {
		t.Errorf("%q is underlined, want the word that is wrong", got)
	}
	b.until(`document.querySelector("#says").textContent === "1 error: line 9."`)
	if got := eval[string](b, `["role", "aria-multiline", "aria-invalid", "aria-describedby"].map(x => document.querySelector("#pad").getAttribute(x)).join(" ") + " " + document.querySelector("#says").getAttribute("role")`); got != "textbox true true says status" {
		t.Errorf("the editor is to a screen reader %q", got)
	}

	// The finding follows its line, and is told once, not with every letter.
	eval[chromedp.Void](b, `window.told = 0; new MutationObserver(() => { told++ }).observe(document.querySelector("#says"), {childList: true, characterData: true, subtree: true})`)
	eval[chromedp.Void](b, `document.querySelector("#pad").focus(); getSelection().collapse(document.querySelector("#pad").firstChild, 0)`)
	b.do(chromedp.SendKeys(chromedp.CSS("#pad"), "# ours\n"))
	b.until(`document.querySelector("#says").textContent === "1 error: line 10."`)
	if got := eval[string](b, underLine); got != line {
		t.Errorf("after a new first line what is found lies %s, want it %s", got, line)
	}
	if n := eval[int](b, `told`); n != 1 {
		t.Errorf("while a line was written a screen reader was told %d times, want once", n)
	}

	// The keyboard goes on to the finding and from there to its place.
	b.do(chromedp.KeyEvent(kb.Tab))
	b.until(`document.activeElement.innerText === "Line 10"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.until(`document.activeElement.id === "pad" && getSelection().toString() === "casster"`)
	b.do(chromedp.SendKeys(chromedp.CSS("#pad"), "caster"))
	b.until(`document.querySelector("#says").textContent.startsWith("No errors") && !document.querySelector(".pad .bad")`)
	if got, want := eval[string](b, `document.querySelector("#rules-text").value`), "# ours\n"+goodClub; got != want {
		t.Errorf("the text is %q, want %q", got, want)
	}
	for range 3 {
		b.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(kb.ModifierCtrl)))
	}
	b.until(`document.querySelector("#rules-text").value.includes("casster")`)

	b.click("form[action='/club'] button.go")
	b.until(`document.querySelector("h1").innerText.startsWith("Not saved") && document.querySelector("#check .found")`)
	if got := eval[string](b, `document.querySelector("#rules-text").value`); !strings.Contains(got, strings.TrimSpace(bad)) || s.file != nil {
		t.Errorf("after the refusal the editor has %q and the file %q, want the text kept and no file", got, s.file)
	}
	if got := eval[string](b, underLine); got != line {
		t.Errorf("after the refusal what is found lies %s, want it %s", got, line)
	}
	b.retype(goodClub)
	b.until(`document.querySelector("#says").textContent.startsWith("No errors")`)
	b.click("form[action='/club'] button.go")
	b.until(`document.querySelector(".done[role=status]")?.innerText.startsWith("Saved")`)
	if string(s.file) != goodClub {
		t.Errorf("the file holds %q, want the text", s.file)
	}
}

// The editor that makes room under its lines edits as the plain field does,
// whatever is found meanwhile.
func TestBrowserRuleEditsAsAField(t *testing.T) {
	_, b := serve(t)
	b.size(1280)
	bad := strings.Replace(strings.Replace(goodClub, "caster =", "casster =", 1), "0.8", "1.8", 1)
	keys := []string{kb.Enter, kb.Enter, kb.Backspace, kb.Delete, kb.ArrowLeft, kb.ArrowRight, kb.Home, kb.End, "a", "=", " ", "\"", "#"}
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 7))
		b.open("/club")
		b.until(`document.querySelector("#pad")`)
		eval[chromedp.Void](b, fmt.Sprintf(`(() => {
			const pad = document.querySelector("#pad"), field = document.createElement("textarea");
			field.id = "field";
			field.className = "code";
			field.value = %q;
			pad.closest("main").append(field);
			pad.focus();
			document.execCommand("selectAll");
			document.execCommand("insertText", false, field.value);
		})()`, bad))
		b.until(`document.querySelectorAll(".pad .bad").length === 2`)
		// The caret begins on one of the faulty lines.
		at := strings.Index(bad, []string{"casster", "1.8", "source"}[r.IntN(3)]) + r.IntN(4)
		eval[chromedp.Void](b, fmt.Sprintf(`(() => {
			const field = document.querySelector("#field"), texts = document.createTreeWalker(document.querySelector("#pad"), NodeFilter.SHOW_TEXT);
			field.setSelectionRange(%[1]d, %[1]d);
			for (let n = %[1]d; texts.nextNode(); n -= texts.currentNode.data.length)
				if (n <= texts.currentNode.data.length) { getSelection().collapse(texts.currentNode, n); break; }
		})()`, at))
		var pressed []string
		for i := range 30 {
			pressed = append(pressed, keys[r.IntN(len(keys))])
			b.do(chromedp.KeyEvent(pressed[i]))
			if i%6 == 5 {
				time.Sleep(time.Duration(r.IntN(2)) * 500 * time.Millisecond) // time for a check, or none
			}
		}
		eval[chromedp.Void](b, `document.querySelector("#field").focus()`)
		for _, key := range pressed {
			b.do(chromedp.KeyEvent(key))
		}
		if got, want := eval[string](b, `document.querySelector("#rules-text").value.trimEnd()`), eval[string](b, `document.querySelector("#field").value.trimEnd()`); got != want {
			t.Errorf("seed %d: after %q from %d the editor holds\n%s\nwant, as in a plain field,\n%s", seed, pressed, at, got, want)
		}
	}
}

// Without scripts a check shows the text line by line, with what is wrong under
// its line, and keeps the field as it was.
func TestBrowserRuleEditPlain(t *testing.T) {
	s, b := serve(t)
	b.size(320)
	b.scripts(false)
	b.open("/club")
	bad := strings.Replace(goodClub, "caster =", "casster =", 1)
	b.do(chromedp.Clear(chromedp.CSS("#rules-text")), chromedp.SendKeys(chromedp.CSS("#rules-text"), bad))
	b.click("button[name=check]")
	b.until(`document.querySelector("#listing")`)
	if got := eval[string](b, `document.querySelector("#line-9").innerText + "|" + document.querySelector("#line-10").innerText + "|" + document.querySelector("#says").innerText`); !strings.HasPrefix(got, "vote = { casster") || !strings.Contains(got, "^^^^^^^") || !strings.Contains(got, "Did you mean") || !strings.Contains(got, "|confidence = 0.8|1 error: line 9.") {
		t.Errorf("the lines of the check say %q", got)
	}
	if got := eval[string](b, `document.querySelector("#rules-text").value`); strings.TrimSpace(got) != strings.TrimSpace(bad) || s.file != nil {
		t.Errorf("after the check the field has %q and the file %q, want the text and no file", got, s.file)
	}
	if got := eval[int](b, `document.documentElement.scrollWidth`); got > 320 {
		t.Errorf("the check is %d px wide on a screen of 320", got)
	}
}

// A job card is one page of A4 and of Letter, whatever is turned on whatever
// kart, and prints neither menu nor buttons.
func TestBrowserPrint(t *testing.T) {
	_, b := serve(t)
	sheets := regexp.MustCompile(`/Type\s*/Page\b`)
	for _, card := range []string{
		"/card?say=bind&phase=exit&track=tight", "/card?text=pushes+on+the+way+in+at+the+hairpins%2C+fine+on+exit%2C+new+tyres%2C+track+is+green", "/card?at=1,2,0.5_1,2,0.5&kart=alder", "/card?at=1,2,0.5_-1,-2,-0.5&kart=alder", "/card?at=2,-3,0.5_1,1,-0.5&kart=cedar", "/card?at=1,0.5_1,0.5&kart=birch", "/card?at=7,4,1_8,1,1&kart=dogwood",
	} {
		b.open(card)
		for paper, size := range map[string][2]float64{"A4": {8.27, 11.69}, "Letter": {8.5, 11}} {
			res, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: size[0], PaperHeight: size[1], PreferCSSPageSize: new(true)})
			require.NoError(t, err)
			if n := len(sheets.FindAll(res.Data, -1)); n != 1 {
				t.Errorf("%s prints on %d pages of %s, want 1", card, n, paper)
			}
		}
		b.media("print", "dark")
		for _, hidden := range []string{"header.board", "footer", ".bar.noprint"} {
			if eval[bool](b, fmt.Sprintf(`document.querySelector(%q)?.offsetParent != null`, hidden)) {
				t.Errorf("%s prints %s", card, hidden)
			}
		}
		if got := eval[string](b, `getComputedStyle(document.querySelector(".card h1")).color`); got != "rgb(0, 0, 0)" {
			t.Errorf("%s prints in %s from a dark screen, want black", card, got)
		}
		b.media("", "light")
	}
}

// keeps sends what the browser stores to a folder, and returns it.
func (b *browser) keeps() string {
	b.t.Helper()
	dir := b.t.TempDir()
	_, err := chromedp.Call(b.ctx, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: cdpbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	require.NoError(b.t, err)
	return dir
}

// kept waits for a file that the browser stores.
func (b *browser) kept(path string) []byte {
	b.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if data, err := os.ReadFile(path); err == nil && len(data) > 0 {
			return data
		}
	}
	b.t.Fatalf("%s was not stored", path)
	return nil
}

// The card is kept as an image without scripts, and as PNG with them; whatever
// is turned on whatever kart, its words lie in their places.
func TestBrowserCardImage(t *testing.T) {
	_, b := serve(t)
	b.size(320)
	for _, units := range []string{"mm", "inch"} {
		if units == "inch" {
			b.open("/")
			b.click(`button[value=inch]`)
			b.until(`document.querySelector("button[value=inch][aria-pressed=true]")`)
		}
		for _, query := range []string{"say=bind&phase=exit&track=tight", "text=pushes+on+the+way+in+at+the+hairpins%2C+fine+on+exit%2C+new+tyres%2C+track+is+green", "at=1,2,0.5_-1,-2,-0.5&kart=alder", "at=2,-3,0.5_1,1,-0.5&kart=cedar", "at=1,0.5_1,0.5&kart=birch", "at=7,4,1_8,1,1&kart=dogwood"} {
			b.open("/card?" + query)
			faults := eval[string](b, `(async () => {
				const text = await (await fetch(document.querySelector("a[download]").href)).text();
				const place = document.createElement("div");
				place.innerHTML = text;
				document.body.append(place);
				const svg = place.querySelector("svg"), bad = [];
				const all = [...svg.querySelectorAll("text")].map(e => ({ t: e.textContent, b: e.getBBox() }));
				for (const { t, b } of all) if (b.x < 10 || b.x + b.width > 350 || b.y < 0 || b.y + b.height > svg.viewBox.baseVal.height) bad.push("out of the image: " + t);
				// Ink is lower than a line's box, which may touch the next.
				const ink = (b) => ({ x: b.x, r: b.x + b.width, y: b.y + 0.22 * b.height, e: b.y + 0.95 * b.height });
				for (let i = 0; i < all.length; i++) for (let j = 0; j < i; j++) {
					const p = ink(all[i].b), q = ink(all[j].b);
					if (p.x < q.r && q.x < p.r && p.y < q.e && q.y < p.e) bad.push(all[i].t + " lies over " + all[j].t);
				}
				place.remove();
				return all.length < 40 ? "it has only " + all.length + " texts" : bad.join("\n");
			})()`)
			if faults != "" {
				t.Errorf("the image of the card %s in %s: %s", query, units, faults)
			}
		}
	}
	dir := b.keeps()
	b.click("button[data-png]")
	picture, err := png.DecodeConfig(bytes.NewReader(b.kept(filepath.Join(dir, "job-card-dogwood.png"))))
	require.NoError(t, err)
	if picture.Width != 1080 || picture.Height < 2*picture.Width {
		t.Errorf("the PNG is %d by %d dots, want 1080 across and a card's height", picture.Width, picture.Height)
	}
	b.until(`document.querySelector("#kept").innerText.includes("downloads")`)
	b.scripts(false)
	b.open("/card?say=bind&phase=exit&track=tight&kart=alder")
	b.click("a[download]")
	if data := b.kept(filepath.Join(dir, "job-card-alder.svg")); !bytes.HasPrefix(data, []byte("<svg ")) {
		t.Errorf("without scripts the image is stored as %.60q", data)
	}
}

// A test day from the question to a run's laps on a small phone, with and
// without scripts: a slip is named and what was typed stays.
func TestBrowserTestDay(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %t", scripts), func(t *testing.T) {
			s, b := serve(t)
			b.size(320)
			b.media("", "light")
			b.scripts(scripts)
			b.open("/")
			b.click(`nav a[href="/days"]`)
			b.click("a.button.go")
			b.until(`document.querySelector("#c0_what")`)
			b.do(chromedp.SetValue(chromedp.CSS("#c0_what"), "caster"), chromedp.SendKeys(chromedp.CSS("#c0_much"), "+0.5"), chromedp.SendKeys(chromedp.CSS("#c0_name"), "more caster"))
			b.click(".bar button.go")
			b.until(`document.querySelector("[role=alert]")?.innerText.includes("no unit") && document.querySelector("#c0_much").value === "+0.5"`)
			b.do(chromedp.Clear(chromedp.CSS("#c0_much")), chromedp.SendKeys(chromedp.CSS("#c0_much"), "+0.5 deg"))
			b.click(".bar button.go")
			b.until(`document.querySelector("h1").innerText === "A plan of 8 runs"`)
			b.do(chromedp.SendKeys(chromedp.CSS("#called"), "spring"))
			b.click(".keep button.go")
			b.until(`document.querySelector("h1").innerText === "Run 1 of 8: base"`)
			b.do(chromedp.SendKeys(chromedp.CSS("#laps"), "48.61 48.60 4.86"), chromedp.SendKeys(chromedp.CSS("#says"), "pushes on entry"))
			b.click(picked("feel", "same"))
			b.click(".enterrun button.go")
			b.until(`document.querySelector("[role=alert]")?.innerText.includes("Run 1, lap 3") && document.querySelector("#laps").value === "48.61 48.60 4.86" && document.querySelector("#says").value === "pushes on entry" && document.querySelector("input[name=feel][value=same]").checked`)
			b.do(chromedp.Clear(chromedp.CSS("#laps")), chromedp.SendKeys(chromedp.CSS("#laps"), "48.61 48.60 48.62 48.60 48.63"))
			b.click(".enterrun button.go")
			b.until(`document.querySelector("h1").innerText === "Run 2 of 8: more caster" && document.querySelector("[role=status]").innerText === "Recorded."`)
			if got := eval[string](b, `document.querySelector(".now").innerText`); !strings.Contains(got, "tighten it 0.55 turn") {
				t.Errorf("what to turn now is %q", got)
			}
			if text := string(s.days.text["spring"]); !strings.Contains(text, `says = "pushes on entry"`) {
				t.Errorf("the day's file lacks the run:\n%s", text)
			}
			b.click(".back button")
			b.until(`document.querySelector("h1").innerText === "Run 1 of 8: base" && document.querySelector("#laps").value.startsWith("48.61\n48.60\n48.62") && document.querySelector("#says").value === "pushes on entry"`)
			// Whether the kart was set up is asked with a run that was not driven, and only then.
			if eval[bool](b, `document.querySelector("#changed").checkVisibility()`) {
				t.Error("a run that was driven is asked whether the kart was set up for it")
			}
			b.do(chromedp.Clear(chromedp.CSS("#laps")), chromedp.Clear(chromedp.CSS("#says")))
			b.click(picked("feel", ""))
			b.click(picked("what", "missed"))
			b.until(`document.querySelector("#changed").checkVisibility()`)
			b.click(".enterrun button.go")
			b.until(`document.querySelector("[role=alert]")?.innerText.includes("say whether the kart was set up") && document.querySelector("#changed").checkVisibility()`)
			b.click(picked("changed", "no"))
			b.click(".enterrun button.go")
			b.until(`document.querySelector("h1").innerText.startsWith("Run 2 of 8")`)
			b.open("/day/whole/verdict")
			if n := eval[int](b, `[...document.querySelectorAll(".chart svg")].filter(e => e.checkVisibility()).length`); n != 1 {
				t.Errorf("%d charts are to be seen on a phone, want 1", n)
			}
			small := eval[string](b, `[...document.querySelectorAll(".chart.slim svg text")].filter(e => e.getBoundingClientRect().height < 10).map(e => e.textContent).join()`)
			if small != "" {
				t.Errorf("on a phone these words of the chart are too small to read: %s", small)
			}
		})
	}
}

// The run sheet prints without the page's menu, no run torn over two pages.
func TestBrowserRunSheet(t *testing.T) {
	_, b := serve(t)
	b.open("/day/half/sheet")
	b.media("print", "dark")
	for _, hidden := range []string{"header.board", "footer", ".bar.noprint"} {
		if eval[bool](b, fmt.Sprintf(`document.querySelector(%q)?.offsetParent != null`, hidden)) {
			t.Errorf("the run sheet prints %s", hidden)
		}
	}
	if got := eval[string](b, `getComputedStyle(document.querySelector(".daysheet section")).breakInside + " " + getComputedStyle(document.querySelector(".daysheet h2")).color`); got != "avoid rgb(0, 0, 0)" {
		t.Errorf("a run of the sheet prints as %q, want it whole and black", got)
	}
}

// Nothing is wider than the smallest phone, or than a laptop, and what is to be
// touched is large enough.
func TestBrowserLayout(t *testing.T) {
	_, b := serve(t)
	for _, width := range []int{320, 390, 768, 1280} {
		b.size(width)
		for _, p := range pagesOf() {
			b.open(p)
			eval[chromedp.Void](b, `document.querySelectorAll("details").forEach(d => d.open = true)`)
			if got := eval[int](b, `document.documentElement.scrollWidth`); got > width {
				wide := eval[string](b, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll,pre,svg,.sr")).map(e => e.outerHTML.slice(0, 80)).slice(0, 3).join("\n")`)
				t.Errorf("%s is %d px wide on a screen of %d:\n%s", p, got, width, wide)
			}
			small := eval[string](b, `[...document.querySelectorAll("button, a.button, nav a, select, summary, .pick span, input:not([type=hidden]):not(.sr)")].filter(e => e.checkVisibility() && !e.closest(".pick, .tick, .ticks") && !e.classList.contains("sr") && e.getBoundingClientRect().height < 44).map(e => e.outerHTML.slice(0, 80) + " " + e.getBoundingClientRect().height).join("\n")`)
			if small != "" {
				t.Errorf("%s at %d px has targets lower than 44 px:\n%s", p, width, small)
			}
		}
	}
}

// The page as one file does the main job and Turn it from a phone's storage, with
// no server and no network, and keeps what was chosen in it.
func TestBrowserOfflineFile(t *testing.T) {
	core, err := offline.BuildCore(".")
	require.NoError(t, err)
	file, err := offline.Page(core, web.Carried{Rules: []string{rulesets.Default}, Words: []string{"en.toml"}, KartFile: "mine.toml", Kart: strings.Replace(demoText(t, "cedar"), `name = "Cedar"`, `name = "Club kart 7"`, 1)})
	require.NoError(t, err)
	t.Logf("the file has %.1f MB", float64(len(file))/1e6)
	if len(file) > 12_000_000 {
		t.Errorf("the file has %d bytes, want at most 12 MB", len(file))
	}
	path := filepath.Join(t.TempDir(), "kartwright.html")
	require.NoError(t, os.WriteFile(path, file, 0o644))

	b := openBrowser(t, "file://"+path)
	_, err = chromedp.Call(b.ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: true})
	require.NoError(t, err)
	b.size(320)
	began := time.Now()
	b.open("")
	b.until(`document.querySelector("h1")?.innerText === "What does the kart do?"`)
	t.Logf("it opened in %v", time.Since(began).Round(10*time.Millisecond))

	b.do(chromedp.SendKeys(chromedp.CSS("#text"), "it bogs on the way out of the hairpins, the inside rear stays down"))
	b.click("form.say button.go")
	b.until(`document.querySelector("h1")?.innerText.startsWith("Try first: more caster") && document.body.innerText.includes("Kart Club kart 7")`)
	b.click("a.button.go")
	b.until(`document.querySelector("h1")?.innerText.startsWith("Job card: More caster") && !document.querySelector("[data-print]").hidden`)
	dir := b.keeps()
	b.do(chromedp.Focus(chromedp.CSS("a[download]")), chromedp.KeyEvent("\r"))
	if data := b.kept(filepath.Join(dir, "job-card-club-kart-7.svg")); !bytes.Contains(data, []byte("Kart Club kart 7")) {
		t.Errorf("the file without signal stores the card as %.60q", data)
	}
	b.do(chromedp.NavigateBack())
	b.until(`document.querySelector("h1")?.innerText.startsWith("Try first: more caster")`)

	b.click(`nav a[href="/turn"]`)
	b.until(`document.querySelector("#says-l0")`)
	b.do(chromedp.SetValue(chromedp.CSS("#kart"), "alder"))
	eval[chromedp.Void](b, `document.querySelector("#kart").dispatchEvent(new Event("change", {bubbles: true}))`)
	b.until(`document.querySelector("#says-l0")?.textContent === "standard"`)
	b.click(`button[value="l0:1"]`)
	b.until(`document.querySelector("#says-l0").textContent === "0.06 turns tighter" && document.querySelector("#strip-caster").textContent === "12.05°"`)
	b.click(`button[value="hold"]`)
	b.until(`document.querySelector("#live h2").textContent === "Compared with the held setting"`)

	b.click(`button[value="dark"]`)
	b.until(`document.documentElement.dataset.look === "dark" && document.querySelector("h1").innerText === "Turn it"`)

	b.click(`nav a[href="/measure"]`)
	b.until(`document.querySelector("#left_camber")`)
	b.do(chromedp.SendKeys(chromedp.CSS("#left_camber"), "-1.0 deg"), chromedp.SendKeys(chromedp.CSS("#right_camber"), "-1.5 deg"))
	b.click("form.readings button.go")
	b.until(`document.querySelector("[role=status]")?.innerText === "Something is out." && document.body.innerText.includes("should read")`)
	b.click(`nav a[href="/learn"]`)
	b.click(`a[href="/learn/caster"]`)
	b.until(`document.querySelector("#says-wheels")?.textContent === "15.0°"`)
	b.do(chromedp.Focus(chromedp.CSS("#wheels")), chromedp.KeyEvent("\u0304"))
	b.until(`document.querySelector("#says-wheels").textContent === "15.5°"`)

	b.open("#/club")
	b.retype(goodClub)
	b.until(`document.querySelector("#says").textContent.startsWith("No errors")`)
	b.click("form[action='/club'] button.go")
	b.until(`document.querySelector(".done[role=status]")?.innerText.startsWith("Saved")`)
	b.open("#/answer?say=light_steering&phase=entry&grip=low")
	b.until(`document.body.innerText.includes("On our dusty track")`)

	b.open("#/karts")
	b.until(`document.querySelector("#file")`)
	own := filepath.Join(t.TempDir(), "elm7.toml")
	require.NoError(t, os.WriteFile(own, []byte(strings.Replace(demoText(t, "elm"), `name = "Elm"`, `name = "Elm seven"`, 1)), 0o644))
	b.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{own}))
	b.click("form.open button.go")
	b.until(`document.body.innerText.includes("Elm seven – chosen")`)
}

// axeFile is where .ci/run puts the checker.
func axeFile() string {
	if f := os.Getenv("AXE"); f != "" {
		return f
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(cache, "kartwright-test", "node_modules", "axe-core", "axe.min.js")
}

// violation is what axe-core finds.
type violation struct {
	ID, Impact, Help string
	Nodes            []struct {
		HTML           string
		FailureSummary string
	}
}

// axe runs the checker on the page that is open: WCAG 2.2 A and AA, and its own
// good practice.
func (b *browser) axe(script, where string) {
	b.t.Helper()
	eval[chromedp.Void](b, script+";void 0")
	text := eval[string](b, `axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]}).then(r => JSON.stringify(r.violations))`)
	var found []violation
	require.NoError(b.t, json.Unmarshal([]byte(text), &found))
	for _, v := range found {
		var nodes bytes.Buffer
		for i, n := range v.Nodes {
			if i == 3 {
				fmt.Fprintf(&nodes, "  and %d more\n", len(v.Nodes)-3)
				break
			}
			fmt.Fprintf(&nodes, "  %.200s\n  %s\n", n.HTML, strings.ReplaceAll(n.FailureSummary, "\n", " "))
		}
		b.t.Errorf("%s: %s (%s, %s)\n%s", where, v.Help, v.ID, v.Impact, nodes.String())
	}
}

func TestBrowserAccessibility(t *testing.T) {
	script, err := os.ReadFile(axeFile())
	if err != nil {
		needed(t, "axe-core")
	}
	_, b := serve(t)
	for _, c := range []struct {
		name, scheme string
		width        int
	}{{"phone, light", "light", 320}, {"laptop, dark", "dark", 1280}} {
		b.size(c.width)
		b.media("", c.scheme)
		for _, p := range append(pagesOf(), "/rules/nothing") {
			b.open(p)
			eval[chromedp.Void](b, `document.querySelectorAll("details").forEach(d => d.open = true)`)
			b.axe(string(script), p+" on a "+c.name)
		}
	}
	for _, scheme := range []string{"light", "dark"} {
		b.media("", scheme)
		b.open("/club")
		b.retype(strings.Replace(goodClub, "caster =", "casster =", 1))
		b.until(`document.querySelector("#says").textContent === "1 error: line 9."`)
		b.axe(string(script), "the editor with a finding, "+scheme)
	}
	b.open("/")
	b.click(`button[value="sun"]`)
	b.until(`document.documentElement.dataset.look === "sun"`)
	for _, p := range []string{"/", said, "/turn", "/club", "/day/half", "/day/whole/verdict"} {
		b.open(p)
		b.axe(string(script), p+" in bright sun")
	}
}
