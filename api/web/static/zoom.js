// Looks closer into a chart: drag along it, or keys while it is chosen. Every step is a link of the
// page, so without this file the links do the same.
"use strict";

(() => {
  const LEAST_PX = 12;
  let drag = null;

  function span() {
    const at = document.getElementById("span");
    return at && { first: Number(at.dataset.first), end: Number(at.dataset.end) };
  }

  async function go(address, focused) {
    const live = document.getElementById("live");
    live.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(address, { headers: { Accept: "text/html" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const open = [...document.querySelectorAll("#live details[open][id]")].map((one) => one.id);
      live.replaceWith(fresh.getElementById("live"));
      document.title = fresh.title;
      for (const id of open) document.getElementById(id)?.setAttribute("open", "");
      document.querySelectorAll(".zoomable")[focused]?.focus({ preventScroll: true });
    } catch {
      location.assign(address); // the browser then says itself what is wrong
    }
  }

  function open(address, focused = -1) {
    history.pushState(null, "", address);
    go(address, focused);
  }

  function place(event, chart) {
    const box = chart.getBoundingClientRect();
    return Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
  }

  function show() {
    const [a, b] = [Math.min(drag.from, drag.to), Math.max(drag.from, drag.to)];
    drag.band.style.left = `${a * 100}%`;
    drag.band.style.width = `${(b - a) * 100}%`;
  }

  document.addEventListener("pointerdown", (event) => {
    const chart = event.target.closest?.(".zoomable");
    if (!chart || event.button !== 0) return;
    const band = document.createElement("div");
    band.className = "chosen";
    chart.append(band);
    drag = { chart, band, from: place(event, chart), to: place(event, chart), x: event.clientX };
    show();
  });

  document.addEventListener("pointermove", (event) => {
    if (!drag) return;
    drag.to = place(event, drag.chart);
    show();
    if (event.cancelable) event.preventDefault();
  });

  function letGo(event) {
    if (!drag) return;
    const { chart, band, from, to, x } = drag;
    drag = null;
    band.remove();
    const at = span();
    if (event.type !== "pointerup" || !at || Math.abs(event.clientX - x) < LEAST_PX) return;
    const [a, b] = [Math.min(from, to), Math.max(from, to)];
    const instant = (share) => new Date((at.first + share * (at.end - at.first)) * 60_000).toISOString();
    const asked = new URLSearchParams({ from: instant(a), to: instant(b) });
    open(`${location.pathname}?${asked}`, [...document.querySelectorAll(".zoomable")].indexOf(chart));
  }
  document.addEventListener("pointerup", letGo);
  document.addEventListener("pointercancel", letGo);

  const KEYS = { ArrowLeft: "earlier", ArrowRight: "later", "+": "narrower", "=": "narrower", "-": "wider" };
  document.addEventListener("keydown", (event) => {
    const chart = event.target.closest?.(".zoomable");
    const link = chart && KEYS[event.key] && document.getElementById(KEYS[event.key]);
    if (!link || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    open(link.getAttribute("href"), [...document.querySelectorAll(".zoomable")].indexOf(chart));
  });

  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("#span .steps a");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    open(link.getAttribute("href"));
  });

  addEventListener("popstate", () => go(location.href, -1));
})();
