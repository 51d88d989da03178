// The page as one file: requests go to the core inside it instead of to a
// server, and addresses stand behind the # so that "back" works.
"use strict";
(() => {
  const jar = new Map();
  const store = (() => { try { return window.localStorage; } catch { return null; } })();
  try { for (const [k, v] of JSON.parse(store?.getItem("kartwright") ?? "[]")) jar.set(k, v); } catch { /* nothing kept */ }
  const none = new Uint8Array(0);

  // call asks the core, keeps its cookies and follows where it leads.
  function call(method, url, type, body) {
    for (let hops = 0; ; hops++) {
      const r = window.kartwrightRespond(method, url, type, [...jar].map(([k, v]) => k + "=" + v).join("; "), body);
      for (const c of r.cookies) { const at = c.indexOf("="); jar.set(c.slice(0, at), c.slice(at + 1)); }
      if (r.cookies.length) try { store?.setItem("kartwright", JSON.stringify([...jar])); } catch { /* not kept */ }
      if (!(r.status >= 300 && r.status < 400) || hops > 5) return { ...r, url, moved: hops > 0 };
      [method, url, type, body] = ["GET", r.location, "", none];
    }
  }
  window.kartwrightAsk = async (method, url, body) => {
    const r = call(method, url, body === null ? "" : "application/x-www-form-urlencoded", body === null ? none : new TextEncoder().encode(body));
    return { ok: r.status < 400, text: r.body };
  };

  let shown = null;
  function show(r, keep) {
    const doc = new DOMParser().parseFromString(r.body, "text/html");
    for (const s of doc.querySelectorAll("script,link")) s.remove();
    const look = doc.documentElement.dataset.look;
    if (look) document.documentElement.dataset.look = look; else delete document.documentElement.dataset.look;
    document.title = doc.title;
    document.body.replaceChildren(...doc.body.childNodes);
    window.kartwrightReady?.();
    shown = r.url;
    if (!keep) { window.scrollTo(0, 0); document.getElementById("main")?.focus({ preventScroll: true }); }
  }
  const go = (url) => { if (location.hash === "#" + url) show(call("GET", url, "", none)); else location.hash = "#" + url; };
  function fromHash() {
    const url = decodeHash();
    if (url !== shown) show(call("GET", url, "", none));
  }
  function decodeHash() { const h = location.hash.slice(1); return h.startsWith("/") ? h : "/"; }

  document.addEventListener("click", (e) => {
    const a = e.target.closest?.("a[href]");
    if (!a || e.ctrlKey || e.metaKey || e.shiftKey) return;
    const to = a.getAttribute("href");
    if (a.download) {
      e.preventDefault();
      window.kartwrightKeep(new Blob([call("GET", to, "", none).body], { type: "image/svg+xml" }), a.download);
    } else if (to.startsWith("/")) { e.preventDefault(); go(to); }
    else if (to.startsWith("#")) { e.preventDefault(); document.getElementById(to.slice(1))?.focus(); }
  });
  document.addEventListener("submit", async (e) => {
    e.preventDefault();
    const form = e.target, to = form.getAttribute("action"), fields = new FormData(form, e.submitter);
    if ((form.getAttribute("method") ?? "get").toLowerCase() === "get") { go(to + "?" + new URLSearchParams(fields)); return; }
    const sent = new Response(form.enctype === "multipart/form-data" ? fields : new URLSearchParams(fields));
    const r = call("POST", to, sent.headers.get("Content-Type"), new Uint8Array(await sent.arrayBuffer()));
    const same = r.moved && r.url === shown;
    show(r, same);
    if (r.moved) history.replaceState(null, "", "#" + r.url);
  });

  window.kartwrightData = document.getElementById("data").textContent;
  window.kartwrightFailed = (why) => { document.getElementById("wait").textContent = "It does not open: " + why; };
  window.kartwrightOpen = () => { window.addEventListener("hashchange", fromHash); show(call("GET", decodeHash(), "", none)); };
  (async () => {
    try {
      const text = atob(document.getElementById("core").textContent);
      const packed = Uint8Array.from(text, (c) => c.charCodeAt(0));
      document.getElementById("core").remove();
      const code = await new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
      const core = new window.Go();
      core.run((await WebAssembly.instantiate(code, core.importObject)).instance);
    } catch (why) { window.kartwrightFailed(String(why)); }
  })();
})();
