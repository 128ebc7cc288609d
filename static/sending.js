// Signing on the tablet, and the queue: what was signed is sent once and in order, however often the network drops.
import { all, ask, change, draftKey, freshId, get, hex, put, putEntry } from "./keep.js";

const DAY = 864e5;
const P256 = { name: "ECDSA", namedCurve: "P-256" };
const told = new BroadcastChannel("breakerbook");

/** Something kept has changed: other tabs look again, and this one. */
export function tell() {
  told.postMessage("kept");
  dispatchEvent(new Event("kept"));
}
told.onmessage = () => dispatchEvent(new Event("kept"));

/** Makes a key for whoever has just signed in, when there is none that lasts; the book takes it only then. */
export async function makeKey(person) {
  const had = await get("keys", person);
  if ((had && had.until - Date.now() > 20 * DAY) || sessionStorage.getItem("no-key") === person) return;
  const pair = await crypto.subtle.generateKey(P256, false, ["sign"]);
  const id = crypto.randomUUID(), made = hex(await crypto.subtle.exportKey("raw", pair.publicKey));
  const body = JSON.stringify({ key: id, public_key: made });
  const answer = await fetch("/api/v1/tablet-keys", { method: "POST", headers: JSON_TYPE, body });
  if (answer.ok) await put("keys", { person, id, key: pair.privateKey, until: Date.parse((await answer.json()).until) });
  else if (answer.status === 403) sessionStorage.setItem("no-key", person);
}
const JSON_TYPE = { "content-type": "application/json" };

/** Signs the report's very bytes and puts them into the queue in place of the draft; false if the draft has changed. */
export async function sign(draft, report, key) {
  const text = JSON.stringify(report);
  const bytes = new TextEncoder().encode(text);
  const signature = hex(await crypto.subtle.sign({ ...P256, hash: "SHA-256" }, key.key, bytes));
  const record = { v: 1, id: report.id, person: draft.person, unit: draft.unit, key: key.id, report: text, signature,
    signed_at: Date.now(), draft };
  return change(["drafts", "queue"], async (of) => {
    const known = await ask(of("drafts").get(draft.key));
    if ((known?.version ?? 0) !== draft.version) return false;
    await ask(of("drafts").delete(draft.key));
    await ask(of("queue").add(record));
    return true;
  });
}

/** Only one tab sends at a time. */
export function flush() {
  clearTimeout(waiting);
  return navigator.locks ? navigator.locks.request("sending", { ifAvailable: true }, (lock) => lock && run()) : run();
}

let tries = 0, waiting;
function later(seconds) {
  const pause = seconds || Math.min(300, 2 ** tries) * (1 + Math.random() / 4);
  tries += 1;
  clearTimeout(waiting);
  waiting = setTimeout(flush, pause * 1000);
}
addEventListener("online", () => { tries = 0; flush(); });
document.addEventListener("visibilitychange", () => document.hidden || flush());

/** What version 1 of the queue sends; a later version of a record gets a line of its own beside it. */
const WIRE = { 1: (r) => ({ v: 1, key: r.key, report: r.report, signature: r.signature, clock: new Date().toISOString() }) };

async function run() {
  for (;;) {
    // One whose version this program does not know waits for one that does, and holds nothing up.
    const next = (await all("queue")).find((record) => WIRE[record.v]);
    if (!next) return;
    const outcome = await send(next);
    if (!outcome) return;
    tries = 0;
    await settleOne(next, outcome);
    tell();
  }
}

/** The book's own answer; nothing if none came, or somebody else's (a login page of the network) did. */
async function send(record) {
  const wanted = { method: "POST", headers: JSON_TYPE, credentials: "omit", body: JSON.stringify(WIRE[record.v](record)) };
  let answer;
  try {
    answer = await fetch("/api/v1/signed-reports", { ...wanted, signal: AbortSignal.timeout(30000) });
    const body = await answer.json();
    if (answer.ok && body.report === record.id) return { receipt: body };
    const final = answer.status >= 400 && answer.status < 500 && ![404, 405, 408, 429].includes(answer.status);
    if (final && Array.isArray(body.problems)) return { status: answer.status, problems: body.problems };
  } catch { /* no network, or no answer of ours */ }
  later(Number(answer?.headers.get("retry-after")));
  return null;
}

const settleOne = (record, { receipt, status, problems }) => change(["queue", "drafts", "meta"], async (of) => {
  // Another tab may have sent it meanwhile: the book has it once in any case.
  if (!(await ask(of("queue").get(record.n)))) return;
  await ask(of("queue").delete(record.n));
  if (!receipt) return back(of, record, status, problems);
  const sent = (await ask(of("meta").get("sent"))) ?? [];
  const { person, unit, id } = record, { warnings, receipt: page } = receipt;
  await ask(of("meta").put([{ person, unit, id, page, warnings: warnings.map((w) => w.says), at: Date.now() }, ...sent].slice(0, 20), "sent"));
});

/** Comes back as a draft, with the reason. What has begun meanwhile stays, too. */
async function back(of, { draft, person, unit }, status, problems) {
  const key = draftKey(person, unit), there = await ask(of("drafts").get(key));
  const kept = there ?? { ...draft, entries: [] };
  // An id that the book has for something else is of no use any more.
  const again = (entry) => (status === 409 ? { ...entry, id: freshId() } : entry);
  draft.entries.map(again).forEach((entry) => putEntry(kept, { ...entry, there: false }));
  kept.slip = { ...draft.slip, ...kept.slip };
  if (status === 409) {
    kept.id = there?.id ?? freshId();
    Object.keys(kept.slip).filter((name) => name.endsWith(".entry")).forEach((name) => delete kept.slip[name]);
  }
  kept.reason = `Not taken by the book: ${problems.map((p) => p.says).join(" ")}`;
  kept.version += 1;
  await ask(of("drafts").put({ ...kept, key, person, unit }));
}
