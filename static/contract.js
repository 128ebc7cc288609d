// From what was typed to the interchange contract, where no server does it: what src/pages/crew/answers.rs and slip.rs do
// (tests/browser/offline_contract.rs holds them together). Pure.
import { freshId } from "./keep.js";

const two = (n) => String(n).padStart(2, "0");

function inZone(zone, at) {
  const as = { timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit" };
  const p = Object.fromEntries(new Intl.DateTimeFormat("en-CA", as).formatToParts(at).map((part) => [part.type, part.value]));
  const minute = `${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}`;
  return { minute, second: p.second, offset: Math.round((Date.parse(`${minute}:${p.second}Z`) - at) / 60000) };
}

/** `2026-03-02T23:12`, as a date-and-time field has it. */
export const localOf = (zone, at) => inZone(zone, at).minute;

/** The moment of such a text; NaN if it is none. */
export function momentOf(zone, local) {
  const utc = Date.parse(`${local.replace(" ", "T").slice(0, 16)}Z`);
  const less = (at) => utc - inZone(zone, at).offset * 60000;
  return isNaN(utc) ? utc : less(less(utc));
}

/** With its offset: `2026-03-02T23:12:00-06:00`. */
export function stampOf(zone, at) {
  const { minute, second, offset } = inZone(zone, at), rest = Math.abs(offset);
  return `${minute}:${second}${offset < 0 ? "-" : "+"}${two(Math.floor(rest / 60))}:${two(rest % 60)}`;
}

const AGO = { now: 0, 5: 5, 15: 15, 30: 30 };
const NEEDED = ["left", "result", "outcome", "seen", "text"];

/** Fixes the moment that 'now' and '15 minutes ago' count from, once. */
export function settle(typed, zone, now) {
  typed["when.now"] ||= localOf(zone, now);
  typed.when ||= "now";
  if (["found", "not_known"].includes(typed.when)) typed["when.set"] ||= typed["when.now"];
}

/** The entry in the contract's names, and a sentence by field for what cannot be read. */
export function entryOf({ fields, times }, { id, kind, device, typed }, me, zone) {
  const stated = (name) => (typed[name] ?? "").trim(), map = { id, kind }, says = {};
  const { when } = typed, ago = AGO[when] ?? 0;
  const at = momentOf(zone, stated(when in AGO ? "when.now" : "when.set")) - ago * 60000;
  if (isNaN(at)) says.when = "Set a date and a time, or choose one of the keys.";
  else map[times[when === "found" ? 1 : 0]] = stampOf(zone, at);
  const about = ago || (["set", "found"].includes(when) && typed["when.about"]);
  map.at_how = when === "not_known" ? when : about ? "about" : "clock";
  if (device) map.device = device === "?" ? { not_listed: stated("device.not_listed") } : device;
  if (map.device?.not_listed === "") says["device.not_listed"] = "Write the words on its plate.";
  write(map, says, fields, stated, me, zone);
  for (const [name] of fields) if (NEEDED.includes(name) && !stated(name)) says[name] = "Has to be answered.";
  return [map, says];
}

/** Puts each answer where its field's name says. */
function write(map, says, fields, stated, me, zone) {
  const reset = (n) => !["", "none"].includes(stated(`resets[${n}].result`));
  const met = { "": true, reset: reset(0), opened: stated("when") !== "found", closed: stated("closed") === "yes", replaced: stated("replaced") === "yes" };
  for (const [name, how, only] of fields) {
    const of = /^resets\[(\d)/.exec(name);
    if (!met[only] || (of && !reset(of[1]))) continue;
    const value = answer(name, how, stated, me, zone);
    if (value === undefined) says[name] = "This cannot be read: correct it, or leave it empty.";
    else if (value !== null) put(map, name, value);
  }
}

/** null is 'not stated', undefined what cannot be read. */
function answer(name, how, stated, me, zone) {
  const text = stated(name);
  if (how === "gate") return null;
  if (how === "who") return text === "me" ? me : text === "not_known" ? text : named(stated(`${name}.name`));
  if (how === "seal") return stated(`${name}.number`) || text || null;
  if (how === "time") {
    const local = text || (name === "closed_at" ? stated("when.now") : ""), at = momentOf(zone, local);
    return local ? (isNaN(at) ? undefined : stampOf(zone, at)) : null;
  }
  if (!text) return null;
  if (how === "figure") return /^-?\d+([.,]\d+)?$/.test(text) ? Number(text.replace(",", ".")) : undefined;
  if (how === "count") return /^\d+$/.test(text) ? Number(text) : undefined;
  if (how === "list") return text.split(/[,;\n]/).map((part) => part.trim()).filter(Boolean);
  return how === "person" ? named(text) : text;
}

/** What looks like a sign-in name is sent as one; the book asks about those it does not know. */
function named(text) {
  if (/^not[ _]known$/i.test(text)) return "not_known";
  return /^[^\s.]+\.[^\s]+$/.test(text) ? text.toLowerCase() : text ? { name: text } : null;
}

/** `resets[0].basis`, `fitted.rating_a`. */
function put(map, path, value) {
  const steps = path.split(/[.[\]]+/);
  const last = steps.pop();
  steps.reduce((at, step, i) => (at[step] ??= /^\d/.test(steps[i + 1] ?? last) ? [] : {}), map)[last] = value;
}

/** The report, and a sentence by field. `open`: the cutouts that stood open before these entries. */
export function reportOf({ id, unit, slip }, fields, entries, cutouts, open, me, zone, now) {
  const stated = (name) => (slip[name] ?? "").trim(), says = {};
  const report = { id, unit, author: me, final: true, occasion: "run", entries, signed_at: stampOf(zone, now) };
  write(report, says, fields, stated, me, zone);
  if (report.occasion === "run" && !report.run?.started) says["run.started"] = "Say when the run started.";
  const at = stampOf(zone, Math.min(now, momentOf(zone, stated("run.ended")) || now)), stands = openAfter(open, entries);
  for (const tag of cutouts) {
    const how = stated(`cutout.${tag}`), seal = stated(`cutout.${tag}.seal`);
    if (!how) continue;
    const entry = { id: (slip[`cutout.${tag}.entry`] ||= freshId()), kind: "position", at, device: tag, by: me, seen: how.split("_sealed")[0].split("_broken")[0] };
    if (how === "closed_sealed" && stands.has(tag)) Object.assign(entry, { seen: "open", moved_to: "closed" });
    if (how === "closed_broken") entry.seal = "broken";
    else if (how === "closed_sealed" && seal) entry.seal = seal;
    else if (how === "closed_sealed") entry.note = "Sealed; the number was not read.";
    entries.push(entry);
  }
  return [report, says];
}

function openAfter(open, entries) {
  const now = new Set(open);
  for (const { kind, device, closed_at: closed, moved_to: moved, seen } of entries) {
    const stands = kind === "bypass" ? (closed ? "closed" : "open") : kind === "position" && (moved ?? seen);
    if (["closed", "on"].includes(stands)) now.delete(device);
    if (["open", "off"].includes(stands)) now.add(device);
  }
  return now;
}
