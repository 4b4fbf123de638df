// Keeps on the device what is tapped at the bench, and sends it in order, each once, as soon as
// there is a network. A tap is kept here before anything else happens; it goes only when the other
// side has said that it is kept there. Without this file the same forms are sent the plain way.
"use strict";

(() => {
  const KEY = "graftvigil.bench";
  const WHO = "graftvigil.who";
  const AGAIN_MS = 10_000;
  const WAIT_MS = 20_000;
  const PHOTO_WAIT_MS = 60_000;
  const OLD_MS = 90_000;
  const TWICE_MS = 1_500; // a wet thumb bounces
  const SHOWN_MS = 15 * 60_000; // for as long as it can be taken back
  const mine = document.getElementById("mine");
  const offline = document.getElementById("offline");
  let sending = false;
  let away = false; // no network, as far as the last try could tell
  let signedOut = false;
  let aheadMs = 0; // by how much the clock over there is ahead of this device's

  function load() {
    try {
      const kept = JSON.parse(localStorage.getItem(KEY) ?? "[]");
      return Array.isArray(kept) ? kept : [];
    } catch {
      return [];
    }
  }

  function save(items) {
    const fresh = items.filter((one) => one.state !== "sent" || Date.now() - one.sentAt < SHOWN_MS);
    localStorage.setItem(KEY, JSON.stringify(fresh));
  }

  function change(id, with_) {
    save(load().map((one) => (one.id === id ? { ...one, ...with_ } : one)));
  }

  function drop(id) {
    save(load().filter((one) => one.id !== id));
  }

  function newId() {
    const bytes = crypto.getRandomValues(new Uint8Array(12));
    return [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
  }

  // "stock_cut~0.5" as the server writes it: see api/web/bench_deeds.py.
  function deed(value) {
    const found = /^([a-z_]+)(?:\.([^~@]+))?(?:~([\d.]+))?(?:@(.+))?$/.exec(value);
    if (found === null) return null;
    const said = { seen: found[1] };
    if (found[2]) said.check = found[2];
    if (found[3]) said.share = Number(found[3]);
    if (found[4]) said.bench = found[4];
    return said;
  }

  function batchOf(form) {
    return decodeURIComponent(new URL(form.action).pathname.split("/")[2]);
  }

  function tapped(form, button) {
    const fields = new FormData(form);
    const by = fields.get("by");
    if (form.hasAttribute("data-undo")) {
      return { kind: "undo", batch: batchOf(form), by, number: Number(fields.get("number")),
               says: button.getAttribute("aria-label") ?? button.textContent.trim() };
    }
    const said = deed(button.value);
    if (said === null) return null;
    for (const name of ["alive", "dead"]) {
      const figure = (fields.get(name) ?? "").trim();
      if (figure) said[name] = Number(figure);
    }
    const note = (fields.get("note") ?? "").trim();
    if (note) said.note = note;
    if (fields.get("override")) said.override = true;
    return { kind: "deed", batch: batchOf(form), by, said, says: button.dataset.says };
  }

  function keep(item) {
    const items = load();
    const last = items.at(-1);
    const alike = (one) => JSON.stringify([one.kind, one.batch, one.by, one.said, one.number]);
    if (last && alike(last) === alike(item) && Date.now() - last.tappedAt < TWICE_MS) return;
    items.push({ ...item, id: newId(), tappedAt: Date.now(), state: "waiting", tried: false });
    save(items);
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.matches("[data-photo]")) {
      event.preventDefault();
      sendPhoto(form);
      return;
    }
    if (!form.matches("[data-deeds], [data-undo]")) return;
    const item = event.submitter ? tapped(form, event.submitter) : null;
    if (item === null) return;
    try {
      keep(item);
    } catch {
      return; // nothing can be kept on this device: the form goes the plain way
    }
    event.preventDefault();
    form.reset();
    remember();
    form.closest("details")?.removeAttribute("open");
    draw();
    send();
  });

  // A photo goes at once or not at all: it is too large to wait here. What it shows is written down.
  async function sendPhoto(form) {
    const file = form.elements.photo.files[0];
    const says = form.querySelector("[role=status]");
    if (!file || form.dataset.busy) return;
    form.dataset.busy = "yes";
    says.textContent = form.dataset.going;
    const [number, by] = [form.elements.number.value, encodeURIComponent(form.elements.by.value)];
    try {
      const answer = await fetch(`/api/v1/observations/${number}/photo?by=${by}`, {
        method: "POST",
        headers: { "Content-Type": file.type || "image/jpeg", Accept: "application/json" },
        body: file,
        signal: AbortSignal.timeout(PHOTO_WAIT_MS),
      });
      away = false;
      signedOut = answer.status === 401 || answer.redirected;
      says.textContent = answer.ok || signedOut ? "" : await reasonOf(answer);
      if (answer.ok && !signedOut) {
        form.reset();
        document.activeElement?.blur();
        await freshen();
      }
    } catch {
      away = true;
      says.textContent = form.dataset.noNetwork;
    }
    delete form.dataset.busy;
    draw();
  }

  document.addEventListener("change", (event) => {
    const form = event.target.closest?.("[data-photo]");
    if (form && event.target.type === "file") sendPhoto(form);
  });

  function request(item) {
    if (item.kind === "undo") {
      return [`/api/v1/observations/${item.number}/take-back`, { by: item.by }];
    }
    const at = new Date(item.tappedAt + aheadMs).toISOString();
    const body = { by: item.by, at, device_id: item.id, ...item.said };
    return [`/api/v1/batches/${encodeURIComponent(item.batch)}/observations`, body];
  }

  async function reasonOf(answer) {
    try {
      const problem = await answer.json();
      const errors = problem.errors ?? [];
      const own = errors.find((one) => one.where === mine.dataset.lang);
      return own?.detail ?? (errors.map((one) => one.detail).join(" ") || problem.detail);
    } catch {
      return String(answer.status);
    }
  }

  // The same for all that is sent in one go, so that what was tapped later is never told as earlier.
  async function compareClocks() {
    const before = Date.now();
    let answer;
    try {
      answer = await fetch("/api/v1/clock", { signal: AbortSignal.timeout(WAIT_MS) });
    } catch {
      away = true;
      return false;
    }
    away = false;
    signedOut = answer.status === 401 || answer.redirected;
    if (!answer.ok || signedOut) return false;
    try {
      aheadMs = Date.parse((await answer.json()).now) - (before + Date.now()) / 2;
    } catch {
      return false; // the answer was cut off
    }
    return Number.isFinite(aheadMs);
  }

  // Returns whether the next one may follow.
  async function sendOne(item) {
    change(item.id, { tried: true });
    const [address, body] = request(item);
    let answer;
    try {
      answer = await fetch(address, {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json" },
        body: JSON.stringify(body),
        signal: AbortSignal.timeout(WAIT_MS),
      });
    } catch {
      away = true;
      return false;
    }
    away = false;
    signedOut = answer.status === 401 || answer.redirected;
    if (signedOut || answer.status >= 500 || [408, 425, 429].includes(answer.status)) return false;
    if (!answer.ok) {
      change(item.id, { state: "refused", why: await reasonOf(answer) });
      return true;
    }
    if (item.kind === "undo") {
      drop(item.id);
      return true;
    }
    let number = null;
    try {
      number = (await answer.json()).number;
    } catch {
      return false; // the answer was cut off: sent again it is kept once
    }
    const now = load().find((one) => one.id === item.id);
    change(item.id, { state: "sent", number, sentAt: Date.now() });
    if (now?.back) takeBack(item.id);
    return true;
  }

  async function sendAll() {
    let sent = 0;
    if (!load().some((one) => one.state === "waiting") || !(await compareClocks())) return sent;
    for (;;) {
      const next = load().find((one) => one.state === "waiting");
      if (!next || !(await sendOne(next))) break;
      sent += 1;
      draw();
    }
    return sent;
  }

  async function send() {
    if (sending) return;
    sending = true;
    try {
      // Of several tabs one sends; two would do no harm, since each tap is kept once.
      const sent = navigator.locks
        ? await navigator.locks.request(KEY, { ifAvailable: true }, (lock) => (lock ? sendAll() : 0))
        : await sendAll();
      draw();
      if (sent) await freshen();
    } finally {
      sending = false;
      draw();
    }
  }

  function takeBack(id) {
    const item = load().find((one) => one.id === id);
    if (!item) return;
    if (item.state === "waiting" && !item.tried) drop(id);
    else if (item.state === "waiting") change(id, { back: true });
    else {
      drop(id);
      keep({ kind: "undo", batch: item.batch, by: item.by, number: item.number, says: item.says });
    }
    draw();
    send();
  }

  function button(text, label, press) {
    const one = document.createElement("button");
    one.type = "button";
    one.textContent = text;
    one.setAttribute("aria-label", `${text}: ${label}`);
    one.addEventListener("click", press);
    return one;
  }

  function line(item) {
    const texts = mine.dataset;
    const li = document.createElement("li");
    const says = document.createElement("span");
    const at = new Date(item.tappedAt);
    const clock = `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
    const state = { waiting: item.back ? texts.goingBack : texts.waits, sent: texts.kept };
    const how = item.state === "refused" ? `${texts.refused} ${item.why}` : state[item.state];
    says.textContent = `${clock} ${item.batch}: ${item.says}. ${how}`;
    li.dataset.state = item.state;
    li.append(says);
    if (item.state === "refused") {
      const again = () => { change(item.id, { state: "waiting" }); draw(); send(); };
      li.append(button(texts.tryAgain, item.says, again));
      li.append(button(texts.putAway, item.says, () => { drop(item.id); draw(); }));
    } else if (item.kind === "deed" && !item.back) {
      li.append(button(texts.takeBack, item.says, () => takeBack(item.id)));
    }
    return li;
  }

  function draw() {
    const known = new Set([...document.querySelectorAll("#fresh [data-number]")]
      .map((one) => Number(one.dataset.number)));
    const items = load().filter((one) => one.state !== "sent" || !known.has(one.number));
    const waiting = items.filter((one) => one.state === "waiting").length;
    mine.hidden = items.length === 0;
    const list = document.createElement("ul");
    list.append(...items.map(line));
    const says = document.createElement("p");
    if (waiting) says.textContent = mine.dataset.waiting.replace("{n}", String(waiting));
    mine.replaceChildren(...(waiting ? [says] : []), list);
    const time = document.getElementById("fresh").dataset.time;
    offline.hidden = !away && !signedOut;
    offline.textContent = signedOut ? mine.dataset.signIn : mine.dataset.noNetwork.replace("{time}", time);
  }

  function someoneWrites() {
    const written = [...document.querySelectorAll("#fresh input:not([type=hidden])")];
    return written.some((one) => one.value !== one.defaultValue || one === document.activeElement);
  }

  async function freshen() {
    if (someoneWrites()) return;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      const part = fresh.getElementById("fresh");
      if (part === null || someoneWrites()) return;
      const open = [...document.querySelectorAll("#fresh details[open][id]")].map((one) => one.id);
      const focused = document.activeElement?.closest("#fresh") && document.activeElement.value;
      document.getElementById("fresh").replaceWith(part);
      for (const id of open) document.getElementById(id)?.setAttribute("open", "");
      if (focused) document.querySelector(`#fresh button[value="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
      away = false;
      remember();
      const known = new Set([...part.querySelectorAll("[data-number]")].map((one) => Number(one.dataset.number)));
      save(load().filter((one) => one.state !== "sent" || !known.has(one.number)));
    } catch {
      away = true;
    }
  }

  // Who writes is kept on the device, and stands in every form.
  const who = document.getElementById("by");

  function remember() {
    if (who === null) return;
    for (const one of document.querySelectorAll("#fresh input[name=by]")) {
      one.defaultValue = who.value;
      one.value = who.value;
    }
  }

  function kept() {
    try {
      return localStorage.getItem(WHO);
    } catch {
      return null;
    }
  }

  if (who !== null) {
    document.querySelector("#who .keep-who").hidden = true;
    const before = kept();
    if (before && [...who.options].some((one) => one.value === before)) who.value = before;
    who.addEventListener("change", () => {
      try {
        localStorage.setItem(WHO, who.value);
      } catch { /* the cookie is kept all the same */ }
      remember();
      fetch(document.getElementById("who").action, { method: "POST", body: new URLSearchParams({ by: who.value }) })
        .catch(() => {});
    });
    remember();
  }

  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register("/bench-worker.js", { scope: "/b" })
      .then(() => navigator.serviceWorker.ready)
      .then((one) => one.active.postMessage({ keep: location.pathname }))
      .catch(() => {});
  }
  addEventListener("online", send);
  addEventListener("pageshow", send);
  addEventListener("storage", draw);
  document.addEventListener("visibilitychange", () => document.hidden || send().then(freshen).then(draw));
  setInterval(() => load().some((one) => one.state === "waiting") && send(), AGAIN_MS);
  away = !navigator.onLine;
  draw();
  const made = Number(document.getElementById("fresh").dataset.made);
  const old = Math.abs(Date.now() - made) > OLD_MS; // kept from before, or this device's clock is off
  send().then(() => old && freshen()).then(draw);
})();
