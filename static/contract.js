// From what was typed to the interchange contract, where no server does it: what src/pages/crew/answers.rs and slip.rs do;
// tests/browser/offline_contract.rs holds them together. Pure. `zone`: from which microsecond on which minutes east hold.
import { freshId } from "./keep.js";

const DAY = 864e5;
const two = (n) => String(n).padStart(2, "0");
const offset = (zone, at) => (zone.findLast(([from]) => from <= at * 1000) ?? zone[0])[1];
const shifted = (at, minutes) => new Date(at + minutes * 6e4).toISOString();

/** `2026-03-02T23:12`, as a date-and-time field has it. */
export const localOf = (zone, at) => shifted(at, offset(zone, at)).slice(0, 16);

/** The moment of such a text; NaN if it is none. An hour that there is twice, or not at all, is told by the time before it. */
export function momentOf(zone, text) {
  const utc = Date.parse(`${text.replace(" ", "T").slice(0, 16)}Z`), by = (east) => utc - east * 6e4;
  const [before, after] = [-DAY, DAY].map((days) => offset(zone, utc + days));
  return offset(zone, by(before)) === before || offset(zone, by(after)) !== after ? by(before) : by(after);
}

/** With its offset: `2026-03-02T23:12:00-06:00`. */
export function stampOf(zone, at) {
  const east = offset(zone, at), rest = Math.abs(east);
  return `${shifted(at, east).slice(0, 19)}${east < 0 ? "-" : "+"}${two(Math.floor(rest / 60))}:${two(rest % 60)}`;
}

const AGO = { now: 0, 5: 5, 15: 15, 30: 30 };
const NEEDED = ["left", "result", "outcome", "seen", "text"];

/** Fixes, once, the moment that 'now' and '15 minutes ago' count from. */
export function settle(typed, zone, now) {
  typed["when.now"] ||= localOf(zone, now);
  typed.when ||= "now";
  if (["found", "not_known"].includes(typed.when)) typed["when.set"] ||= typed["when.now"];
}

/** The entry in the contract's names, and by field the name of a sentence for what cannot be read. */
export function entryOf({ fields, times }, { id, kind, device, typed }, me, zone) {
  const stated = (name) => (typed[name] ?? "").trim(), map = { id, kind }, says = {}, { when } = typed;
  const at = momentOf(zone, stated(when in AGO ? "when.now" : "when.set")) - (AGO[when] ?? 0) * 6e4;
  const about = AGO[when] || (["set", "found"].includes(when) && typed["when.about"] === "yes");
  if (isNaN(at)) says.when = "TIME";
  else {
    map[times[when === "found" ? 1 : 0]] = stampOf(zone, at);
    map.at_how = when === "not_known" ? when : about ? "about" : "clock";
  }
  const plate = stated("device.not_listed");
  if (device && device !== "?") map.device = device;
  else if (device && plate) map.device = { not_listed: plate };
  else if (device) says["device.not_listed"] = "PLATE";
  write(map, says, fields, stated, me, zone);
  // How a breaker stands after its last reset, where nothing else was tapped.
  const last = [1, 0].map((n) => stated(`resets[${n}].result`)).find((result) => !["", "none"].includes(result)) ?? stated("resets[0].result");
  if (kind === "breaker_trip" && last) map.left ??= last === "held" ? "on" : "tripped";
  for (const [name] of fields) if (NEEDED.includes(name) && !map[name]) says[name] = "ANSWER";
  return [map, says];
}

/** Puts each answer where its field's name says. */
function write(map, says, fields, stated, me, zone) {
  const reset = (n) => !["", "none"].includes(stated(`resets[${n}].result`)), yes = (name) => stated(name) === "yes";
  const met = { "": true, reset: reset(0), opened: stated("when") !== "found", closed: yes("closed"), replaced: yes("replaced") };
  for (const [name, how, only] of fields) {
    const of = /^resets\[(\d)/.exec(name);
    if (!met[only] || (of && !reset(of[1]))) continue;
    const value = answer(name, how, stated, me, zone);
    if (value === undefined) says[name] = "UNREAD";
    else if (value !== null) put(map, name, value);
  }
}

/** null is 'not stated', undefined what cannot be read. */
function answer(name, how, stated, me, zone) {
  const text = stated(name);
  if (how === "who") return text === "me" ? me : text === "not_known" ? text : named(stated(`${name}.name`));
  if (how === "seal") return stated(`${name}.number`) || text || null;
  if (how === "time") {
    const local = text || (name === "closed_at" ? stated("when.now") : ""), at = momentOf(zone, local);
    return local ? (isNaN(at) ? undefined : stampOf(zone, at)) : null;
  }
  if (!text || how === "gate") return null;
  if (how === "figure") return /^-?\d+([.,]\d+)?$/.test(text) ? Number(text.replace(",", ".")) : undefined;
  if (how === "count") return /^\d+$/.test(text) ? Number(text) : undefined;
  if (how === "list") return text.split(/[,;\n]/).map((part) => part.trim()).filter(Boolean);
  return how === "person" ? named(text) : text;
}

/** What looks like a sign-in name is sent as one; the book asks about those it does not know. */
function named(text) {
  if (/^not[ _]known$/i.test(text)) return "not_known";
  return /^[^\s.]+\.\S+$/.test(text) ? text.toLowerCase() : text ? { name: text } : null;
}

/** `resets[0].basis`, `fitted.rating_a`. */
function put(map, path, value) {
  const steps = path.split(/[.[\]]+/), last = steps.pop();
  steps.reduce((at, step, i) => (at[step] ??= /^\d/.test(steps[i + 1] ?? last) ? [] : {}), map)[last] = value;
}

/** The report, and the name of a sentence by field. `stands`: the cutouts that stand open. */
export function reportOf({ id, unit, slip }, fields, entries, cutouts, stands, me, zone, now) {
  const stated = (name) => (slip[name] ?? "").trim(), says = {};
  const report = { id, unit, author: me, final: true, occasion: "run", entries, signed_at: stampOf(zone, now) };
  write(report, says, fields, stated, me, zone);
  if (report.occasion === "run" && !report.run?.started) says["run.started"] ??= "STARTED";
  const at = stampOf(zone, Math.min(now, momentOf(zone, stated("run.ended")) || now));
  for (const tag of cutouts) {
    const how = stated(`cutout.${tag}`), [seen, seal] = how.split(/_(sealed|broken)/), number = stated(`cutout.${tag}.seal`);
    if (!how) continue;
    const entry = { id: (slip[`cutout.${tag}.entry`] ||= freshId()), kind: "position", at, device: tag, by: me, seen };
    if (seal === "sealed" && stands.has(tag)) Object.assign(entry, { seen: "open", moved_to: "closed" });
    if (seal === "broken" || number) entry.seal = seal === "broken" ? seal : number;
    else if (seal) entry.note = "Sealed; the number was not read.";
    entries.push(entry);
  }
  return [report, says];
}

/** How a device is left that is not as it should be. */
export const OPEN = ["off", "tripped", "cut_out", "open", "blown", "missing", "not_reset", "locked_out"];

/** How each device is left by these entries, as they happened. */
export function leftBy(entries) {
  const left = new Map(), when = (e) => Date.parse(e.at ?? e.found_at ?? e.opened_at ?? e.found_open_at);
  for (const e of [...entries].sort((a, b) => when(a) - when(b))) {
    const tag = e.device?.not_listed ?? e.device, of_bypass = e.kind === "bypass" && (e.closed_at ? "closed" : "open");
    if (tag) left.set(tag, of_bypass || (e.left ?? (e.replaced_by ? "on" : e.moved_to ?? e.seen ?? e.result ?? e.reset ?? left.get(tag))));
  }
  return left;
}

export function openAfter(open, entries) {
  const now = new Set(open);
  leftBy(entries).forEach((how, tag) => (["closed", "on"].includes(how) ? now.delete(tag) : OPEN.includes(how) && now.add(tag)));
  return now;
}
