// The crew's pages without network, on the page /offline that the worker keeps: choose, tap, fill in, sign. What is typed
// is kept by its names in the server's forms, so that it can still go there; contract.js writes the report from it.
import { addReport, resetAnswer, resetSituation, startAnswer, startSituation } from "./answers.js";
import { OPEN, entryOf, leftBy, openAfter, reportOf, settle } from "./contract.js";
import { all, changeDraft, drop, freshId, get, local, newDraft, note, put, putEntry, slug, stood, takeOut } from "./keep.js";
import { byId, el, fill, keepTyping, paragraphs, personHere, show, wasSent } from "./online.js";
import { WIRE, flush, sign, tell } from "./sending.js";

const root = byId("shell"), offline = location.pathname === "/offline", zone = JSON.parse(root.dataset.zone), words = JSON.parse(root.dataset.words);
const template = (id) => byId(`t-${id}`);
let me, at, turn = 0;

/** A template with its slots filled; what is empty is taken away. Of slots of one name the last one, inside, is filled. `names`: what else stands for something in it. */
function view(id, slots, unit = "", names = {}) {
  let html = template(id).innerHTML.replaceAll("/UNIT", `/${slug(unit)}`).replaceAll("UNIT", unit);
  for (const name in names) html = html.replaceAll(name, names[name]);
  const made = el("div", { innerHTML: html });
  for (const slot of made.querySelectorAll("[data-slot]")) {
    const value = slots[slot.dataset.slot];
    if (!value || value.length === 0) slot.remove();
    else if (value !== true) slot.append(...[value].flat());
  }
  return made;
}

const typedIn = (form, by) => Object.fromEntries(new FormData(form, by));
/** Nothing of ours goes to the server by a form, and a second tap comes too late. */
const atSubmit = (form, work) => {
  let busy;
  form.onsubmit = (event) => {
    event.preventDefault();
    delete sessionStorage.sent;
    busy ??= work(typedIn(form), event.submitter).finally(() => { busy = null; });
  };
};

/** `412` and `qhb-0412` are QHB 412; nothing if it is no unit. */
function unitName(text) {
  const [, mark, number] = /^([a-z]{0,4})[ _-]*0*(\d{1,6}[a-z]?)$/i.exec(text.trim()) ?? [];
  return number && `${mark || root.dataset.mark} ${number}`.toUpperCase();
}

async function json(path) {
  const answer = await fetch(path).catch(() => null);
  return answer?.ok ? { ...await answer.json(), kept: Number(answer.headers.get("kept-at")) || Date.now() } : null;
}

/** The run somebody is on: as it was changed here, or as the book has it. */
const runHere = async () => (await note(`run|${me}`)) ?? (await json("/offline/run")) ?? { units: [], signed: [], slip: {} };

/** A unit as this tablet knows it, with all that its person wrote and did not sign. */
async function about(unit) {
  const full = await json(`/offline/units/${slug(unit)}`), short = ((await note("units")) ?? []).find((one) => one.unit === unit);
  const of = full?.class ?? short?.class, built = of && await json(`/offline/classes/${encodeURIComponent(of)}`);
  const done = (await note("done")) ?? [], fresh = newDraft(me, unit), mine = await get("drafts", fresh.key);
  const draft = { ...fresh, ...mine, entries: (full?.draft?.entries ?? []).filter((entry) => !done.includes(entry.id)) };
  if (!mine && full?.draft && !done.includes(full.draft.id)) draft.id = full.draft.id;
  mine?.entries.forEach((entry) => putEntry(draft, entry));
  const { units, slip } = await runHere(), place = units.indexOf(unit), position = full?.slip.position ?? (place ? "trail" : "lead");
  draft.slip = { ...full?.slip, ...(place >= 0 && { ...slip, ...(units[1] && { position, consist: units.join(", ") }) }), ...draft.slip };
  const queued = (await all("queue")).map((one) => JSON.parse(one.report));
  return { unit, full, short, draft, queued, together: place >= 0 && !!units[1], before: queued.filter((one) => one.unit === unit).flatMap((one) => one.entries),
    stood: full ? stood(full.kept) : short ? stood(await note("area")) : words.NOT_KEPT,
    panel: full?.panel ?? built?.panel, devices: built?.devices ?? {}, cutouts: full?.cutouts ?? [] };
}

function formOf(kind, device) {
  const { dataset, content } = template(kind === "position" && device?.kind === "switch" ? "position_switch" : kind);
  return { content, ...dataset, fields: JSON.parse(dataset.fields), times: JSON.parse(dataset.times) };
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
function known(here, id) {
  const entries = here.draft.entries.filter((entry) => entry.id !== id).map((entry) => entryJson(here, entry)[0]);
  return [...here.queued, { unit: here.unit, author: me, entries }].reduce(addReport, { ...here.full.situation, words });
}

async function mayReset(here, tag, id, signs) {
  if (!here.full) return [words.NO_RESET];
  const now = Date.now(), a = resetAnswer(resetSituation(known(here, id), tag, { ticked: signs ? [signs] : [], tripped_at: now }), now);
  return [a.says, a.before && `Before closing: ${a.before}`, a.after && `After closing: ${a.after}`, a.if_left_off && `If it is left off: ${a.if_left_off}`, a.always, a.defers];
}

/** The checks before a start, of the brakes or at parking, answered anew at every tap. */
async function walkPage(here, asked) {
  const walk = here.full?.walks?.[asked.get("for") || "start"];
  if (!walk) return view("choose", { stood: here.stood }, here.unit);
  const page = el("div", { innerHTML: walk }), [form, says, todo, cold] = ["form", ".answer", "#to-write", "#cold"].map((css) => page.querySelector(css));
  const figure = (text) => parseFloat(text?.replace(",", ".")) || null;
  let answer;
  const look = async () => {
    const of = typedIn(form), { checks } = here.full, marked = (how) => Object.keys(checks).filter((name) => of[name] === how).map((name) => checks[name]);
    const wrong = marked("not_right"), right = marked("right"), lines = [...wrong.map((check) => check.not_right), ...right.map((check) => check.right)].filter(Boolean);
    todo.hidden = !lines.length;
    todo.lastChild.replaceChildren(...lines.map(([href, text]) => row(href, text)));
    // Whoever goes back finds it as it was marked.
    history.replaceState(null, "", shown(at = `${at.split("?")[0]}?${new URLSearchParams(of)}`));
    if (!says) return;
    answer = startAnswer(startSituation(known(here), {
      battery_rest_v: figure(of.battery_rest_v), main_reservoir_psi: figure(of.main_reservoir_psi), test_cock: of.test_cock_result, shut_down: of.shut_down,
      not_right: wrong.filter((check) => check.starts).map((check) => check.text), seen_on: right.map((check) => check.device).filter(Boolean),
    }), Date.now());
    cold.hidden = !answer.cold;
    says.replaceChildren(...paragraphs([answer.says, ...answer.would_change.map((line) => `It would change: ${line}`), answer.cold, answer.crank, answer.picture, answer.defers]));
  };
  page.querySelector(".lead").append(` ${here.stood}`);
  fill(form, [...asked]);
  form.addEventListener("change", look);
  atSubmit(form, async (_, by) => {
    const to = by?.getAttribute("formaction");
    await look();
    if (!to) return (says ?? todo).scrollIntoView();
    const { attempt, cold, verdict } = answer, motors = verdict === "not_now" ? "" : verdict;
    go(`${to}?${new URLSearchParams({ ...typedIn(form, by), attempt, motors, after_long_shutdown: cold ? "yes" : "no" })}`);
  });
  await look();
  return page;
}

async function entryPage(here, kind, asked) {
  const { unit, devices, draft } = here, before = draft.entries.find((entry) => entry.id === asked.get("entry"));
  const tag = before?.device ?? asked.get("device") ?? "", device = devices[tag], form = formOf(kind, device);
  if (!tag && !before && (form.begins || Object.values(devices).some((d) => d.fits.includes(kind)))) {
    return view("pick", { title: form.title, stood: here.stood, panel: panelOf(here, kind), none: !here.panel }, unit);
  }
  const facts = device?.lines.flatMap(([name, says]) => [el("dt", {}, name), el("dd", {}, says)]);
  const page = view("entry", { title: form.title, stood: here.stood, device: device && `${device.legend} ${tag}. `, facts, more: !!device, plate: tag === "?", asks: form.content.cloneNode(true) }, unit);
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
  atSubmit(made, async ({ entry: _, ...typed }) => {
    settle(typed, zone, Date.now());
    const entry = { id, kind, device: tag, typed };
    if (wrong(made, entryJson(here, entry)[1])) return;
    await keepEntry(unit, draft.id, entry, key);
    go(`/units/${slug(unit)}/report`);
  });
  return page;
}

async function keepEntry(unit, report, entry, key) {
  await changeDraft(me, unit, (kept) => { if (!kept.version) kept.id = report; putEntry(kept, entry); });
  await drop("typing", key);
}

/** A sentence beside each field that is odd, by the sentence's name; true if there is one. */
function wrong(form, odd) {
  form.querySelectorAll(".says").forEach((old) => old.remove());
  for (const [name, says] of Object.entries(odd)) {
    const field = form.querySelector(`[name="${name}"]`), more = field?.closest("details");
    (field?.closest("fieldset, .field, .key") ?? form).before(el("p", { className: "says" }, words[says]));
    if (more) more.open = true;
  }
  const first = form.querySelector(".says");
  first?.scrollIntoView({ block: "center" });
  return first;
}

/** An entry in the words of its form. */
function line(here, entry) {
  const { content, title, times } = formOf(entry.kind, here.devices[entry.device]), [json, says] = entryJson(here, entry), { typed, id } = entry;
  const keys = [...content.querySelectorAll("input[type=radio]")].filter((key) => key.name !== "when" && typed[key.name] === key.value);
  const words = keys.map((key) => `${key.closest("fieldset").firstElementChild.textContent} ${key.parentNode.textContent.trim()}.`);
  const when = { found: "found ", not_known: "before " }[typed.when] ?? "", of = (json[times[0]] ?? json[times[1]] ?? "").slice(0, 16).replace("T", " ");
  const made = view("line", {
    what: `${title} ${entry.device}`, when: when + of, says: [...words, typed.text, typed.note].filter(Boolean).join(" "), wrong: Object.values(says).map((name) => words[name]).join(" "),
    // What lies in the draft on the server is taken out there.
    out: !here.full?.draft?.entries.some((known) => known.id === id),
  }, here.unit, { KIND: entry.kind, ENTRY: id });
  const out = made.querySelector("button");
  if (out) out.onclick = async () => { await changeDraft(me, here.unit, (kept) => takeOut(kept, id)); tell(); go(at, false); };
  return made.firstElementChild;
}

/** What is left open by these entries, and by the book where none of them is about it. */
function gaps({ full, before }, entries) {
  const left = leftBy([...before, ...entries]);
  return [...[...left].filter(([, how]) => OPEN.includes(how)).map(([tag, how]) => `${tag} is left ${how.replace("_", " ")}.`),
    ...Object.entries(full?.still ?? {}).filter(([tag]) => !left.has(tag)).map(([, says]) => says)];
}

/** Its unit is signed for; what was said of the run holds for the others. */
async function leaves({ unit, slip }) {
  const run = await runHere();
  if (!run.units.includes(unit)) return;
  for (const name in slip) if (slip[name] && /^(run\.|occasion|weather)/.test(name)) run.slip[name] = slip[name];
  run.signed.push(unit);
  await put("meta", run.units.every((one) => run.signed.includes(one)) ? { units: [], signed: [], slip: {} } : run, `run|${me}`);
}

/** The report of one unit, those of a run's several units, or one entry that is sent at once. */
async function reportPage(heres, several, once, says) {
  const key = await get("keys", me), signs = key?.until > Date.now(), whole = !once, [{ unit }] = heres;
  const parts = heres.map((here) => {
    const { draft, full, before } = here, own = several ? `${slug(here.unit)}.` : "";
    if (once) {
      here.cutouts = [];
      Object.assign(draft, { id: freshId(), entries: draft.entries.filter(({ id }) => id === once) });
    }
    const both = draft.entries.map((entry) => entryJson(here, entry)), entries = both.map(([json]) => json), open = whole ? gaps(here, entries) : [];
    Object.assign(here, { own, entries, open, bad: both.some(([, says]) => Object.keys(says)[0]), stands: openAfter(full?.open ?? [], [...before, ...entries]) });
    return view("part", { lines: draft.entries.map((entry) => line(here, entry)), nothing: !entries.length, whole, gaps: paragraphs(open),
      leave: here.cutouts.map((tag) => view("cutout", {}, here.unit, { "OWN.": own, TAG: tag })) }, here.unit, { "OWN.": own });
  });
  const page = view("report", { several, single: whole && !several, once: !!once, together: heres[0].together && !several && whole, whole, parts, open: heres.some((here) => here.open[0]),
    wrong: paragraphs([says, ...heres.map((here) => here.draft.reason)]), me, signs, nokey: !signs }, unit);
  const form = page.querySelector("form"), typing = `${me}|${several ? at : `/units/${slug(unit)}/report`}`;
  for (const { own, draft } of heres) fill(form, Object.entries(draft.slip).map(([name, text]) => [form.elements[own + name] ? own + name : name, text]));
  await keepTyping(form, typing);
  atSubmit(form, async ({ signature, ...all }) => {
    const odd = {};
    const ready = heres.map((here) => {
      const { own, draft, entries } = here, slip = Object.fromEntries(Object.entries(all).map(([name, text]) => [name.startsWith(own) ? name.slice(own.length) : name, text]));
      const signed = { ...draft, slip }, [report, says] = reportOf(signed, JSON.parse(template("report").dataset.fields), [...entries], here.cutouts, here.stands, me, zone, Date.now());
      for (const name in says) odd[form.elements[own + name] ? own + name : name] = says[name];
      const open = slip.hand_over ? gaps(here, report.entries) : [];
      // As src/pages/crew/handing.rs has it: the next crew's handover looks for these words.
      if (open[0]) report.remarks = [report.remarks, `${words.HANDED}${slip.handed_to ? ` to ${slip.handed_to.trim()}` : ""}:`, ...open].filter(Boolean).join(" ");
      if (once) report.final = false;
      return [signed, report];
    });
    if (!signature) odd.signature = "WHO";
    if (wrong(form, odd)) return;
    let why = heres.some((here) => here.bad) && words.BAD_ENTRY;
    for (const [signed, report] of why ? [] : ready) {
      if (!(await sign(signed, report, key))) { why = words.OTHER_TAB; break; }
      if (whole) await leaves(signed);
    }
    if (why) return go(at, false, why);
    if (whole) await drop("typing", typing);
    await go(once ? `/units/${slug(unit)}/report` : "/units");
    flush();
  });
  const discard = form.querySelector("[data-do=discard]");
  if (discard) discard.onclick = async () => {
    if (!confirm(words.GONE)) return;
    await changeDraft(me, unit, (kept) => { Object.assign(kept, { entries: [], reason: "" }); });
    await drop("typing", typing);
    go("/units");
  };
  return page;
}

/** The run: its units, and what is said of it once for all of them. */
async function runPage({ units, signed, slip }, awaits) {
  const lines = units.map((unit) => view("unit", { signed: signed.includes(unit), open: awaits.includes(unit) }, unit));
  const page = view("run", { lines, awaits: !!awaits[0] }), form = page.querySelector("form"), key = `${me}|/run`;
  fill(form, Object.entries({ ...slip, units: units.join(", ") }));
  await keepTyping(form, key);
  atSubmit(form, async ({ units: named, ...typed }) => {
    const all = named.split(/[,;]/).filter((one) => one.trim()).map(unitName);
    if (wrong(form, all[0] && all.every(Boolean) ? {} : { units: "UNITS" })) return;
    for (const name in typed) typed[name] || delete typed[name];
    await put("meta", { units: [...new Set(all)], signed: signed.filter((unit) => all.includes(unit)), slip: typed }, `run|${me}`);
    await drop("typing", key);
    go("/run");
  });
  return page;
}

const span = (className, text) => el("span", { className }, text);
const row = (href, main, ...sub) => el("li", {}, el("a", { className: "whole", href }, el("span", {}, span("main", main), ...sub.map((text) => span("sub", text)))));

async function listPage(no) {
  const recent = (await note("recent")) ?? [], queue = await all("queue"), mine = queue.filter((one) => one.person === me);
  const others = queue.length - mine.length;
  const units = (await note("units")) ?? [], sent = ((await note("sent")) ?? []).filter((one) => one.person === me);
  const near = units.filter((one) => !recent.includes(one.unit)).map((one) => row(`/units/${slug(one.unit)}`, one.unit, one.amiss.join(", "), ...one.held));
  const page = view("list", {
    me, goes: !!me, nobody: !me, no, none: !recent.length, near, recent: recent.map((unit) => row(`/units/${slug(unit)}`, unit)),
    queue: mine.map((one) => el("li", {}, span("main", one.unit), span("sub", `signed ${local(one.at)}`))), waits: !!queue[0], mine: mine.length,
    others: others && `${others} of somebody else`,
    sent: sent.map((one) => row(`/reports/${one.id}`, one.unit, `in the book on page ${one.page}, sent ${local(one.at)}`, ...one.warnings)),
    drops: !(await navigator.storage.persisted()),
  });
  const search = page.querySelector("form");
  atSubmit(search, async ({ q }) => {
    const unit = unitName(q);
    if (!wrong(search, unit ? {} : { q: "UNITS" })) go(`/units/${slug(unit)}/write`);
  });
  for (const button of page.querySelectorAll("[data-do]")) {
    button.onclick = button.dataset.do === "send" ? flush : () => {
      const lines = mine.map((one) => JSON.stringify(WIRE[one.v](one))).join("\n");
      el("a", { href: URL.createObjectURL(new Blob([lines])), download: "breakerbook-queue.jsonl" }).click();
    };
  }
  return page;
}

async function pageAt(path, says) {
  const [, name, step, kind, send] = /^\/units\/([^/?]+)(?:\/([\w-]+))?(?:\/([\w-]+))?(\/send)?/.exec(path) ?? [], [, run, close] = /^\/(run)(\/close)?(\?|$)/.exec(path) ?? [];
  if (run && me) {
    const of = await runHere(), awaits = of.units.filter((unit) => !of.signed.includes(unit));
    return close && awaits[0] ? reportPage(await Promise.all(awaits.map(about)), true, "", says) : runPage(of, awaits);
  }
  const unit = name && unitName(decodeURIComponent(name));
  if (!unit || !me) return listPage(path === "/no");
  const here = await about(unit), asked = new URL(path, location.href).searchParams;
  if (step === "write" && kind && template(kind)) return entryPage(here, kind, asked);
  if (step === "start-check") return walkPage(here, asked);
  if (step === "report") return reportPage([here], false, send && here.draft.entries.some(({ id }) => id === kind) && kind, says);
  return view("choose", { stood: here.stood, held: step ? [] : paragraphs([...(here.short?.held ?? []), here.short?.sentence]) }, here.unit);
}

const path = () => (offline ? location.hash.slice(1) : location.pathname + location.search);
const shown = (to) => (offline ? `#${to}` : to);
async function go(to, add = true, says = "") {
  at = to;
  if (add) history.pushState(null, "", shown(to));
  const mine = ++turn, page = await pageAt(to, says);
  // Whoever has gone on meanwhile is not taken back.
  if (mine !== turn) return;
  root.replaceChildren(page);
  if (add) {
    scrollTo(0, 0);
    root.focus();
  }
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
  const { entry, device = "", then, signer, version, ...rest } = Object.fromEntries(typed), here = await about(unitName(from.split("/")[2]));
  settle(rest, zone, Date.now());
  await keepEntry(here.unit, here.draft.id, { id: entry, kind, device, typed: rest }, key);
}
await go(path(), false);
flush();
