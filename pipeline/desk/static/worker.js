// Keeps styles, scripts and one page that says that the network is away. Pages with patients on them are never kept here.
// KEPT, the list of addresses, is written above by the server.

const CACHE = `rostral-${KEPT.join("").split("/static/")[1]?.slice(0, 12) ?? "0"}`;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches.open(CACHE).then((cache) => cache.addAll(KEPT)).then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((name) => name !== CACHE).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match("/offline")));
  } else if (KEPT.includes(new URL(request.url).pathname)) {
    event.respondWith(caches.match(request).then((found) => found ?? fetch(request)));
  }
});
