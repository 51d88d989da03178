// The page works without this. It only answers sooner: what follows a form's
// controls is asked for while they move, and put in place.
"use strict";
(() => {
  // ask fetches a part of a page; a page that carries its own core replaces it.
  window.kartwrightAsk ??= async (method, url, body) => {
    const r = await fetch(url, { method, body, headers: body ? { "Content-Type": "application/x-www-form-urlencoded" } : {} });
    return { ok: r.ok, text: await r.text() };
  };
  const fields = (form) => new URLSearchParams(new FormData(form));
  let busy = false, again = null;

  async function refresh(form) {
    if (busy) { again = form; return; }
    busy = true;
    try {
      const place = document.getElementById(form.dataset.live);
      const q = fields(form);
      let r;
      if (form.dataset.check) r = await window.kartwrightAsk("POST", form.dataset.check, q.toString());
      else { q.set("part", "1"); r = await window.kartwrightAsk("GET", form.getAttribute("action") + "?" + q, null); }
      if (r.ok && place?.isConnected) {
        place.innerHTML = r.text;
        for (const s of place.querySelectorAll("[data-for]")) {
          const out = document.getElementById(s.dataset.for);
          if (out) out.textContent = s.textContent;
        }
        form.dispatchEvent(new Event("refreshed"));
      }
    } catch { /* the server is gone: the page stays as it is, and the form still works */ }
    busy = false;
    if (again) { const next = again; again = null; refresh(next); }
  }

  let timer = 0;
  document.addEventListener("input", (e) => {
    const form = e.target.closest?.("form[data-live]");
    if (!form || e.target.hasAttribute("data-reload")) return;
    clearTimeout(timer);
    timer = setTimeout(refresh, form.dataset.check ? 350 : 16, form);
  });
  document.addEventListener("change", (e) => {
    if (e.target.hasAttribute?.("data-reload")) e.target.form.requestSubmit();
  });
  // A button with one step moves its slider here, without a new page.
  document.addEventListener("click", (e) => {
    if (e.target.closest?.("[data-print]")) { window.print(); return; }
    const b = e.target.closest?.("form[data-live] button[name=nudge]");
    if (!b) return;
    const [id, way] = b.value.split(":");
    const slider = document.getElementById(id);
    if (!slider) return;
    e.preventDefault();
    const by = Number(b.dataset.by) || Number(slider.step);
    slider.value = Math.max(slider.min, Math.min(slider.max, Number(slider.value) + way * by));
    for (const n of b.form.querySelectorAll("button[name=nudge]")) n.disabled = false;
    refresh(b.form);
  });
  // keep hands the browser a file to store.
  window.kartwrightKeep = (blob, name) => {
    const a = document.createElement("a");
    a.href = URL.createObjectURL(blob);
    a.download = name;
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 10000);
  };
  // A card's image as PNG, for those who show no SVG: three dots for each of its
  // own, or as many as small browsers can hold.
  document.addEventListener("click", async (e) => {
    const b = e.target.closest?.("[data-png]");
    if (!b) return;
    const say = document.getElementById("kept");
    try {
      const r = await window.kartwrightAsk("GET", b.dataset.png, null);
      const im = new Image();
      im.src = "data:image/svg+xml," + encodeURIComponent(r.text);
      await im.decode();
      const by = Math.min(3, Math.sqrt(16e6 / (im.width * im.height)));
      const c = document.createElement("canvas");
      [c.width, c.height] = [Math.floor(im.width * by), Math.floor(im.height * by)];
      c.getContext("2d").drawImage(im, 0, 0, c.width, c.height);
      const blob = await new Promise((done) => c.toBlob(done, "image/png"));
      if (!r.ok || !blob) throw new Error("no picture");
      window.kartwrightKeep(blob, b.dataset.name);
      say.textContent = b.dataset.name + " is among your downloads.";
    } catch { say.textContent = "This browser cannot make a PNG of it; save the image instead."; }
  });
  // The club's rules. What is wrong stands under its line while it is written, so
  // the field gives way to a pad of plain text whose lines can make room; the
  // field goes on holding the text, for the form. A browser without such pads
  // keeps the field, with the findings below it.
  function editor(form) {
    const area = form.querySelector("textarea"), check = document.getElementById("check"), says = document.getElementById("says");
    const pad = document.createElement("div");
    try { pad.contentEditable = "plaintext-only"; } catch { /* not known here */ }
    const padded = pad.contentEditable === "plaintext-only";
    // What is found is told once the writing pauses, and only if it is new.
    let telling = 0;
    const tell = () => {
      document.getElementById("listing")?.remove();
      clearTimeout(telling);
      const text = check.querySelector("[data-says]")?.textContent ?? "";
      telling = setTimeout(() => { if (says.textContent !== text) says.textContent = text; }, padded ? 900 : 0);
    };
    form.addEventListener("refreshed", tell);
    refresh(form);
    if (!padded) return;

    // The text of nodes: browsers put in newlines, or elements that mean them.
    const read = (root) => {
      let s = "";
      for (const n of root.childNodes) {
        if (n.nodeType === Node.TEXT_NODE) s += n.data;
        else if (n.nodeName === "BR") s += "\n";
        else s += (n.nodeName === "DIV" && s && !s.endsWith("\n") ? "\n" : "") + read(n);
      }
      return s;
    };
    const chosen = () => {
      const sel = getSelection();
      if (!pad.contains(sel.focusNode)) return null;
      return [[sel.anchorNode, sel.anchorOffset], [sel.focusNode, sel.focusOffset]].map(([node, at]) => {
        const r = document.createRange();
        r.selectNodeContents(pad);
        r.setEnd(node, at);
        return read(r.cloneContents()).length;
      });
    };
    const choose = (at) => {
      const place = (n) => {
        const texts = document.createTreeWalker(pad, NodeFilter.SHOW_TEXT);
        let t = null;
        while (texts.nextNode()) {
          t = texts.currentNode;
          if (n <= t.data.length) return [t, n];
          n -= t.data.length;
        }
        return t ? [t, t.data.length] : [pad, 0];
      };
      getSelection().setBaseAndExtent(...place(at[0]), ...place(at[1]));
    };
    // write puts text into the pad, its faulty lines in elements of their own.
    // A newline at the end lets the last line be seen.
    const write = (text, found) => {
      const next = document.createElement("div");
      let plain = "";
      (text.endsWith("\n") ? text.slice(0, -1) : text).split("\n").forEach((line, i) => {
        const f = found.find((x) => Number(x.dataset.line) === i + 1);
        if (!f) { plain += line + "\n"; return; }
        const bad = document.createElement("span"), letters = Array.from(line), at = f.dataset.at.trim().split(" ").map(Number);
        bad.className = "bad";
        let done = 0;
        for (let k = 0; k < at.length; k += 2) {
          if (at[k] - 1 < done || at[k] > letters.length) continue;
          const u = document.createElement("u");
          u.append(letters.slice(at[k] - 1, at[k + 1] - 1).join(""));
          bad.append(letters.slice(done, at[k] - 1).join(""), u);
          done = at[k + 1] - 1;
        }
        bad.append(letters.slice(done).join("") || (done ? "" : "\u200b"));
        next.append(plain, bad);
        plain = "\n";
      });
      next.append(plain);
      const bare = (x) => x.innerHTML.replace(/ style="[^"]*"/g, "");
      if (bare(next) === bare(pad)) return;
      const at = chosen();
      pad.replaceChildren(...next.childNodes);
      if (at) choose(at);
    };
    const text = () => read(pad).replaceAll("\u200b", "");
    const placed = () => [...check.querySelectorAll("[data-line]")];
    // room makes the faulty lines as high as what is said of them, which is then
    // put there.
    const room = () => {
      const list = placed(), bad = [...pad.querySelectorAll(".bad")], top = pad.parentNode.getBoundingClientRect().top;
      list.forEach((f, i) => { bad[i]?.style.setProperty("--room", f.offsetHeight + 7 + "px"); });
      list.forEach((f, i) => {
        const line = [...bad[i]?.getClientRects() ?? []].pop();
        f.hidden = !line;
        if (line) f.style.top = line.bottom + 6 - top + "px";
      });
    };
    let composing = false;
    const show = () => {
      if (composing) return;
      write(text(), placed());
      room();
      pad.setAttribute("aria-invalid", String(!!check.querySelector(".found p:not(.only,.note,.where)")));
    };
    form.addEventListener("refreshed", show);
    new ResizeObserver(room).observe(pad);

    pad.className = "pad code";
    for (const [k, v] of Object.entries({ role: "textbox", "aria-multiline": "true", "aria-labelledby": "rules-label", "aria-describedby": "says", spellcheck: "false", autocapitalize: "off", id: "pad" })) pad.setAttribute(k, v);
    pad.tabIndex = 0;
    write(area.value, []);
    if (text().trimEnd() !== area.value.trimEnd()) return; // something is odd: the field stays
    area.hidden = true;
    area.after(pad);
    pad.parentNode.classList.add("on");
    document.getElementById("rules-label").addEventListener("click", () => pad.focus());
    check.addEventListener("click", (e) => {
      const f = e.target.closest("[data-line]"), bad = pad.querySelectorAll(".bad")[placed().indexOf(f)];
      if (!bad) return;
      pad.focus();
      getSelection().selectAllChildren(bad.querySelector("u") ?? bad);
    });

    // Putting lines into elements spoils the browser's own undo.
    const past = [], future = [];
    let last = 0, kind = "";
    const state = () => [text(), chosen() ?? [0, 0]];
    const step = (from, to) => {
      if (!from.length) return;
      to.push(state());
      const [was, at] = from.pop();
      write(was, []);
      choose(at);
      kind = "";
      pad.dispatchEvent(new Event("input", { bubbles: true }));
    };
    pad.addEventListener("beforeinput", (e) => {
      const back = e.inputType === "historyUndo";
      if (back || e.inputType === "historyRedo") { e.preventDefault(); back ? step(past, future) : step(future, past); return; }
      if (e.inputType !== kind || e.timeStamp - last > 800) past.push(state());
      [last, kind, future.length] = [e.timeStamp, e.inputType, 0];
    });
    pad.addEventListener("keydown", (e) => {
      const key = e.key.toLowerCase();
      if (!(e.ctrlKey || e.metaKey) || e.altKey || (key !== "z" && key !== "y")) return;
      e.preventDefault();
      key === "z" && !e.shiftKey ? step(past, future) : step(future, past);
    });
    pad.addEventListener("compositionstart", () => { composing = true; });
    pad.addEventListener("compositionend", () => { composing = false; });
    pad.addEventListener("input", () => { area.value = text().trimEnd() + "\n"; room(); });
  }
  const ready = () => {
    const form = document.querySelector("form[data-editor]");
    if (form) editor(form);
 for (const b of document.querySelectorAll("[data-print],[data-png]")) b.hidden = false;
  };
  window.kartwrightReady = ready;
  ready();
})();
