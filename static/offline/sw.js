/* The service worker. It keeps one page, its styles and its scripts; BUILD, put before this by the service, says which.
   Pages come from the service while it answers. Where it does not, the one page opens in their place, at their own
   address, and shows what was taken along, or says that this is not: no page of the service, and nobody's log, is ever
   kept here. */

const CACHE = `coilbook-${BUILD.version}`;
const TIMEOUT = 4000; // ms for a page that the offline page can replace; other pages have no limit
const DARK = 15_000; // ms after such a timeout in which nobody has to wait again
const GONE = [502, 504]; // the answers of a gateway when the service behind it is not reachable
const ID = "[0-9a-f-]{36}";
const PAGES = new RegExp(`^/(?:$|offline$|scan$|find$|swap$|t/|T/|sessions(?:/|$)|pull(?:/${ID}(?:/items/\\w+)?)?$|cards$|inputs(?:/${ID}(?:/cards)?)?$`
  + `|line-checks(?:/${ID}(?:/blame|/channels/${ID})?)?$)`); // addresses that the offline page can replace

let darkUntil = 0;

/* What a page has loaded already comes from the browser's own cache: its address has its version. */
addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(BUILD.keeps)));
});

addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) => name.startsWith("coilbook-") && name !== CACHE).map((name) => caches.delete(name))))
    .then(() => clients.claim()));
});

addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(PAGES.test(url.pathname) ? soon(request) : page(request));
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(asset(request));
  }
});

/* Addresses of assets have a version, so what is cached is right. */
async function asset(request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(request)) ?? fetch(request);
}

/* A page, with a timeout for a signal over which nothing arrives. */
async function soon(request) {
  if (Date.now() < darkUntil) return shell();
  const cut = new AbortController();
  const timer = setTimeout(() => { darkUntil = Date.now() + DARK; cut.abort(); }, TIMEOUT);
  try {
    return await page(request, cut.signal);
  } finally {
    clearTimeout(timer);
  }
}

async function page(request, signal) {
  try {
    const answer = await fetch(request, { signal });
    return GONE.includes(answer.status) ? shell() : answer;
  } catch {
    return shell();
  }
}

async function shell() {
  const cache = await caches.open(CACHE);
  return (await cache.match("/offline")) ?? Response.error();
}
