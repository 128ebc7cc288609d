// The crew's pages without network, on the page /offline that the worker keeps: choose, tap, fill in, sign. What is typed
// is kept by its names in the server's forms, so that it can still go there; contract.js writes the report from it.
import { addReport, resetAnswer, resetSituation, startAnswer, startSituation } from "./answers.js";
import { entryOf, openAfter, reportOf, settle } from "./contract.js";
import { all, changeDraft, drop, freshId, get, local, newDraft, putEntry, slug, stood, takeOut } from "./keep.js";
import { el, fill, keepTyping, paragraphs, personHere, show, wasSent } from "./online.js";
import { WIRE, flush, sign, tell } from "./sending.js";

const root = document.getElementById("shell"), zone = JSON.parse(root.dataset.zone);
const template = (id) => document.getElementById(`t-${id}`);
let me, at;

/** A template with its slots filled; what is empty is taken away. */
function view(id, slots, unit = "") {
  const made = el("div", { innerHTML: template(id).innerHTML.replaceAll("/UNIT", `/${slug(unit)}`).replaceAll("UNIT", unit) });
  for (const slot of made.querySelectorAll("[data-slot]")) {
    const value = slots[slot.dataset.slot];
    if (!value || value.length === 0) slot.remove();
    else if (value !== true) slot.append(...[value].flat());
  }
  return made;
}

async function json(path) {
  const answer = await fetch(path).catch(() => null);
  return answer?.ok ? { ...await answer.json(), kept: Number(answer.headers.get("kept-at")) || Date.now() } : null;
}

/** A unit as this tablet knows it, with all that its person wrote and did not sign. */
async function about(unit) {
  const full = await json(`/offline/units/${slug(unit)}`), short = ((await get("meta", "units")) ?? []).find((one) => one.unit === unit);
  const of = full?.class ?? short?.class, built = of && await json(`/offline/classes/${encodeURIComponent(of)}`);
  const done = (await get("meta", "done")) ?? [], fresh = newDraft(me, unit), mine = await get("drafts", fresh.key);
  const draft = { ...fresh, ...mine, entries: (full?.draft?.entries ?? []).filter((entry) => !done.includes(entry.id)) };
  if (!mine && full?.draft && !done.includes(full.draft.id)) draft.id = full.draft.id;
  mine?.entries.forEach((entry) => putEntry(draft, entry));
  draft.slip = { ...full?.slip, ...draft.slip };
  return { unit, full, short, draft, stood: full ? stood(full.kept) : short ? stood(await get("meta", "area")) : "Nothing of it is kept on this tablet.",
    panel: full?.panel ?? built?.panel, devices: built?.devices ?? {}, cutouts: full?.cutouts ?? [] };
}

function formOf(kind, device) {
  const { dataset, content } = template(kind === "position" && device?.kind === "switch" ? "position_switch" : kind);
  return { content, title: dataset.title, fields: JSON.parse(dataset.fields), times: JSON.parse(dataset.times) };
}
const entryJson = (here, entry) => entryOf(formOf(entry.kind, here.devices[entry.device]), entry, me, zone);

function panelOf({ panel, devices }, kind) {
  const drawn = el("div", { innerHTML: panel ?? "" });
  for (const link of drawn.querySelectorAll("a.device")) {
    if (!devices[new URLSearchParams(link.search).get("device")]?.fits.includes(kind)) link.removeAttribute("href");
  }
  return panel && drawn;
}

/** The book as it stood, with all that waits on this tablet but the entry that is asked about. */
async function known(here, id) {
  const queued = (await all("queue")).map((one) => JSON.parse(one.report));
  const entries = here.draft.entries.filter((entry) => entry.id !== id).map((entry) => entryJson(here, entry)[0]);
  return [...queued, { unit: here.unit, author: me, entries }].reduce(addReport, here.full.situation);
}

async function mayReset(here, tag, id, signs) {
  if (!here.full) return ["Do not reset: nothing of this unit is kept on this tablet. Ask first."];
  const now = Date.now(), a = resetAnswer(resetSituation(await known(here, id), tag, { ticked: signs ? [signs] : [], tripped_at: now }), now);
  return [a.says, a.before && `Before closing: ${a.before}`, a.after && `After closing: ${a.after}`, a.if_left_off && `If it is left off: ${a.if_left_off}`, a.always, a.defers];
}

/** The start check as it was kept, answered anew at every tap. */
async function startPage(here) {
  const had = here.full && await (await caches.open("pages")).match(`/units/${slug(here.unit)}/start-check`);
  if (!had) return view("choose", { stood: here.stood }, here.unit);
  const page = el("div", {}, ...new DOMParser().parseFromString(await had.text(), "text/html").querySelector("main").children);
  page.querySelectorAll("#kept, nav, .done").forEach((one) => one.remove());
  page.prepend(...paragraphs([here.stood]));
  const form = page.querySelector("form"), says = page.querySelector(".answer"), figure = (text) => parseFloat(text?.replace(",", ".")) || null;
  const look = async () => {
    const of = Object.fromEntries(new FormData(form)), checks = Object.entries(here.full.checks), marked = (how) => checks.filter(([name]) => of[name] === how);
    const a = startAnswer(startSituation(await known(here), {
      battery_rest_v: figure(of.battery_rest_v), main_reservoir_psi: figure(of.main_reservoir_psi), test_cock: of.test_cock_result, shut_down: of.shut_down,
      not_right: marked("not_right").filter(([, check]) => check[2]).map(([, check]) => check[0]), seen_on: marked("right").map(([, check]) => check[1]).filter(Boolean),
    }), Date.now());
    says.replaceChildren(...paragraphs([a.says, ...a.would_change.map((line) => `It would change: ${line}`), a.cold, a.crank, a.picture, a.defers]));
  };
  if (!says) return page;
  form.addEventListener("change", look);
  form.onsubmit = async (event) => {
    event.preventDefault();
    const to = event.submitter?.getAttribute("formaction");
    if (to) return go(`${to}?${new URLSearchParams(new FormData(form, event.submitter))}`);
    await look();
    says.scrollIntoView();
  };
  await look();
  return page;
}

/** These begin with a device, whatever is drawn. */
const BEGIN = ["breaker_trip", "fuse_check", "bypass", "position"];

async function entryPage(here, kind, asked) {
  const { unit, devices, draft } = here, before = draft.entries.find((entry) => entry.id === asked.get("entry"));
  const tag = before?.device ?? asked.get("device") ?? "", device = devices[tag], form = formOf(kind, device);
  if (!tag && !before && (BEGIN.includes(kind) || Object.values(devices).some((d) => d.fits.includes(kind)))) {
    return view("pick", { title: form.title, stood: here.stood, panel: panelOf(here, kind), none: !here.panel }, unit);
  }
  const facts = device?.lines.flatMap(([name, says]) => [el("dt", {}, name), el("dd", {}, says)]);
  const page = view("entry", { title: form.title, stood: here.stood, device: device ? `${device.legend} ${tag}. ` : "", facts, more: device && true, plate: tag === "?", asks: form.content.cloneNode(true) }, unit);
  const made = page.querySelector("form"), key = `${me}|${at}`;
  made.append(el("input", { type: "hidden", name: "entry", value: before?.id ?? freshId() }));
  fill(made, before ? Object.entries(before.typed) : [...asked]);
  await keepTyping(made, key);
  const id = made.elements.entry.value;
  if (kind === "breaker_trip") {
    const says = el("div", { className: "answer" }), look = async () => says.replaceChildren(...paragraphs(await mayReset(here, tag, id, made.elements.signs.value)));
    made.querySelector('[name="resets[0].result"]').closest("fieldset").parentNode.prepend(says);
    made.addEventListener("change", look);
    await look();
  }
  made.onsubmit = async (event) => {
    event.preventDefault();
    const { entry: _, ...typed } = Object.fromEntries(new FormData(made));
    settle(typed, zone, Date.now());
    const entry = { id, kind, device: tag, typed };
    if (wrong(made, entryJson(here, entry)[1])) return;
    await keepEntry(unit, draft.id, entry, key);
    go(`/units/${slug(unit)}/report`);
  };
  return page;
}

async function keepEntry(unit, report, entry, key) {
  await changeDraft(me, unit, (kept) => { if (!kept.version) kept.id = report; putEntry(kept, entry); });
  await drop("typing", key);
  delete sessionStorage.sent;
}

/** A sentence beside each field; true if there is one. */
function wrong(form, says) {
  form.querySelectorAll(".says").forEach((old) => old.remove());
  for (const [name, text] of Object.entries(says)) {
    const field = form.querySelector(`[name="${name}"]`), more = field?.closest("details");
    (field?.closest("fieldset, .field, .key") ?? form).before(el("p", { className: "says" }, text));
    if (more) more.open = true;
  }
  const first = form.querySelector(".says");
  first?.scrollIntoView({ block: "center" });
  return first;
}

/** An entry in the words of its form. */
function line(here, entry) {
  const { content, title, times } = formOf(entry.kind, here.devices[entry.device]), [json, says] = entryJson(here, entry), { typed } = entry;
  const keys = [...content.querySelectorAll("input[type=radio]")].filter((key) => key.name !== "when" && typed[key.name] === key.value);
  const words = keys.map((key) => `${key.closest("fieldset").querySelector("legend").textContent} ${key.parentNode.textContent.trim()}.`);
  const when = { found: "found ", not_known: "before " }[typed.when] ?? "", of = (json[times[0]] ?? json[times[1]] ?? "").slice(0, 16).replace("T", " ");
  const made = view("line", { what: `${title} ${entry.device}`, when: when + of, says: [...words, typed.text, typed.note].filter(Boolean).join(" "), wrong: Object.values(says).join(" "), doing: true, change: "Change" }, here.unit);
  made.querySelector("a").href = `/units/${slug(here.unit)}/write/${entry.kind}?entry=${entry.id}`;
  const out = made.querySelector("button");
  out.onclick = async () => { await changeDraft(me, here.unit, (kept) => takeOut(kept, entry.id)); tell(); go(at, false); };
  // What lies in the draft on the server is taken out there.
  if (here.full?.draft?.entries.some((known) => known.id === entry.id)) out.remove();
  return made.firstElementChild;
}

async function reportPage(here, says) {
  const { unit, draft, cutouts, full } = here, key = await get("keys", me), signs = key?.until > Date.now();
  const entries = draft.entries.map((entry) => entryJson(here, entry)[0]);
  const leave = cutouts.map((tag) => el("div", { innerHTML: template("cutout").innerHTML.replaceAll("TAG", tag) }));
  const left = entries.filter((e) => ["off", "tripped", "cut_out"].includes(e.left)).map((e) => `${e.device} is left ${e.left.replace("_", " ")}.`);
  const gaps = paragraphs([...left, ...[...openAfter(full?.open ?? [], entries)].map((tag) => `${tag} stands open.`)]);
  const page = view("report", { wrong: paragraphs([says, draft.reason]), lines: draft.entries.map((entry) => line(here, entry)), nothing: !entries.length, gaps, leave, me, signs, nokey: !signs }, unit);
  const form = page.querySelector("form"), typing = `${me}|${at}`;
  fill(form, Object.entries(draft.slip));
  await keepTyping(form, typing);
  form.onsubmit = async (event) => {
    event.preventDefault();
    const { signature, ...slip } = Object.fromEntries(new FormData(form)), signed = { ...draft, slip };
    const [report, odd] = reportOf(signed, JSON.parse(template("report").dataset.fields), [...entries], cutouts, full?.open ?? [], me, zone, Date.now());
    if (!signature) odd.signature = "Say that it is you.";
    if (wrong(form, odd)) return;
    const why = draft.entries.some((entry) => Object.keys(entryJson(here, entry)[1]).length) ? "One of the entries cannot be sent like this: change it."
      : (await sign(signed, report, key)) ? "" : "This was changed or signed in another tab meanwhile: look again, then sign.";
    if (why) return root.replaceChildren(await reportPage(await about(unit), why));
    await drop("typing", typing);
    delete sessionStorage.sent;
    await go("/units");
    flush();
  };
  form.querySelector("[data-do=discard]").onclick = async () => {
    if (!confirm("What is written down here and not signed is gone for good.")) return;
    await changeDraft(me, unit, (kept) => { Object.assign(kept, { entries: [], reason: "" }); });
    await drop("typing", typing);
    go("/units");
  };
  return page;
}

const span = (className, text) => el("span", { className }, text);
const row = (href, main, ...sub) => el("li", {}, el("a", { className: "whole", href }, el("span", {}, span("main", main), ...sub.map((text) => span("sub", text)))));

async function listPage(no) {
  const recent = (await get("meta", "recent")) ?? [], queue = await all("queue"), mine = queue.filter((one) => one.person === me);
  const units = (await get("meta", "units")) ?? [], sent = ((await get("meta", "sent")) ?? []).filter((one) => one.person === me);
  const near = units.filter((one) => !recent.includes(one.unit)).map((one) => row(`/units/${slug(one.unit)}`, one.unit, one.amiss.join(", "), ...one.held));
  const page = view("list", {
    me, nobody: !me, no, none: !recent.length, near, "near-there": near.length, recent: recent.map((unit) => row(`/units/${slug(unit)}`, unit)),
    queue: mine.map((one) => el("li", {}, span("main", one.unit), span("sub", `signed ${local(one.at)}`))), waits: queue.length, mine: mine.length,
    others: queue.length > mine.length && `${queue.length - mine.length} of somebody else`, "sent-there": sent.length,
    sent: sent.map((one) => row(`/reports/${one.id}`, one.unit, `in the book on page ${one.page}, sent ${local(one.at)}`, ...one.warnings)),
    drops: !(await navigator.storage.persisted()),
  });
  page.querySelector("form").onsubmit = (event) => {
    event.preventDefault();
    const typed = event.target.q.value.trim().toUpperCase();
    if (typed) go(`/units/${slug(/^\d/.test(typed) ? `${root.dataset.mark} ${typed}` : typed)}/write`);
  };
  for (const button of page.querySelectorAll("[data-do]")) {
    button.onclick = button.dataset.do === "send" ? flush : () => {
      const lines = mine.map((one) => JSON.stringify(WIRE[one.v](one))).join("\n");
      el("a", { href: URL.createObjectURL(new Blob([lines])), download: "breakerbook-queue.jsonl" }).click();
    };
  }
  return page;
}

async function pageAt(path) {
  const [, name, step, kind] = /^\/units\/([^/?]+)(?:\/([\w-]+))?(?:\/(\w+))?/.exec(path) ?? [];
  if (!name || !me) return listPage(path === "/no");
  const here = await about(decodeURIComponent(name).replace("-", " ").toUpperCase());
  if (kind && template(kind)) return entryPage(here, kind, new URL(path, location.href).searchParams);
  if (step === "start-check") return startPage(here);
  if (step === "report") return reportPage(here);
  return view("choose", { stood: here.stood, held: step ? [] : paragraphs([...(here.short?.held ?? []), here.short?.sentence]) }, here.unit);
}

const path = () => (location.pathname === "/offline" ? location.hash.slice(1) : location.pathname + location.search);
async function go(to, add = true) {
  at = to;
  if (add) history.pushState(null, "", location.pathname === "/offline" ? `#${to}` : to);
  root.replaceChildren(await pageAt(to));
  if (add) scrollTo(0, 0);
  show();
}
root.addEventListener("click", (event) => {
  const to = event.target.closest("a[href]")?.getAttribute("href");
  // A handover that is kept is a page of its own, and so is a receipt.
  if (!to || to.startsWith("blob:") || /^\/(units\/[^/]+|reports\/.*)$/.test(to)) return;
  event.preventDefault();
  go(to.startsWith("?") ? at.split("?")[0] + to : to);
});
// What fails here fails for want of room: it is said.
addEventListener("unhandledrejection", show);
addEventListener("popstate", () => go(path(), false));
addEventListener("kept", () => (/^(\/units|\/)?$/.test(at) ? go(at, false) : show()));

if (localStorage.palette) document.documentElement.dataset.palette = localStorage.palette;
me = await personHere();
// A form that did not get through from a page of the server's is written down here.
const [key, from] = (me && wasSent()) || [], kind = /^\/units\/[^/]+\/write\/(\w+)/.exec(from)?.[1], typed = key && await get("typing", key);
if (kind && typed) {
  const { entry, device = "", then, signer, version, ...rest } = Object.fromEntries(typed), here = await about(from.split("/")[2].replace("-", " "));
  settle(rest, zone, Date.now());
  await keepEntry(here.unit, here.draft.id, { id: entry, kind, device, typed: rest }, key);
}
await go(path(), false);
flush();
