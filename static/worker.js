// Keeps the shell and the pages of opened units, and answers when the network does not. The server writes VERSION and
// SHELL above. What it keeps of forms that did not get through it leaves in a cache for the page's own scripts.
const MINE = `shell-${VERSION}`;
const KEEP = /^\/units(\/[^/]+(\/start)?)?$/;
const FORM = /^\/units\/([^/]+)\/(write\/|report)/;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(MINE).then((cache) => cache.addAll(SHELL)));
});

// Pages that were kept under the program before this one name its files: the last shell stays.
addEventListener("activate", (event) => event.waitUntil((async () => {
  const old = (await caches.keys()).filter((name) => name.startsWith("shell-") && name !== MINE);
  await Promise.all(old.slice(0, -1).map((name) => caches.delete(name)));
  await clients.claim();
})()));

addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== location.origin) return;
  const page = request.mode === "navigate";
  if (request.method === "POST" && page) event.respondWith(posted(request, url));
  else if (request.method !== "GET") return;
  else if (url.pathname.startsWith("/static/")) event.respondWith(caches.match(request).then((had) => had ?? fetch(request)));
  else if (page || url.pathname.startsWith("/offline/") || KEEP.test(url.pathname)) event.respondWith(fresh(event, url, page));
});

const cached = async (url) => (await caches.open("pages")).match(url.pathname);

async function fresh(event, url, page) {
  const { request } = event, had = await cached(url);
  try {
    // Where there is something to fall back on, a network that takes longer than this is none.
    const answer = await Promise.race([fetch(request), new Promise((_, no) => setTimeout(no, had ? 8000 : 60000))]);
    const keeps = answer.ok && !answer.redirected && !url.search && (KEEP.test(url.pathname) || url.pathname.startsWith("/offline/"));
    if (keeps) event.waitUntil(keep(url, answer.clone()));
    return answer;
  } catch {
    if (!page) return had ?? Response.error();
    return had && url.pathname !== "/units" ? aged(had) : caches.match("/offline");
  }
}

async function keep(url, answer) {
  const headers = new Headers(answer.headers);
  headers.set("kept-at", Date.now());
  await (await caches.open("pages")).put(url.pathname, new Response(await answer.blob(), { headers }));
}

/** The page as it was, saying how old it is. */
async function aged(had) {
  const at = Number(had.headers.get("kept-at")), minutes = Math.max(0, Math.round((Date.now() - at) / 60000));
  const age = minutes < 120 ? `${minutes} min` : minutes < 2880 ? `${Math.round(minutes / 60)} h` : `${Math.round(minutes / 1440)} days`;
  const says = `<div class="problems" role="status"><p><strong>No network.</strong> This page shows the book as it stood ${age} ago, ` +
    `at ${new Date(at).toLocaleString()}. What others wrote since is not on it.</p></div>`;
  const html = (await had.text()).replace(/<main[^>]*>/, (main) => main + says);
  return new Response(html, { headers: had.headers });
}

/** A form of the crew's: if it does not get through, what was typed is kept (never a password) and the page goes on. */
async function posted(request, url) {
  const form = FORM.exec(url.pathname);
  const copy = form && request.clone();
  let through = false;
  try {
    const answer = await fetch(request);
    through = answer.type === "opaqueredirect";
    if (!through) return answer;
    await caught();
    return answer;
  } catch {
    if (through) throw new TypeError("not kept");
    if (!form) return Response.redirect("/offline#/no", 303);
    await caught();
    return Response.redirect(`/units/${form[1]}/report`, 303);
  }
  // Also of one that got through: the page after it may not, and then the tablet has to know what it was.
  async function caught() {
    if (!form) return;
    const fields = [...await copy.formData()].filter(([name]) => !name.includes("password"));
    const note = { path: url.pathname, unit: form[1], query: url.search, fields, through, at: Date.now() };
    await (await caches.open("caught")).put(`/caught/${note.at}-${Math.random()}`, new Response(JSON.stringify(note)));
  }
}
