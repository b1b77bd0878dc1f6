// Opens the sheet of a range day where there is no reception, as it was kept on this phone for that day. Anything else goes
// its way untouched, and so does the sheet wherever the site answers.
const PATIENCE = 8000;
const PREFIX = "range-day ";
const TODAY = "{{ today }}";
const SHEET = new RegExp("^{{ sheet }}$".replace("/0/", "/\\d+/"));
const ENDS = ["{{ login }}", "{{ logout }}"];
const STATIC = "{{ static }}";
const BY_CONTENTS = /\.[0-9a-f]{12}\.\w+$/;
const ANY = { ignoreVary: true, ignoreSearch: true };

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  const isPage = request.mode === "navigate";
  if (isPage && ENDS.some((each) => pathname.startsWith(each))) event.waitUntil(emptied());
  else if (isPage && request.method === "GET" && (pathname === TODAY || SHEET.test(pathname))) event.respondWith(opened(request, pathname));
  else if (request.method === "GET" && pathname.startsWith(STATIC)) event.respondWith(file(request));
});

// Whoever signs in or out leaves nothing for the next.
async function emptied() {
  for (const name of await caches.keys()) if (name.startsWith(PREFIX)) await caches.delete(name);
}

// The page as the site answers; what was kept where it does not, does not in time, or is broken.
async function opened(request, pathname) {
  const answer = fetch(request).catch(() => null);
  const first = await Promise.race([answer, new Promise((done) => setTimeout(done, PATIENCE, null))]);
  if (first && first.status < 500) return first;
  return (await kept(pathname)) ?? (await answer) ?? Response.error();
}

async function kept(pathname) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PREFIX)) continue;
    if (Number(name.slice(PREFIX.length)) <= Date.now()) {
      await caches.delete(name);
      continue;
    }
    const cache = await caches.open(name);
    const pages = (await cache.keys()).filter((each) => SHEET.test(new URL(each.url).pathname));
    const page = pathname === TODAY ? pages[0] : pathname;
    const found = page && (await cache.match(page, ANY));
    if (found) return found;
  }
  return null;
}

async function file(request) {
  const here = await caches.match(request, { ignoreVary: true });
  if (here && BY_CONTENTS.test(new URL(request.url).pathname)) return here;
  return fetch(request).catch(() => here ?? Response.error());
}
