// Keeps an open page true: swaps in the newest answer, and says so when touch is lost.
// Without this file everything still works; the page then reloads itself each minute.
"use strict";

(() => {
  const lost = document.getElementById("lost");
  const SILENT_MS = 40_000;
  let heardAt = Date.now();
  let heardTime = lost.dataset.time; // the site's own clock, not this device's
  let waiting = false;
  let busy = false;
  let source = null;

  function inTouch(event) {
    heardAt = Date.now();
    if (event?.data) heardTime = JSON.parse(event.data).time;
    lost.hidden = true;
  }

  function outOfTouch() {
    if (lost.hidden) {
      lost.querySelector("span").textContent = lost.dataset.says.replace("{time}", heardTime);
      lost.hidden = false;
    }
  }

  // Someone who is choosing a name must not have the list taken from under the thumb.
  function someoneIsChoosing() {
    if (document.querySelector("#live [data-still]") !== null) return true; // a form being filled in
    const at = document.activeElement;
    const live = document.getElementById("live");
    const written = [...live.querySelectorAll("input")].some((one) => one.value !== one.defaultValue);
    return written || (at !== null && /^(SELECT|INPUT)$/.test(at.tagName) && live.contains(at));
  }

  const said = (one) => one.getAttribute("aria-label") ?? one.textContent.trim();

  // Whoever goes by keyboard keeps the place through a swap. What has no id is found again by what it
  // is and says; if that is gone, nothing else gets the focus, lest Enter press something else.
  function placeOfFocus(live) {
    const at = document.activeElement;
    if (at === null || !live.contains(at)) return () => null;
    if (at.id) return () => document.getElementById(at.id);
    const all = (part) => [...part.querySelectorAll("a[href], button, summary, [tabindex]")];
    const same = (one) => one?.tagName === at.tagName && said(one) === said(at);
    const number = all(live).indexOf(at);
    return (part) => (same(all(part)[number]) ? all(part)[number] : all(part).find(same));
  }

  async function freshen() {
    if (busy || someoneIsChoosing()) {
      waiting = true;
      return;
    }
    busy = true;
    waiting = false;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (answer.redirected && new URL(answer.url).pathname === "/sign-in") {
        location.assign(answer.url); // signed out, here or by somebody else
        return;
      }
      if (!answer.ok) {
        outOfTouch();
        return;
      }
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const live = document.getElementById("live");
      const part = fresh.getElementById("live");
      const focused = placeOfFocus(live);
      const open = [...document.querySelectorAll("#live details[open][id]")].map((one) => one.id);
      live.replaceWith(part);
      document.documentElement.dataset.view = fresh.documentElement.dataset.view;
      document.title = fresh.title;
      for (const id of open) document.getElementById(id)?.setAttribute("open", "");
      focused(part)?.focus({ preventScroll: true });
    } catch {
      outOfTouch();
    } finally {
      busy = false;
      if (waiting && !someoneIsChoosing()) freshen();
    }
  }

  function listen() {
    source?.close();
    source = new EventSource("/events");
    source.addEventListener("moved", (event) => { inTouch(event); freshen(); });
    source.addEventListener("here", inTouch);
    source.addEventListener("error", outOfTouch);
  }

  document.addEventListener("focusout", () => setTimeout(() => waiting && freshen(), 300));
  document.addEventListener("visibilitychange", () => document.hidden || freshen());
  setInterval(() => {
    if (Date.now() - heardAt > SILENT_MS) {
      outOfTouch();
      listen();
    }
  }, 10_000);
  listen();
})();
