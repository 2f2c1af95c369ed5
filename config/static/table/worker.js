// Serves the pages of the judge's table when the network does not. The line above says what belongs to this edition.
// Data never goes through here: it is kept by the page itself, and what the server says is asked of the server.

const NAME = `table-${KEPT.edition}`;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(NAME);
    const shell = await fetch(KEPT.shell, { cache: "reload", credentials: "same-origin" });
    if (!shell.ok || shell.redirected) throw new Error("not logged in");
    await cache.put(KEPT.shell, shell);
    await cache.addAll(KEPT.assets.map((asset) => new Request(asset, { cache: "no-cache" })));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("table-") && name !== NAME) await caches.delete(name);
    await self.clients.claim();
  })());
});

function isShell(url) {
  const path = url.pathname.slice(KEPT.shell.length);
  return url.pathname === KEPT.shell || /^(day\/[^/]+\/[^/]+|(sheet|commentary)\/[^/]+\/[^/]+\/[^/]+\/[^/]+)\/$/.test(path);
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  const wanted = event.request.mode === "navigate" && isShell(url) ? KEPT.shell : url.pathname;
  if (wanted !== KEPT.shell && !KEPT.assets.includes(wanted)) return;
  if (wanted === KEPT.shell && event.request.mode !== "navigate") return;
  event.respondWith((async () => (await (await caches.open(NAME)).match(wanted)) || fetch(event.request))());
});
