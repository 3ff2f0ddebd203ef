// Keeps the page on the phone: it opens with no network, and takes a newer one when there is one.
// Every block has a store of its own: blocks on one host must not sweep each other away.
"use strict";

const OWN = `trunkwatch-field-${self.registration.scope}-`;
const NAME = `${OWN}@version@`;
const PAGE = `index.html${self.location.search}`;
const FILES = [PAGE, "manifest.webmanifest", "icon.svg"];
self.addEventListener("install", (event) => {
  const fresh = FILES.map((file) => new Request(file, { cache: "reload" }));
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(fresh)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((n) => n.startsWith(OWN) && n !== NAME).map((n) => caches.delete(n))))
      .then(() => self.clients.claim()),
  );
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  const wanted = event.request.mode === "navigate" ? PAGE : event.request;
  event.respondWith(caches.open(NAME).then((cache) => cache.match(wanted)).then((found) => found || fetch(event.request)));
});
