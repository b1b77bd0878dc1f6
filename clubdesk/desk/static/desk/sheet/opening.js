// Keeps this page on the phone until its day is over, so that it opens without reception; the worker hands it out.
const PREFIX = "range-day ";

// Once the site has answered: what is kept is as whoever is signed in sees it now, and nothing else stays.
export async function keep(told) {
  if (!navigator.serviceWorker || !window.caches) return;
  await navigator.serviceWorker.register(told.worker);
  if (!(told.until > Date.now())) return empty();
  const page = await fetch(location.pathname, { credentials: "same-origin", redirect: "error" });
  if (!page.ok) return;
  const files = performance.getEntriesByType("resource").map(({ name }) => new URL(name)).filter(({ origin, pathname }) => origin === location.origin && pathname.startsWith(told.static));
  const name = `${PREFIX}${told.until}`;
  await empty();
  const cache = await caches.open(name);
  await cache.put(location.pathname, page);
  await Promise.allSettled([...new Set(files.map(({ href }) => href))].map((href) => cache.add(href)));
}

// Take everything off the phone that was kept of range days.
export async function empty() {
  if (!window.caches) return;
  for (const name of await caches.keys()) if (name.startsWith(PREFIX)) await caches.delete(name);
}
