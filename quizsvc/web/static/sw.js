// Keeps the shell of the device's own screen, in which nobody is named, so that it opens without signal.
// The service writes VERSION and FILES above this line.
const NAME = `quizsvc-${VERSION}`;
const SHELL = FILES[0];
const PATIENCE_MS = 8000;

addEventListener("install", (event) => event.waitUntil(keep()));
addEventListener("activate", (event) => event.waitUntil(tidy()));
// A new version waits until a page says that no set is open.
addEventListener("message", ({ data }) => (data === "claim" ? clients.claim() : skipWaiting()));

async function keep() {
  const cache = await caches.open(NAME);
  await cache.addAll(FILES.map((file) => new Request(file, { credentials: "omit" })));
}

async function tidy() {
  for (const name of await caches.keys()) {
    if (name.startsWith("quizsvc-") && name !== NAME) await caches.delete(name);
  }
  await clients.claim();
}

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname, search } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request, pathname + search));
  else if (pathname.startsWith("/static/")) event.respondWith(kept(request).then((found) => found || fetch(request)));
});

const kept = async (request) => (await caches.open(NAME)).match(request);

async function page(request, address) {
  const own = await kept(SHELL);
  // Start paints from here where questions are kept; the page itself asks for the live one then.
  if (own && (address === SHELL || (address === "/" && (await caches.match("/kept"))))) return own;
  const late = new Promise((_, reject) => setTimeout(reject, own ? PATIENCE_MS : 60000));
  return Promise.race([fetch(request), late]).catch(() => own || Response.error());
}
