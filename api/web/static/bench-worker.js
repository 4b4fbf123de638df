// Keeps the page at the bench, and what it is drawn with, for when there is no network. Only pages
// under /bench are kept, each as it was when it was last opened. Nothing that is sent passes here.
"use strict";

const KEPT = "bench-1";
const DRAWN_WITH = ["/static/style.css", "/static/bench.js", "/static/mark.svg"];
const WAIT_MS = 6_000;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(DRAWN_WITH)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((one) => one !== KEPT).map((one) => caches.delete(one)));
  event.waitUntil(caches.keys().then(old).then(() => self.clients.claim()));
});

// A label leads to /b/CODE, which leads to /bench/CODE: without a network that is worked out here.
function keptAs(path) {
  return path.startsWith("/b/") ? `/bench/${path.slice(3)}` : path;
}

async function answer(request, path) {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await Promise.race([
      fetch(request),
      new Promise((_, late) => setTimeout(() => late(new Error("late")), WAIT_MS)),
    ]);
    if (fresh.ok && !fresh.redirected) await kept.put(path, fresh.clone());
    return fresh;
  } catch (trouble) {
    const before = await kept.match(keptAs(path));
    if (before) return before;
    throw trouble;
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = new URL(request.url).pathname;
  const page = request.mode === "navigate" && /^\/(b|bench)\/[^/]+$/.test(path);
  if (request.method === "GET" && (page || DRAWN_WITH.includes(path))) {
    event.respondWith(answer(request, path));
  }
});

// Led elsewhere, as to sign in, it is no page of the bench.
async function keep(path) {
  const fresh = await fetch(path, { redirect: "manual" });
  if (fresh.ok) await (await caches.open(KEPT)).put(path, fresh);
}

// The first page was open before this worker: keep it as well.
self.addEventListener("message", (event) => {
  if (typeof event.data?.keep === "string" && /^\/bench\/[^/]+$/.test(event.data.keep)) {
    event.waitUntil(keep(event.data.keep));
  }
});
