// Signing on the tablet, and the queue: what was signed is sent once and in order, however often the network drops.
import { all, ask, change, freshId, get, hex, put, putEntry } from "./keep.js";

const DAY = 864e5, P256 = { name: "ECDSA", namedCurve: "P-256", hash: "SHA-256" };
const post = (path, body) => fetch(path, { method: "POST", body: JSON.stringify(body), signal: AbortSignal.timeout(30000) });
/** Something that is kept has changed. */
export const tell = () => dispatchEvent(new Event("kept"));

/** Makes a key for whoever has just signed in, when there is none that lasts: only then does the book take one. It is kept
 * before it is sent, so that a page left meanwhile is followed by one that asks for the same key, not for another. */
export async function makeKey(person) {
  const had = await get("keys", person), { subtle } = crypto;
  if (had?.until - Date.now() > 20 * DAY || sessionStorage.noKey === person) return;
  let next = had?.next;
  if (!next) {
    const pair = await subtle.generateKey(P256, false, ["sign"]);
    next = { person, id: freshId(), key: pair.privateKey, shown: hex(await subtle.exportKey("raw", pair.publicKey)) };
    await put("keys", { ...had, person, next });
  }
  const answer = await post("/api/v1/tablet-keys", { key: next.id, public_key: next.shown });
  if (answer.ok) await put("keys", { ...next, until: Date.parse((await answer.json()).until) });
  else sessionStorage.noKey = person;
}

/** Signs the report's very bytes and queues them in place of the draft, or of those entries that are sent at once; nothing
 * if another tab has changed that. */
export async function sign(draft, report, key) {
  const text = JSON.stringify(report), { person, unit } = draft, ids = report.entries.map((e) => e.id);
  const signature = hex(await crypto.subtle.sign(P256, key.key, new TextEncoder().encode(text)));
  return change(["drafts", "queue", "meta"], async ({ drafts, queue, meta }) => {
    const done = (await ask(meta.get("done"))) ?? [], known = await ask(drafts.get(draft.key));
    if ((known?.version ?? 0) !== draft.version || [report.id, ...ids].some((id) => done.includes(id))) return;
    const rest = report.final === false && known?.entries.filter(({ id }) => !ids.includes(id));
    await ask(rest?.length ? drafts.put({ ...known, entries: rest, version: known.version + 1 }) : drafts.delete(draft.key));
    await ask(queue.add({ v: 1, id: report.id, person, unit, key: key.id, report: text, signature, at: Date.now(), draft }));
    await ask(meta.put([report.id, ...ids, ...done].slice(0, 2000), "done"));
    return true;
  });
}

/** What each version of a record sends: a later one gets a line of its own beside it. */
export const WIRE = { 1: ({ v, key, report, signature }) => ({ v, key, report, signature, clock: new Date().toISOString() }) };

let tries = 0, waiting;
/** One tab at a time. */
export function flush() {
  clearTimeout(waiting);
  return navigator.locks.request("sending", { ifAvailable: true }, async (lock) => {
    // One that this program does not know waits for a program that does, and holds nothing up.
    for (let next; lock && (next = (await all("queue")).find((one) => WIRE[one.v])); tries = 0) {
      const outcome = await send(next);
      if (!outcome) return;
      await settle(next, outcome);
      tell();
    }
  });
}
addEventListener("online", () => { tries = 0; flush(); });

/** The book's own answer; nothing if none came, or somebody else's did (a login page of the network). */
async function send(record) {
  let answer;
  try {
    answer = await post("/api/v1/signed-reports", WIRE[record.v](record));
    const body = await answer.json();
    if (answer.ok && body.report === record.id) return { receipt: body };
    if ([400, 403, 409, 413, 422].includes(answer.status) && body.problems[0].says) return { status: answer.status, problems: body.problems };
  } catch { /* later, then */ }
  const pause = Number(answer?.headers.get("retry-after")) || Math.min(300, 2 ** tries) * (1 + Math.random() / 4);
  tries += 1;
  waiting = setTimeout(flush, pause * 1000);
}

const settle = (record, { receipt, status, problems }) => change(["queue", "drafts", "meta"], async ({ queue, drafts, meta }) => {
  const { n, person, unit, id, draft } = record;
  if (!(await ask(queue.get(n)))) return;
  await ask(queue.delete(n));
  if (receipt) {
    const sent = { person, unit, id, page: receipt.receipt, warnings: receipt.warnings.map((w) => w.says), at: Date.now() };
    await ask(meta.put([sent, ...(await ask(meta.get("sent"))) ?? []].slice(0, 20), "sent"));
    return;
  }
  // It comes back as a draft, into what was begun meanwhile. Ids that the book has for something else are of no use.
  const again = status === 409, kept = (await ask(drafts.get(draft.key))) ?? { ...draft, id: again ? freshId() : id, entries: [] };
  draft.entries.forEach((entry) => putEntry(kept, again ? { ...entry, id: freshId() } : entry));
  Object.assign(kept, { slip: { ...draft.slip, ...kept.slip }, reason: `The book did not take it: ${problems.map((p) => p.says).join(" ")}`, version: kept.version + 1 });
  for (const name of Object.keys(kept.slip)) if (name.endsWith(".entry")) delete kept.slip[name];
  await ask(drafts.put(kept));
  const had = new Set([id, ...draft.entries.map((e) => e.id)]);
  await ask(meta.put((await ask(meta.get("done"))).filter((one) => again || !had.has(one)), "done"));
});
