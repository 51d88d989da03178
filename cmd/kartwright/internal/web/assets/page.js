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
  const ready = () => { for (const b of document.querySelectorAll("[data-print],[data-png]")) b.hidden = false; };
  window.kartwrightReady = ready;
  ready();
})();
