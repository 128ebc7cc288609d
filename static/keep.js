// What this tablet keeps (IndexedDB). Drafts, keys and the queue are each person's own.
//   meta    person: who signed in last · recent: units · units: short states · done: ids signed here · sent · clock: ms ahead
//           run|person: {units, signed, slip}, a run that was changed here and that the book does not have yet
//   typing  a form that was not sent yet, by person and address
//   drafts  person|unit: {key, person, unit, id, version, slip, entries: [{id, kind, device, typed}], reason}
//   keys    person: {person, id, key, until, next}; the key can be used, never read; next is one that the book has not taken yet
//   queue   {n, v, id, person, unit, key, report, signature, at, draft}: what v 1 means is never changed
let opened;
export const ask = (request) => new Promise((done, fail) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => fail(request.error);
});
const open = () => (opened ??= new Promise((done, fail) => {
  const asked = indexedDB.open("breakerbook", 1);
  asked.onupgradeneeded = () => {
    const make = (name, keyPath) => asked.result.createObjectStore(name, { keyPath, autoIncrement: keyPath === "n" });
    ["meta", "typing"].forEach((name) => asked.result.createObjectStore(name));
    [["drafts", "key"], ["keys", "person"], ["queue", "n"]].forEach(([name, key]) => make(name, key));
  };
  ask(asked).then(done, fail);
}));

/** All of it or nothing, and on the disk before it says so. `work` is handed stores by name. */
export async function change(names, work) {
  const tx = (await open()).transaction(names, "readwrite", { durability: "strict" });
  const ended = new Promise((done, fail) => { tx.oncomplete = done; tx.onabort = () => fail(tx.error); });
  const [answer] = await Promise.all([work(Object.fromEntries(names.map((name) => [name, tx.objectStore(name)]))), ended]);
  return answer;
}
const read = async (name) => (await open()).transaction(name).objectStore(name);
export const get = async (name, key) => ask((await read(name)).get(key));
export const note = (key) => get("meta", key);
export const all = async (name, person) => (await ask((await read(name)).getAll())).filter((one) => !person || one.person === person);
export const put = (name, value, key) => change([name], (of) => ask(of[name].put(value, key)));
export const drop = (name, key) => change([name], (of) => ask(of[name].delete(key)));

export const newDraft = (person, unit) => ({ key: `${person}|${unit}`, person, unit, id: freshId(), version: 0, slip: {}, entries: [], reason: "" });

/** Changes a draft, a new one if there is none; one that holds nothing goes. */
export const changeDraft = (person, unit, work) => change(["drafts"], async ({ drafts }) => {
  const fresh = newDraft(person, unit), draft = (await ask(drafts.get(fresh.key))) ?? fresh;
  work(draft);
  draft.version += 1;
  await ask(draft.entries.length || draft.reason ? drafts.put(draft) : drafts.delete(draft.key));
});

/** In the place of what had its id. */
export function putEntry(draft, entry) {
  const place = draft.entries.findIndex((known) => known.id === entry.id);
  draft.entries.splice(place < 0 ? draft.entries.length : place, 1, entry);
}
export const takeOut = (draft, id) => { draft.entries = draft.entries.filter((known) => known.id !== id); };

export const hex = (bytes) => Array.from(new Uint8Array(bytes), (b) => b.toString(16).padStart(2, "0")).join("");
/** A UUID of version 7: ids sort as they were made. */
export function freshId() {
  const id = Date.now().toString(16).padStart(12, "0") + hex(crypto.getRandomValues(new Uint8Array(10)));
  return id.replace(/^(.{8})(.{4}).(.{3}).(.{3})/, "$1-$2-7$3-a$4-");
}

export const slug = (unit) => unit.replace(" ", "-");
export const local = (at) => new Date(at).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
export function span(ms) {
  const h = Math.abs(ms) / 36e5;
  return h < 2 ? `${Math.round(h * 60)} min` : h < 48 ? `${Math.round(h)} h` : `${Math.round(h / 24)} days`;
}
export const stood = (at) => `The book as it stood ${span(Date.now() - at)} ago, ${local(at)}.`;

const PAPER = "Without network, write on paper.";
const FULL = "This tablet's storage is full: nothing more is kept. Make room, or write on paper.";
/** Why nothing can be kept here; nothing if it can. */
export async function cannotKeep() {
  if (!isSecureContext) return `This address is not HTTPS: nothing is kept on this tablet. ${PAPER}`;
  try {
    await put("meta", Date.now(), "tried");
    const { usage, quota } = await navigator.storage.estimate();
    return usage < quota ? "" : FULL;
  } catch (why) {
    return why?.name === "QuotaExceededError" ? FULL : `This browser keeps nothing (a private window?). ${PAPER}`;
  }
}
