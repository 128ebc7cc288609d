// Keeps the shell and the pages of opened units, and answers when the network does not. The server writes VERSION and
// SHELL above. What was typed the pages keep themselves, before they send it.
const MINE = `shell-${VERSION}`;
const CREW = /^(\/units\/[^/]+)\/(?:write|report)|^\/run.*/;
const KEEP = /^\/(units(\/[^/]+)?|offline\/.+)$/;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(MINE).then((cache) => cache.addAll(SHELL)));
});

addEventListener("activate", (event) => event.waitUntil((async () => {
  // Pages that were kept under the program before this one name its files: the last shell stays.
  const old = (await caches.keys()).filter((name) => name.startsWith("shell-") && name !== MINE);
  await Promise.all(old.slice(0, -1).map((name) => caches.delete(name)));
  await clients.claim();
})()));

addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url), page = request.mode === "navigate";
  if (url.origin !== location.origin) return;
  // A form's answer that is gone back to may come from the cache alone, and no answer is kept there: that is no lack of
  // network. The crew's forms lead on to their report, of any other the browser asks whether to send it again.
  const answer = request.method !== "GET" ? page && (request.cache !== "only-if-cached" || CREW.test(url.pathname)) && sent(event, url)
    : url.pathname.startsWith("/static/") ? caches.match(request).then((had) => had ?? fetch(request))
    : (page || KEEP.test(url.pathname)) && fresh(event, url, page);
  if (answer) event.respondWith(answer);
});

/** A form of the crew's goes on without network, any other is told of. Once the server has it, so has the picture that
 * signing without network goes by: the network may be gone before the next page comes. */
async function sent(event, url) {
  const [path, unit] = CREW.exec(url.pathname) ?? [];
  const answer = await fetch(event.request).catch(() => null);
  if (!answer) return Response.redirect(unit ? `${unit}/report` : path ?? "/offline#/no", 303);
  if (path) event.waitUntil(Promise.all([unit ?? "", "/run"].map((of) => of && picture(new URL(`/offline${of}`, url)))).catch(() => {}));
  return answer;
}

async function picture(url) {
  const answer = await fetch(url);
  if (answer.ok) await keep(await caches.open("pages"), url, answer);
}

async function fresh(event, url, page) {
  const pages = await caches.open("pages"), had = await pages.match(url.pathname);
  try {
    // Where there is something to fall back on, a network that takes longer than this is none.
    const answer = await Promise.race([fetch(event.request), new Promise((_, no) => setTimeout(no, had ? 8000 : 60000))]);
    if (answer.ok && !answer.redirected && !url.search && KEEP.test(url.pathname)) event.waitUntil(keep(pages, url, answer.clone()));
    return answer;
  } catch {
    if (!page) return had ?? Response.error();
    return had && /^\/units\/[^/]+$/.test(url.pathname) ? aged(had) : caches.match("/offline");
  }
}

async function keep(pages, url, answer) {
  const headers = new Headers(answer.headers);
  headers.set("kept-at", Date.now());
  await pages.put(url.pathname, new Response(await answer.blob(), { headers }));
}

/** online.js says on it how old it is. */
async function aged(had) {
  const note = `<div class="problems" role="status" id="aged" data-at="${had.headers.get("kept-at")}"><p>No network.</p></div>`;
  return new Response((await had.text()).replace(/<main[^>]*>/, `$&${note}`), { headers: had.headers });
}
