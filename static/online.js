// On every page: keeps what is needed without network, what is typed, and says what waits on this tablet.
import { all, ask, cannotKeep, change, changeDraft, drop, get, put, putEntry, slug, unitOf } from "./keep.js";
import { flush, makeKey, tell } from "./sending.js";

const place = document.getElementById("kept");
const shell = document.getElementById("shell");
const [, ofUnit] = /^\/units\/([^/]+)/.exec(location.pathname) ?? [];

export function el(name, with_ = {}, ...inside) {
  const made = Object.assign(document.createElement(name), with_);
  made.append(...inside.filter((part) => part || part === 0));
  return made;
}

/** Whose tablet this is at the moment: whoever signed in last on it. */
export const personHere = async () => place.dataset.person ?? (shell ? await get("meta", "person") : undefined);

/** What the worker kept of forms becomes part of the drafts. */
export async function takeCaught(person) {
  const cache = await caches.open("caught");
  for (const request of await cache.keys()) {
    const note = await (await cache.match(request)).json();
    const fields = Object.fromEntries(note.fields), [, kind, changed] = /\/(?:write\/(\w+)|report\/([^/]+)\/change)$/.exec(note.path) ?? [];
    const unit = unitOf(note.unit);
    const { entry, device = "", version, draft, then, signer, sure, ...typed } = fields;
    await changeDraft(person, unit, (kept) => {
      if (kind && entry) putEntry(kept, { id: entry, kind, device, typed: timed(typed, note.at), there: note.through });
      else if (changed) putEntry(kept, { id: changed, kind: null, device, typed: timed(typed, note.at), there: note.through });
      else if (note.through && !then) Object.assign(kept, { entries: kept.entries.filter((e) => !e.there), slip: {} });
      else Object.assign(kept, { id: draft ?? kept.id, slip: typed });
    });
    if (note.through && !kind && !changed && !then) await put("meta", note.at, `signed|${unit}`);
    await cache.delete(request);
  }
}
const timed = (typed, at) => ({ ...typed, "when.caught": at });

/** Fetches what is needed of a unit without network, and what this person wrote about it. */
export async function fetchUnit(person, unit) {
  const answer = await fetch(`/offline/units/${slug(unit)}`);
  if (!answer.ok || answer.redirected) return;
  const off = Date.now() - Date.parse(answer.headers.get("date"));
  await put("meta", Math.abs(off) > 3e5 ? off : 0, "clock");
  // It has what got through.
  await changeDraft(person, unit, (draft) => {
    const before = draft.entries.length;
    draft.entries = draft.entries.filter((entry) => !entry.there);
    return draft.entries.length !== before;
  });
}

const KEPT = 20;
async function opened(person, unit) {
  const recent = [unit, ...((await get("meta", "recent")) ?? []).filter((known) => known !== unit)];
  await put("meta", recent.slice(0, KEPT), "recent");
  const pages = await caches.open("pages");
  for (const old of recent.slice(KEPT)) {
    for (const path of [`/units/${slug(old)}`, `/units/${slug(old)}/start`, `/offline/units/${slug(old)}`]) await pages.delete(path);
  }
  await fetchUnit(person, unit);
  for (const path of [`/units/${slug(unit)}`, `/units/${slug(unit)}/start`]) {
    if (path !== location.pathname || !(await pages.match(path))) await fetch(path);
  }
  if (Date.now() - ((await get("meta", "area")) ?? 0) < 6e5) return;
  const area = await (await fetch(`/offline/area/${slug(unit)}`)).json();
  await put("meta", area.units, "units");
  for (const [name] of area.classes) await fetch(`/offline/classes/${encodeURIComponent(name)}`);
  await put("meta", Date.now(), "area");
}

/** What was written without network goes to the draft on the server as soon as it can, unless it was signed. */
async function handOver(person) {
  let done = false;
  for (const draft of (await all("drafts")).filter((draft) => draft.person === person)) {
    for (const entry of draft.entries.filter((entry) => !entry.there && entry.kind)) {
      const path = `/units/${slug(draft.unit)}/write/${entry.kind}`;
      const fields = { ...entry.typed, entry: entry.id, device: entry.device, sure: "yes" };
      const answer = await fetch(path, { method: "POST", body: new URLSearchParams(fields) });
      if (!answer.url.includes("/report?")) continue;
      await changeDraft(person, draft.unit, (kept) => {
        kept.entries = kept.entries.filter((known) => known.id !== entry.id);
        if (!kept.entries.length) Object.assign(kept, { slip: {}, reason: "" });
      });
      done = true;
    }
  }
  if (done && ofUnit && location.pathname.endsWith("/report") && !document.querySelector("main .problems")) location.reload();
}

/** Saves a form at every change, and fills it again after a closed browser. */
export function keepTyping(form, key, { fills }) {
  const fields = () => [...new FormData(form)].filter(([name]) => !name.includes("password"));
  const save = () => put("typing", { fields: fields(), at: Date.now() }, key).catch(show);
  form.addEventListener("input", save);
  form.addEventListener("click", () => setTimeout(save));
  form.addEventListener("submit", () => sessionStorage.setItem("sent", JSON.stringify([key, location.pathname])));
  return fills && get("typing", key).then((kept) => kept && fill(form, kept.fields));
}

export function fill(form, fields) {
  for (const [name, value] of fields) {
    for (const field of form.elements) {
      if (field.name !== name || field.type === "password") continue;
      if (["radio", "checkbox"].includes(field.type)) field.checked ||= field.value === value;
      else field.value = value;
      if (value && field.closest("details")) field.closest("details").open = true;
    }
  }
}

async function typing(person) {
  const sent = JSON.parse(sessionStorage.getItem("sent"));
  if (sent && sent[1] !== location.pathname) await drop("typing", sent[0]);
  sessionStorage.removeItem("sent");
  const fills = !document.querySelector("main .problems[role=alert]");
  const form = [...document.querySelectorAll("main form[method=post]")].find((one) => one.querySelector("fieldset, textarea"));
  if (form && ofUnit) await keepTyping(form, `${person}|${location.pathname}${location.search}`, { fills });
}

const reports = (n, what) => `${n} ${n === 1 ? "report" : "reports"} ${what}`;

/** The one place that says what this tablet keeps and what waits on it. */
export async function show() {
  const lines = [], why = await cannotKeep();
  if (why && (document.body.classList.contains("crew") || shell)) lines.push(why);
  if (!why) {
    const person = await personHere(), queue = await all("queue"), drafts = await all("drafts");
    const mine = queue.filter((one) => one.person === person), others = queue.length - mine.length;
    if (mine.length) lines.push(link("#/queue", reports(mine.length, "signed on this tablet, waiting to be sent.")));
    if (others) lines.push(reports(others, "of somebody else on this tablet, waiting to be sent: nothing needs doing."));
    for (const draft of drafts.filter((one) => one.person === person && (one.reason || one.entries.some((e) => !e.there)))) {
      lines.push(link(`#/units/${slug(draft.unit)}/report`, `${draft.unit}: ${draft.reason || "written down on this tablet, not signed."}`));
    }
    const clock = await get("meta", "clock");
    if (clock) lines.push(`This tablet's clock is ${Math.round(Math.abs(clock) / 60000)} minutes ${clock > 0 ? "ahead" : "behind"}. Both times are kept with what you send.`);
  }
  place.className = why ? "problems" : "done";
  place.hidden = !lines.length;
  place.replaceChildren(...lines.map((line) => el("p", {}, line)));
}
const link = (hash, text) => el("a", { href: `/offline${hash}`, textContent: text });

/** Whoever signs out with something waiting is told so first; it stays theirs. */
function warnAtSignOut(person) {
  document.querySelector('form[action="/sign-out"]')?.addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = event.target, mine = [...await all("queue"), ...await all("drafts")].filter((one) => one.person === person).length;
    if (mine && !form.dataset.warned) {
      form.dataset.warned = "yes";
      place.prepend(el("p", { className: "says", textContent: `${mine} of your reports ${mine === 1 ? "is" : "are"} still on this tablet. ` +
        "Signed ones are sent as soon as there is network, drafts are kept for you. Press 'Sign out' once more to go." }));
      place.hidden = false;
      place.scrollIntoView({ block: "center" });
      return;
    }
    await drop("meta", "person");
    await caches.delete("pages");
    form.submit();
  });
}

async function start() {
  addEventListener("kept", show);
  await show();
  if (await cannotKeep() || !("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/worker.js");
  navigator.storage?.persist?.();
  flush();
  const person = place.dataset.person;
  if (!person) return;
  if ((await get("meta", "person")) !== person) {
    // Pages name whoever they were made for; drafts and queue are not touched.
    await caches.delete("pages");
    await change(["meta"], async (of) => {
      await ask(of("meta").put(person, "person"));
      await ask(of("meta").delete("area"));
      await ask(of("meta").delete("recent"));
    });
  }
  warnAtSignOut(person);
  await takeCaught(person);
  await typing(person);
  await makeKey(person);
  const recent = ofUnit ? unitOf(ofUnit) : (await get("meta", "recent"))?.[0];
  if (ofUnit) await opened(person, recent);
  else if (recent) await fetchUnit(person, recent);
  await handOver(person);
  tell();
}
localStorage.setItem("palette", document.documentElement.dataset.palette ?? "");
if (!shell) start().catch(() => {});
