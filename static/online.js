// On every page: keeps what is needed without network and what is typed, and says what waits on this tablet.
import { all, cannotKeep, change, changeDraft, drop, get, note, put, slug, span, stood, takeOut } from "./keep.js";
import { flush, makeKey, tell } from "./sending.js";

// Of a page of the server's; the shell goes from page to page.
const here = location.pathname, place = byId("kept"), shell = byId("shell");
const slugHere = /^\/units\/([^/]+)/.exec(here)?.[1];

export function byId(id) {
  return document.getElementById(id);
}
/** As a form sends it. */
const post = (path, fields) => fetch(path, { method: "POST", body: new URLSearchParams(fields) });
export function el(name, with_ = {}, ...inside) {
  const made = Object.assign(document.createElement(name), with_);
  made.append(...inside);
  return made;
}
export const paragraphs = (lines) => lines.filter(Boolean).map((line) => el("p", {}, line));

/** Whoever signed in last on this tablet. */
export const personHere = async () => place.dataset.person ?? (shell ? note("person") : undefined);

/** Saves a form at every change under who and where it is, and fills it again after a closed browser. */
export async function keepTyping(form, key, fills = true) {
  const fields = () => [...new FormData(form)].filter(([name]) => !/password|signature/.test(name));
  const save = () => put("typing", fields(), key).catch(show);
  form.addEventListener("submit", () => { Object.assign(sessionStorage, { sent: JSON.stringify([key, location.pathname]), [key]: JSON.stringify(fields()) }); });
  const kept = fills && await get("typing", key);
  // A report's page has the draft as it is now, and shows it: only an entry may not take the place of a newer one.
  if (kept) fill(form, kept.filter(([name]) => form.elements.entry || !/version$/.test(name)));
  form.addEventListener("input", save);
  form.addEventListener("click", () => setTimeout(save));
}

export function fill(form, fields) {
  for (const field of form.elements) {
    const of = fields.filter(([name]) => name === field.name).map(([, value]) => value);
    if (!of.length || field.type === "password") continue;
    if (["radio", "checkbox"].includes(field.type)) field.checked = of.includes(field.value);
    else [field.value] = of;
    const more = of[0] && field.closest("details");
    if (more) more.open = true;
  }
}

/** The form that was being sent when this page came, as [key, path]: it got through if this is another page of the server's. */
export function wasSent() {
  const sent = JSON.parse(sessionStorage.sent ?? null);
  delete sessionStorage.sent;
  return sent;
}

async function keepUnit(person, unit) {
  const recent = [unit, ...((await note("recent")) ?? []).filter((known) => known !== unit)], pages = await caches.open("pages");
  await put("meta", recent.slice(0, 20), "recent");
  const paths = (of) => [`/offline/units/${slug(of)}`, `/units/${slug(of)}`];
  await Promise.all(recent.slice(20).flatMap(paths).map((path) => pages.delete(path)));
  for (const path of paths(unit)) if (path !== here || !(await pages.match(path))) await fetch(path);
  await fetch("/offline/run");
  if (Date.now() - ((await note("area")) ?? 0) < 6e5) return;
  const area = await (await fetch(`/offline/area/${slug(unit)}`)).json();
  await put("meta", area.units, "units");
  for (const [name] of area.classes) await fetch(`/offline/classes/${encodeURIComponent(name)}`);
  await put("meta", Date.now(), "area");
}

/** What was written without network and not signed goes to the draft on the server, and the run beside it. */
async function handOver(person) {
  let taken = 0;
  const key = `run|${person}`, run = await note(key);
  // Once all that was signed is there: else the book would have its units wait for a signature.
  if (run && !(await all("queue", person)).length) {
    if (!run.units.length || (await post("/run", { ...run.slip, units: run.units, signed: run.signed })).url.includes("?kept=")) await drop("meta", key);
  }
  for (const { unit, entries, reason } of await all("drafts", person)) {
    for (const { id, kind, device, typed } of entries) {
      const answer = await post(`/units/${slug(unit)}/write/${kind}`, { ...typed, entry: id, device, sure: "yes" });
      if (answer.status === 422) {
        // Why stands on its form only: it is said where the draft waits.
        const says = el("div", { innerHTML: await answer.text() }).querySelector(".says")?.textContent, why = `Not taken: ${says}`;
        if (says && why !== reason) await changeDraft(person, unit, (draft) => { draft.reason = why; });
      }
      // 409: it has it already.
      if (!answer.url.includes("/report?") && answer.status !== 409) continue;
      // It stays here until the picture has it that signing without network goes by. What the worker kept is an old one.
      const seen = await fetch(`/offline/units/${slug(unit)}`);
      if (!seen.ok || seen.headers.has("kept-at")) return;
      await changeDraft(person, unit, (draft) => { takeOut(draft, id); if (!draft.entries.length) draft.reason = ""; });
      taken += 1;
    }
  }
  if (taken && here.endsWith("/report")) location.reload();
}

const reports = (n) => `${n} report${n > 1 ? "s" : ""}`;
const link = (path, text) => el("a", { href: `/offline#${path}`, textContent: text });

/** The one place that says what this tablet keeps. */
export async function show() {
  const aged = byId("aged"), why = await cannotKeep(), lines = [];
  if (aged) aged.firstChild.textContent = `No network. ${stood(Number(aged.dataset.at))} What others wrote since is not on this page.`;
  if (why && (shell || document.querySelector("body.crew"))) lines.push(why);
  if (!why) {
    const person = await personHere(), queue = await all("queue"), mine = queue.filter((one) => one.person === person).length;
    if (mine) lines.push(link("/units", `${reports(mine)} signed on this tablet, waiting to be sent`));
    if (queue.length > mine) lines.push(`${reports(queue.length - mine)} of somebody else on this tablet, waiting to be sent`);
    for (const { unit, reason } of await all("drafts", person ?? "nobody")) {
      lines.push(link(`/units/${slug(unit)}/report`, `${unit}: ${reason || "written down on this tablet, not signed"}`));
    }
    const off = (await note("clock")) ?? 0;
    if (Math.abs(off) > 3e5) lines.push(`This tablet's clock is ${span(off)} ${off > 0 ? "ahead" : "behind"}: set it. Both times are kept with what you send.`);
  }
  place.className = why ? "problems" : "done";
  place.hidden = !lines.length;
  place.replaceChildren(...paragraphs(lines));
}

/** Whoever signs out with something waiting is told so first; it stays theirs. */
const warnAtSignOut = (person) => document.querySelector('form[action="/sign-out"]').addEventListener("submit", async (event) => {
  event.preventDefault();
  const left = (await all("queue", person)).length + (await all("drafts", person)).length, there = await fetch("/health").catch(() => {});
  // Without network nobody else could sign in, and the tablet would be of no use to anybody.
  const why = !there?.ok ? "Signing out needs the network: do it later." : left && !place.dataset.warned
    ? `${reports(left)} of yours stay on this tablet, kept for you. Press 'Sign out' again to go.` : "";
  if (why) {
    if (there) place.dataset.warned = 1;
    place.prepend(el("p", { className: "says" }, why));
    place.hidden = false;
    place.scrollIntoView({ block: "center" });
    return;
  }
  await drop("meta", "person");
  await caches.delete("pages");
  event.target.submit();
});

async function typing() {
  // A form that came back is the same form, though its address has lost what stood behind the question mark. Of one that
  // got through nothing may stay: with its ids it would fill in the next one, and that be taken for it.
  const sent = wasSent(), back = document.querySelector("main [role=alert]"),
    key = back && sent?.[1] === here ? sent[0] : `${place.dataset.person}|${here}${location.search.replace("?wrote=yes", "")}`;
  if (sent && (sent[1] !== here || !back)) await drop("typing", sent[0]);
  const form = /^\/(units\/|run)/.test(here) && [...document.querySelectorAll("main form[method=post]")].find((one) => one.querySelector("fieldset,textarea"));
  // Going back brings a new page, for this one has fetched something: what was sent from it stands in it again, ids and all.
  const again = performance.getEntriesByType("navigation")[0].type[0] === "b" && sessionStorage[key];
  if (form && again) fill(form, JSON.parse(again));
  if (form) await keepTyping(form, key, !again && !back);
}

async function start() {
  addEventListener("kept", show);
  await show();
  if (await cannotKeep()) return;
  // Before anything that takes a while: until then nobody is told.
  const { person } = place.dataset;
  if (person) warnAtSignOut(person);
  await navigator.serviceWorker.register("/worker.js");
  await navigator.storage.persist();
  flush();
  if (!person) return;
  if ((await note("person")) !== person) {
    // Pages name whoever they were made for. Drafts, keys and the queue are not touched.
    await caches.delete("pages");
    await change(["meta"], async ({ meta }) => {
      meta.put(person, "person");
      ["area", "recent", "units"].forEach((name) => meta.delete(name));
    });
  }
  const at = await fetch("/health");
  await put("meta", Date.now() - Date.parse(at.headers.get("date")), "clock");
  await makeKey(person);
  await handOver(person);
  const unit = slugHere ? slugHere.replace("-", " ") : (await note("recent"))?.[0];
  if (unit) await keepUnit(person, unit);
  tell();
}
if (!shell) {
  localStorage.palette = document.documentElement.dataset.palette ?? "";
  // What fails here fails for want of network: the page itself needs none of it.
  typing().catch(show);
  start().catch(show);
}
