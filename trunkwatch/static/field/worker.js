// Keeps the page on the phone: it opens with no network, and takes a newer one when there is one.
const NAME = "trunkwatch-field-@version@";
const FILES = ["index.html", "manifest.webmanifest", "icon.svg"];
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((n) => n.startsWith("trunkwatch-field-") && n !== NAME).map((n) => caches.delete(n))))
      .then(() => self.clients.claim()),
  );
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  const wanted = event.request.mode === "navigate" ? "index.html" : event.request;
  event.respondWith(caches.match(wanted).then((found) => found || fetch(event.request)));
});
