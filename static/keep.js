// What this tablet keeps, in IndexedDB. Drafts, keys and the queue are each person's own.
//   meta    person (who signed in last), recent (units), signed (unit -> when), clock (ms that ours is ahead)
//   typing  what stands in a form that was not sent yet, by person and address
//   drafts  key person|unit: {key, person, unit, id, version, slip, entries: [{id, kind, device, typed, there}], reason}
//   queue   n: {n, v, id, person, unit, key, report, signature, signed_at, draft}; never change what v 1 means
//   keys    person: {person, id, key, until}; the key cannot be read, only used
let opened;

export const ask = (request) => new Promise((done, fail) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => fail(request.error);
});

export function open() {
  return opened ??= new Promise((done, fail) => {
    const asked = indexedDB.open("breakerbook", 1);
    asked.onupgradeneeded = () => {
      const db = asked.result;
      for (const name of ["meta", "typing"]) db.createObjectStore(name);
      db.createObjectStore("drafts", { keyPath: "key" });
      db.createObjectStore("keys", { keyPath: "person" });
      db.createObjectStore("queue", { keyPath: "n", autoIncrement: true });
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
}

/** All of it or nothing, and on the disk before it says so. `work` gets a store by its name. */
export async function change(names, work) {
  const tx = (await open()).transaction(names, "readwrite", { durability: "strict" });
  const ended = new Promise((done, fail) => {
    tx.oncomplete = done;
    tx.onabort = () => fail(tx.error ?? new DOMException("undone", "AbortError"));
  });
  ended.catch(() => {});
  let answer;
  try {
    answer = await work((name) => tx.objectStore(name));
  } catch (why) {
    try { tx.abort(); } catch { /* it has ended already */ }
    throw why;
  }
  await ended;
  return answer;
}

const store = async (name) => (await open()).transaction(name).objectStore(name);
export const get = async (name, key) => ask((await store(name)).get(key));
export const all = async (name) => ask((await store(name)).getAll());
export const put = (name, value, key) => change([name], (of) => ask(of(name).put(value, key)));
export const drop = (name, key) => change([name], (of) => ask(of(name).delete(key)));

export const draftKey = (person, unit) => `${person}|${unit}`;
export const draftOf = (person, unit) => get("drafts", draftKey(person, unit));

/** Changes a draft, a new one if there is none; `work` returning false leaves it alone, one that is empty goes. */
export function changeDraft(person, unit, work) {
  const key = draftKey(person, unit);
  return change(["drafts"], async (of) => {
    const draft = (await ask(of("drafts").get(key))) ??
      { key, person, unit, id: null, version: 0, slip: {}, entries: [], reason: "" };
    if (work(draft) === false) return draft;
    draft.version += 1;
    const nothing = !draft.entries.length && !draft.reason && !Object.keys(draft.slip).length;
    await ask(nothing ? of("drafts").delete(key) : of("drafts").put(draft));
    return draft;
  });
}

/** Puts an entry into a draft, in the place of what had its id. */
export function putEntry(draft, entry) {
  const place = draft.entries.findIndex((known) => known.id === entry.id);
  if (place < 0) draft.entries.push(entry);
  else draft.entries[place] = entry;
}

/** A UUID of version 7, so that ids sort as they were made. */
export function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 5, t = Date.now(); i >= 0; i -= 1, t = Math.floor(t / 256)) bytes[i] = t % 256;
  bytes[6] = (bytes[6] & 15) | 112;
  bytes[8] = (bytes[8] & 63) | 128;
  return hex(bytes).replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

export const hex = (bytes) => Array.from(new Uint8Array(bytes), (b) => b.toString(16).padStart(2, "0")).join("");
export const slug = (unit) => unit.replace(" ", "-");
export const unitOf = (text) => decodeURIComponent(text).replace("-", " ");

/** Why nothing can be kept here; nothing if it can. */
export async function cannotKeep() {
  if (!isSecureContext) return "The address of this page is not HTTPS, so this tablet keeps nothing for when there is no network.";
  try {
    await put("meta", Date.now(), "tried");
    return "";
  } catch (why) {
    return why?.name === "QuotaExceededError"
      ? "This tablet's storage is full: nothing more is kept on it. Make room, or write on paper."
      : "This browser keeps nothing (a private window, perhaps): what is not sent is lost when it closes.";
  }
}
