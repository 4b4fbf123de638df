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
      const focused = document.activeElement?.id;
      const open = [...document.querySelectorAll("#live details[open][id]")].map((one) => one.id);
      document.getElementById("live").replaceWith(fresh.getElementById("live"));
      document.documentElement.dataset.view = fresh.documentElement.dataset.view;
      document.title = fresh.title;
      for (const id of open) document.getElementById(id)?.setAttribute("open", "");
      if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
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
