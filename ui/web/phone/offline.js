// Over HTTPS the page's own files are cached on the phone, so that it opens without a signal.
const KEPT = "capture 1";
const HERE = new URL("./", self.location).pathname;
const FILES = [HERE, `${HERE}capture.js`, `${HERE}capture.css`];
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(FILES)));
  self.skipWaiting();
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method !== "GET" || !FILES.includes(path)) return;
  event.respondWith((async () => {
    const kept = await caches.open(KEPT);
    try {
      const fresh = await fetch(event.request);
      if (fresh.ok) await kept.put(path, fresh.clone());
      return fresh;
    } catch {
      return (await kept.match(path)) || Response.error();
    }
  })());
});
