// The crew's pages without network, on the page /offline that the worker keeps: choose, tap, fill in, sign. What was typed
// is kept by its names in the server's forms, so that it can still go there; contract.js writes the report.
import { all, changeDraft, draftOf, drop, freshId, get, putEntry, slug, unitOf } from "./keep.js";
import { entryOf, reportOf, settle } from "./contract.js";
import { flush, sign, tell } from "./sending.js";
import { el, fill, keepTyping, personHere, show, takeCaught } from "./online.js";

const root = document.getElementById("shell"), { zone } = document.getElementById("kept").dataset;
let me, at;

/** A template with its slots filled; what is empty is taken away. */
function view(id, slots = {}, unit = "") {
  const made = document.getElementById(`t-${id}`).content.cloneNode(true);
  for (const [name, value] of Object.entries(slots)) {
    for (const slot of made.querySelectorAll(`[data-slot="${name}"]`)) {
      if (!value || value.length === 0) slot.remove();
      else if (value !== true) slot.append(...[value].flat());
    }
  }
  for (const link of made.querySelectorAll("a[href*=UNIT]")) link.setAttribute("href", link.getAttribute("href").replace("UNIT", slug(unit)));
  for (const text of made.querySelectorAll("h1, a.button")) text.childNodes.forEach((node) => { if (node.nodeType === 3) node.data = node.data.replace("UNIT", unit); });
  return made;
}

async function json(path) {
  try {
    const answer = await fetch(path), kept = Number(answer.headers.get("kept-at")) || Date.now();
    return answer.ok && { ...await answer.json(), kept };
  } catch { return null; }
}

function age(ms) {
  const minutes = Math.max(0, Math.round(ms / 60000));
  return minutes < 120 ? `${minutes} min` : minutes < 2880 ? `${Math.round(minutes / 60)} h` : `${Math.round(minutes / 1440)} days`;
}

/** A unit as this tablet knows it, with all that its person wrote and did not sign. */
async function about(unit) {
  const full = await json(`/offline/units/${slug(unit)}`), short = (await get("meta", "units"))?.find((one) => one.unit === unit);
  const of = full?.class ?? short?.class, built = of && await json(`/offline/classes/${encodeURIComponent(of)}`);
  const queue = (await all("queue")).filter((one) => one.unit === unit && one.person === me);
  const signed = new Set(queue.flatMap((one) => JSON.parse(one.report).entries.map((entry) => entry.id)));
  const there = full?.kept > ((await get("meta", `signed|${unit}`)) ?? 0) && full.draft;
  const draft = (await draftOf(me, unit)) ?? { key: `${me}|${unit}`, person: me, unit, id: null, version: 0, slip: {}, entries: [], reason: "" };
  const mine = draft.entries;
  draft.entries = there ? there.entries.filter((entry) => !signed.has(entry.id)) : [];
  mine.forEach((entry) => putEntry(draft, { ...entry, kind: entry.kind ?? draft.entries.find((e) => e.id === entry.id)?.kind }));
  if (!draft.id) draft.id = there && !queue.some((one) => one.id === there.id) ? there.id : freshId();
  draft.slip = { ...full?.slip, ...draft.slip };
  const stood = full || short ? `The book as it stood ${age(Date.now() - (full?.kept ?? await get("meta", "area")))} ago.` : "Nothing of it is kept on this tablet.";
  return { unit, full, short, draft, stood, queue, panel: full?.panel ?? built?.panel, devices: built?.devices ?? {}, cutouts: full?.cutouts ?? [] };
}

const formOf = (kind, device) => {
  const made = document.getElementById(`t-${kind}${kind === "position" && device?.kind === "switch" ? "_switch" : ""}`);
  return { made, title: made.dataset.title, fields: JSON.parse(made.dataset.fields), times: JSON.parse(made.dataset.times) };
};
const paragraphs = (lines) => lines.map((line) => el("p", { textContent: line }));

const FITS = { breaker_trip: (d) => d.kind === "breaker", fuse_check: (d) => d.kind === "fuse", ground_relay: (d) => d.kind === "relay", bypass: (d) => d.cutout, position: () => true };

function panelOf({ panel, devices }, fits) {
  if (!panel) return null;
  const drawn = el("div", { innerHTML: panel });
  for (const link of drawn.querySelectorAll("a.device")) {
    const tag = new URLSearchParams(link.getAttribute("href")).get("device");
    if (!fits?.(devices[tag] ?? {})) link.removeAttribute("href");
  }
  return drawn;
}

async function entryPage(here, kind, asked) {
  const { unit, devices, draft } = here, known = draft.entries.find((entry) => entry.id === asked.get("entry"));
  const tag = known?.device ?? asked.get("device") ?? "", device = devices[tag], form = formOf(kind, device);
  const begins = FITS[kind] && !tag && (kind !== "ground_relay" || Object.values(devices).some(FITS[kind]));
  if (begins) return view("pick", { title: form.title, stood: here.stood, panel: panelOf(here, FITS[kind]), none: !here.panel }, unit);
  const facts = device && [el("summary", { textContent: "What the schedule says of it" }), el("dl", { className: "facts" }, ...device.lines.flatMap(([name, says]) => [el("dt", {}, name), el("dd", {}, says)]))];
  const page = view("entry", { title: form.title, stood: here.stood, device: device && `${device.legend} ${tag}. `, facts, plate: tag === "?", asks: form.made.content.cloneNode(true) }, unit);
  const made = page.querySelector("form"), key = `${me}|${location.pathname}|${at}`;
  let id = known?.id ?? freshId();
  made.append(el("input", { type: "hidden", name: "entry", value: id }));
  if (known) fill(made, Object.entries(known.typed));
  await keepTyping(made, key, { fills: true });
  id = made.elements.entry.value;
  made.onsubmit = async (event) => {
    event.preventDefault();
    const { entry: _, ...typed } = Object.fromEntries(new FormData(made));
    settle(typed, zone, Date.now());
    const entry = { id, kind, device: tag, typed, there: false };
    const [, says] = entryOf(form, entry, me, zone);
    if (wrong(made, says)) return;
    await changeDraft(me, unit, (kept) => { kept.id ??= draft.id; putEntry(kept, entry); });
    await drop("typing", key);
    tell();
    go(`/units/${slug(unit)}/report`);
  };
  return page;
}

/** A sentence beside each field; true if there is one. */
function wrong(form, says) {
  form.querySelectorAll(".says.here").forEach((old) => old.remove());
  for (const [name, text] of Object.entries(says)) {
    const field = form.querySelector(`[name="${name}"]`), beside = field?.closest("fieldset, .field") ?? form;
    beside.prepend(el("p", { className: "says here", textContent: text }));
    if (field?.closest("details")) field.closest("details").open = true;
  }
  form.querySelector(".says.here")?.scrollIntoView({ block: "center" });
  return Object.keys(says).length > 0;
}

/** The answers in the words of the form. */
function words({ made }, typed) {
  const said = [...made.content.querySelectorAll("input[type=radio]")].filter((key) => key.name !== "when" && typed[key.name] === key.value);
  return [...said.map((key) => `${key.closest("fieldset").querySelector("legend").textContent} ${key.parentNode.textContent.trim()}.`), typed.text, typed.note].filter(Boolean).join(" ");
}

function line(here, entry, says) {
  const form = formOf(entry.kind, here.devices[entry.device]);
  const when = { found: "found ", not_known: "not known when, before " }[entry.typed.when] ?? "";
  const [json] = entryOf(form, entry, me, zone), stamp = json[form.times[0]] ?? json[form.times[1]] ?? "";
  const made = view("line", { what: `${form.title} ${entry.device}`, when: when + stamp.slice(0, 16).replace("T", " "), says: words(form, entry.typed), wrong: says && Object.values(says).join(" "), change: "Change" }, here.unit);
  made.querySelector("a").href = `/units/${slug(here.unit)}/write/${entry.kind}?entry=${entry.id}`;
  const out = made.querySelector("[data-do=out]");
  // What lies in the draft on the server is taken out there.
  if (here.full?.draft?.entries.some((known) => known.id === entry.id)) out.remove();
  out.onclick = async () => {
    await changeDraft(me, here.unit, (kept) => { kept.entries = kept.entries.filter((known) => known.id !== entry.id); });
    go(at);
  };
  return made;
}

async function reportPage(here, says = "") {
  const { unit, draft, cutouts, full, devices } = here, key = await get("keys", me), signs = key?.until > Date.now();
  const jsons = draft.entries.map((entry) => entryOf(formOf(entry.kind, devices[entry.device]), entry, me, zone));
  const leave = cutouts.map((tag) => el("div", { innerHTML: document.getElementById("t-cutout").innerHTML.replaceAll("TAG", tag) }));
  const gaps = jsons.map(([e]) => (["off", "tripped", "cut_out"].includes(e.left) ? `${e.device} is left ${e.left}` : e.kind === "bypass" && !e.closed_at && `${e.device} stands open`)).filter(Boolean);
  const page = view("report", { wrong: paragraphs([says, draft.reason].filter(Boolean)), lines: draft.entries.map((entry, i) => line(here, entry, jsons[i][1])), nothing: !draft.entries.length, gaps: paragraphs(gaps), leave, me: me, signs, sign: signs, nokey: !signs }, unit);
  const form = page.querySelector("form"), typing = `${me}|${location.pathname}|${at}`;
  fill(form, Object.entries(draft.slip));
  await keepTyping(form, typing, { fills: true });
  form.onsubmit = async (event) => {
    event.preventDefault();
    const { name, ...slip } = Object.fromEntries(new FormData(form));
    const entries = jsons.map(([entry]) => entry).sort((a, b) => Date.parse(a.at ?? 0) - Date.parse(b.at ?? 0));
    const signed = { ...draft, slip: { ...draft.slip, ...slip } };
    const [report, odd] = reportOf(signed, JSON.parse(document.getElementById("t-report").dataset.fields), entries, cutouts, full?.open ?? [], me, zone, Date.now());
    if (!name) odd.name = "Say that it is you.";
    if (wrong(form, odd)) return;
    if (jsons.some(([, bad]) => Object.keys(bad).length)) return reshow("One of the entries cannot be sent like this: change it.");
    if (!(await sign(signed, report, key))) return reshow("This was changed or signed in another tab meanwhile: look again, then sign.");
    await drop("typing", typing);
    tell();
    go("/queue");
    flush();
  };
  const reshow = async (why) => root.replaceChildren(await reportPage(await about(unit), why));
  form.querySelector("[data-do=discard]").onclick = async ({ target }) => {
    if (!target.dataset.sure) return Object.assign(target, { textContent: "Press again: it is gone for good" }).dataset.sure = "yes";
    await changeDraft(me, unit, (kept) => { Object.assign(kept, { entries: [], slip: {}, reason: "" }); });
    tell();
    go("/units");
  };
  return page;
}

const row = (href, main, ...sub) => el("li", {}, el("a", { className: "whole", href }, el("span", {}, el("span", { className: "main" }, main), ...sub.map((text) => el("span", { className: "sub" }, text)))));
const plain = (main, sub) => el("li", {}, el("span", { className: "main" }, main), el("span", { className: "sub figures" }, sub));
const local = (at) => new Date(at).toLocaleString();

async function listPage(no) {
  const recent = (await get("meta", "recent")) ?? [], units = (await get("meta", "units")) ?? [], queue = await all("queue");
  const mine = queue.filter((one) => one.person === me), sent = ((await get("meta", "sent")) ?? []).filter((one) => one.person === me);
  const near = units.filter((one) => !recent.includes(one.unit)), persists = await navigator.storage?.persisted?.();
  const page = view("list", {
    who: me ? `What this tablet keeps for ${me}.` : "Nobody is signed in on this tablet. What was written on it is kept, and what was signed is sent.", no, none: !recent.length,
    recent: recent.map((unit) => row(`/units/${slug(unit)}`, unit)), near: near.map((one) => row(`/units/${slug(one.unit)}`, one.unit, one.amiss.join(", ") || "Nothing written that is not where it should be", ...one.held)), "near-there": near.length > 0,
    queue: mine.map((one) => plain(one.unit, `signed ${local(one.signed_at)}`)), "queued-there": queue.length > 0, others: queue.length > mine.length && `${queue.length - mine.length} of somebody else wait here, too.`,
    persists: !persists && "This browser may throw away what it keeps when the tablet runs out of room: save the queue to a file as well. Whoever keeps this book can send it in.",
    sent: sent.map((one) => row(`/reports/${one.id}`, one.unit, `in the book on page ${one.page}, sent ${local(one.at)}`, ...one.warnings)), "sent-there": sent.length > 0,
  });
  page.querySelector("form").onsubmit = (event) => {
    event.preventDefault();
    const typed = event.target.q.value.trim().toUpperCase();
    if (typed) go(`/units/${slug(/^\d/.test(typed) ? `${root.dataset.mark} ${typed}` : typed)}/write`);
  };
  const act = (name, work) => { const button = page.querySelector(`[data-do=${name}]`); if (button) button.onclick = work; };
  act("send", () => flush());
  act("save", () => {
    const file = new Blob([JSON.stringify(mine.map(({ draft, ...record }) => record), null, 1)], { type: "application/json" });
    el("a", { href: URL.createObjectURL(file), download: "breakerbook-queue.json" }).click();
  });
  return page;
}

async function pageAt(path) {
  const [, unitSlug, rest = ""] = /^\/units\/([^/?]+)\/?(.*)$/.exec(path) ?? [];
  if (!unitSlug || !me) return listPage(path === "/no");
  const here = await about(unitOf(unitSlug)), url = new URL(path, location.href), kind = /^write\/(\w+)/.exec(rest)?.[1];
  if (kind) return entryPage(here, kind, url.searchParams);
  if (rest.startsWith("write")) return view("choose", { stood: here.stood }, here.unit);
  if (rest.startsWith("report")) return reportPage(here);
  return view("unit", { stood: here.stood, held: paragraphs([...(here.short?.held ?? []), here.short?.sentence].filter(Boolean)), panel: panelOf(here) }, here.unit);
}

/** Within this page: by its address where the worker put it there, else behind the hash. */
async function go(path, add = true) {
  at = path;
  const href = location.pathname === "/offline" ? `#${path}` : path;
  if (add) history.pushState(null, "", href);
  root.replaceChildren(await pageAt(path));
  scrollTo(0, 0);
}
const path = () => (location.pathname === "/offline" ? location.hash.slice(1) : location.pathname + location.search);
root.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (!link || link.download) return;
  const to = link.getAttribute("href");
  // A handover that is kept is a page of its own.
  if (/^\/units\/[^/]+$|^\/reports/.test(to) && location.pathname !== "/offline") return;
  event.preventDefault();
  go(to.startsWith("?") ? path().split("?")[0] + to : to);
});
addEventListener("popstate", () => go(path(), false));
addEventListener("kept", () => { show(); if (["/queue", "/units", "", "/"].includes(at)) go(at, false); });

document.documentElement.dataset.palette = localStorage.getItem("palette") || "";
me = await personHere();
if (me) await takeCaught(me);
await go(path(), false);
tell();
flush();
