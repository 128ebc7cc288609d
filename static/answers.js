// The reset answer and the start answer where there is no network: what src/rules/reset_answer.rs and
// src/rules/start_answer.rs say, word for word (tests/browser/answers.rs). Pure: no DOM, no clock, no network.
//
// A unit's situation comes from the server (rules::situation::UnitSituation): times in microseconds since 1970.
// What a caller hands in and gets back is in milliseconds, as Date.now().
//   addReport(unit, report)                       the unit with a queued report's entries (contract JSON) in it
//   resetSituation(unit, tag, {ticked, tripped_at})  the situation of one device; tripped_at: the trip asked about
//   resetAnswer(situation, now)                   {verdict: allowed | wait | do_not, until, says, before, after,
//                                                  if_left_off, others_not_known, always, defers}
//   startSituation(unit, readings)                readings: {battery_rest_v, main_reservoir_psi, test_cock, shut_down:
//                                                 "short" | "long" | null, not_right: [text], seen_on: [tag]}
//   startAnswer(situation, now)                   {verdict: both | electric | air | not_now, says, reasons: [..],
//                                                  would_change: [..], long, cold, crank, picture, defers}
const MINUTE = 6e7, HOUR = 36e8, DAY = 24 * HOUR;
const BAD = ["smell", "smoke", "heat", "arcing", "water"];
const ALWAYS = "Not if you smell, see or feel anything burning, hot or wet.";
const DEFERS = "Your railway's instructions decide; if they say otherwise, follow them.";
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

const two = (n) => String(n).padStart(2, "0");
const count = (n, one, many) => (n === 1 ? `1 ${one}` : `${n} ${many}`);
const max = (moments) => moments.reduce((a, b) => (a === null || b > a ? b : a), null);
const byPlace = (a, b) => a.at - b.at || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0);

/** `3 Mar 2026 05:14 -06:00`; `zone`: from when on which minutes east of UTC hold. */
function inWords(zone, at) {
  const offset = (zone.findLast(([from]) => from <= at) ?? zone[0])[1];
  const there = new Date(Math.floor(at / 1000) + offset * 60000);
  const minutes = Math.abs(offset);
  return `${there.getUTCDate()} ${MONTHS[there.getUTCMonth()]} ${there.getUTCFullYear()} ${two(there.getUTCHours())}:` +
    `${two(there.getUTCMinutes())} ${offset < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

// ---- May it be closed again?

export function resetSituation(unit, tag, { ticked = [], tripped_at = null } = {}) {
  const { me, picture_from, zone } = unit;
  const { rule = null, events = [] } = unit.devices[tag] ?? {};
  return { me, picture_from, zone, rule, events, ticked, tripped_at: tripped_at === null ? null : tripped_at * 1000 };
}

export function resetAnswer(situation, now) {
  const s = { ...situation, now: now * 1000 };
  const hours = hoursOf(s);
  let { verdict, until = null, says } = decide(s, hours);
  const others_not_known = s.now - s.picture_from > hours;
  if (others_not_known) says += " This picture is old: others' resets not known.";
  const { before = null, after = null, if_left_off = null } = s.rule ?? {};
  return {
    verdict, until: until === null ? null : until / 1000, says, before, after, if_left_off, others_not_known,
    always: ALWAYS, defers: DEFERS,
  };
}

const hoursOf = (s) => Math.trunc((s.rule?.hours ?? 24) * HOUR);
const no = (says) => ({ verdict: "do_not", says });

function decide(s, hours) {
  const repaired = max(s.events.filter((e) => e.kind === "repair" && e.at <= s.now).map((e) => e.at)) ?? -Infinity;
  const events = s.events.filter((e) => e.at >= repaired && e.at <= s.now);
  const ticked = s.ticked.find((sign) => BAD.includes(sign));
  if (ticked) return no(`Do not reset: ${ticked} is ticked on this entry. Leave it off and call the shop.`);
  const open = unmended(s, events);
  const sign = badSign(s, events, open?.first, hours);
  if (sign) {
    return no(`Do not reset: ${sign.signs} was written ${inWords(s.zone, sign.at)}. Leave it off and call.`);
  }
  if (open) {
    return no(`Do not reset. It ${open.did} on ${inWords(s.zone, open.at)} and nothing written since says it was ` +
      `repaired: leave it off and call the shop.${open.more}`);
  }
  if (!s.rule) return no("Do not reset: the schedule does not have it. Ask first.");
  const times = s.rule.times ?? null;
  if (times === null) return no("Do not reset: the schedule does not say whether a crew may. Ask first.");
  if (times === 0) return no("Do not reset: the schedule leaves it to the shop.");
  return byCount(s, times, events, hours);
}

function operations(e) {
  if (e.kind === "trip") return 1 + e.resets.filter((r) => r.result === "tripped_again").length;
  if (e.kind === "ground") return Math.max(e.operations, 1);
  return e.kind === "fuse" && e.blown ? 1 : 0;
}

/** Burning, heat, arcing or water overrules any count. */
function badSign(s, events, unmended, hours) {
  const last = events.findLastIndex((e) => operations(e) > 0);
  const from = unmended ?? (last < 0 ? Infinity : last);
  const counts = (e, i) => s.now - e.at <= Math.max(hours, DAY) || i === last || from <= i;
  return events.findLast((e, i) => BAD.includes(e.signs) && counts(e, i));
}

const closed = (seen) => (["on", "closed"].includes(seen) ? true : ["off", "open", "tripped"].includes(seen) ? false : null);

/** How the last known trip ended, if badly: a failed reset is not forgotten overnight. */
function unmended(s, events) {
  const askedAbout = s.tripped_at === null ? events.findLastIndex((e) => e.kind === "trip") : -1;
  let open = null;
  events.forEach((e, first) => {
    if (e.kind === "trip") {
      const bad = endedBadly(e);
      if (!bad) open = null;
      else if (!bad.left || (first !== askedAbout && !open)) open = { ...bad, first };
    } else if (e.kind === "position") {
      if (closed(e.seen) || (closed(e.moved_to) && !e.crew)) open = null;
    }
  });
  return open;
}

function endedBadly(e) {
  const last = e.resets.at(-1);
  const at = last?.at ?? e.at;
  if (last?.result === "tripped_again") return { did: "was reset and tripped again", at, more: "" };
  if (last?.result === "would_not_latch") return { did: "would not latch", at, more: " Never hold a breaker in." };
  const left = { off: "was left off", cut_out: "was left cut out", tripped: "was left tripped" }[e.left];
  return left ? { did: left, at: e.at, more: "", left: true } : null;
}

function reclosings(events) {
  const out = [];
  for (const e of events) {
    const { id, by } = e;
    if (e.kind === "trip") {
      const latched = e.resets.filter((r) => r.result !== "would_not_latch");
      out.push(...latched.map((r) => ({ at: r.at ?? e.at, id, by, basis: r.basis, crew: true })));
    } else if (e.kind === "fuse" && e.replaced) out.push({ at: e.at, id, by, basis: e.basis, crew: true });
    else if (e.kind === "position" && e.seen === "tripped" && closed(e.moved_to)) {
      out.push({ at: e.at, id, by, crew: e.crew });
    }
  }
  return out.sort(byPlace);
}

function byCount(s, times, events, hours) {
  const within = (at) => at <= s.now && s.now - at <= hours;
  const own = (r) => r.crew && r.basis !== "examined" && r.basis !== "told_by_shop";
  const made = reclosings(events).filter((r) => own(r) && within(r.at));
  const h = Math.floor(hours / HOUR);
  if (made.length >= times) {
    const others = made.filter((r) => r.by !== s.me).length;
    const byOthers = others ? `, ${count(others, "time", "times")} by others` : "";
    return no(`Do not reset: reset ${count(made.length, "time", "times")} since ${inWords(s.zone, made[0].at)}` +
      `${byOthers}; the schedule allows ${times} in ${h} h.`);
  }
  const counted = events.filter((e) => within(e.at)).reduce((n, e) => n + operations(e), 0);
  const trips = Math.max(counted + (s.tripped_at === null ? 0 : 1), 1);
  const left = times - made.length;
  const says = `${count(left, "reset", "resets")} allowed by the schedule: ${["first", "second", "third"][trips - 1] ?? `${trips}th`} ` +
    `trip of this device on this unit in ${h} h.${waitWords(s.rule.wait_s)} If it trips again${left > 1 ? " after that" : ""}, ` +
    "leave it off.";
  const until = waiting(s, events);
  return until === null ? { verdict: "allowed", says } : { verdict: "wait", until, says };
}

/** Until when the device has to cool, if that is still to come. */
function waiting(s, events) {
  if ((s.rule.wait_s ?? null) === null) return null;
  const again = events.filter((e) => e.kind === "trip").flatMap((e) =>
    e.resets.filter((r) => r.result === "tripped_again" && (r.at ?? null) !== null).map((r) => r.at));
  const operated = events.filter((e) => operations(e) > 0).map((e) => e.at);
  const asked = s.tripped_at === null ? [] : [s.tripped_at];
  const last = max([...operated, ...again, ...asked].filter((at) => at <= s.now));
  const until = last === null ? null : last + s.rule.wait_s * 1e6;
  return until !== null && until > s.now ? until : null;
}

function waitWords(seconds) {
  if (!seconds) return "";
  if (seconds % 60 === 0) return ` Wait ${count(seconds / 60, "minute", "minutes")} first.`;
  return ` Wait ${count(seconds, "second", "seconds")} first.`;
}

// ---- How may it be started now?

const ASK = "Ask the shop what a start of this unit takes.";
const CHARGE = "Charge the battery.";
const REPAIR = "Qualified people find the cause, and the shop closes a repair.";
const STOPS = {
  crankcase_device: ["by the crankcase device", ": stay away, open nothing, no restart", true],
  overspeed: ["by the overspeed device", ": no restart", true],
  low_oil: ["for low oil", ""],
  low_water: ["for low water", ""],
};
const WET = { water: "Water", fuel: "Fuel", oil: "Oil" };
const LOCKS = ["lock", "tag", "blue_signal"];
const OPEN = ["off", "tripped", "cut_out", "blown", "missing"];

export function startSituation(unit, readings = {}) {
  const { picture_from, zone, start: book } = unit;
  return { picture_from, zone, book, readings };
}

export function startAnswer(situation, now) {
  const s = { ...situation, now: now * 1000, read: { not_right: [], seen_on: [], ...situation.readings } };
  const k = known(s.book.events, s.now);
  const at = (moment) => inWords(s.zone, moment);
  const cls = s.book.class ?? {};
  const cold = coldWords(s, k, cls);
  let against = [...shop(s, at), ...written(s, k, at, cold), ...checks(s, k, at), ...cranked(s, k, at)];
  let verdict = "not_now", says = null;
  if (!s.book.class) against.push(["The book has no schedule of it.", ASK]);
  else if (!against.length) [verdict, says, against] = gauges(s.read, k, cls, at);
  const reasons = verdict === "not_now" ? against.map(([reason]) => reason) : [];
  return {
    verdict,
    says: says ?? `Not now. ${reasons.join(" ")}`,
    reasons,
    would_change: [...new Set(against.map(([, change]) => change))],
    cold,
    crank: crankWords(k, cls),
    attempt: attempts(k) + 1,
    picture: s.now - s.picture_from > HOUR
      ? `This picture of the book is from ${at(s.picture_from)}: what was written since is not in it.` : null,
    defers: "Your railway's instructions and qualified people decide; if they say otherwise, follow them.",
  };
}

/** What follows from the events by now: rules::start_events. */
function known(events, now) {
  const k = { notice: null, guards: [], stop: null, cock: null, failed: [], fell: null, shut_down: null, stands: {} };
  for (const e of events) {
    if (e.at > now) continue;
    const { at, kind } = e;
    const ran = kind === "start" && e.outcome === "running";
    const cause = kind === "start" ? e.outcome : kind === "stop" ? e.cause : null;
    if (STOPS[cause]) {
      if (!k.stop || !STOPS[k.stop.cause][2] || STOPS[cause][2]) k.stop = { cause, at };
    } else if (k.stop && !STOPS[k.stop.cause][2] && (ran || (kind === "stop" && cause && cause !== "not_known"))) k.stop = null;
    if (kind === "repaired") {
      if (!e.start_only) k.notice = k.stop = k.cock = null;
      [k.failed, k.fell] = [[], null];
    } else if (kind === "notice" || e.notice) k.notice = at;
    if (kind === "stop") k.shut_down = at;
    if (kind === "start") {
      if (WET[e.cock]) k.cock = { cock: e.cock, at };
      if (ran) [k.failed, k.fell, k.shut_down] = [[], null, null];
      else if (now - at <= DAY) {
        if (e.outcome !== "not_known") k.failed.push({ at, attempt: e.attempt ?? 0 });
        if ((e.cranking_v ?? null) !== null) k.fell = { volts: e.cranking_v, at };
      }
    }
    const others = () => k.guards.filter((g) => g.device !== e.device);
    if (kind === "device") {
      if (e.standing === "on") k.guards = others();
      k.stands[e.device] = { standing: e.standing, at };
    } else if (kind === "guard") {
      const ended = (e.until ?? null) !== null && e.until <= now;
      const what = LOCKS.includes(e.what);
      if (ended || what || e.what === "none") k.guards = others();
      if (what && !ended) k.guards.push({ device: e.device, what: e.what, at });
      k.stands[e.device] = { standing: ended ? "on" : "off", at };
    }
  }
  return k;
}

const attempts = (k) => Math.max(k.failed.length, ...k.failed.map((f) => f.attempt));

function shop({ book }, at) {
  const held = (book.held ?? null) === null ? [] : [[`The shop holds it since ${at(book.held)}.`, "The shop releases it."]];
  return [...held, ...book.repairs.map(([since, device]) =>
    [`A repair of ${device ?? "the unit"} is open since ${at(since)}.`, "The shop closes the repair."])];
}

function written(s, k, at, cold) {
  const out = [];
  if (k.notice !== null) {
    out.push([`A warning notice was hung on it, written ${at(k.notice)}: read it.`,
      "What it warns of is repaired, the repair closed and the notice taken off."]);
  }
  for (const g of k.guards) {
    out.push([`A ${g.what.replace("_", " ")} at ${g.device} was written ${at(g.at)}: somebody may be working on it.`,
      "Whoever put it there takes it off."]);
  }
  if (k.stop) {
    const [by, then] = STOPS[k.stop.cause];
    out.push([`It was stopped ${by}, ${at(k.stop.at)}${then}.`, REPAIR]);
  }
  const cock = s.read.test_cock;
  if (WET[cock]) out.push([`${WET[cock]} at a test cock: do not start.`, REPAIR]);
  else if (k.cock) out.push([`${WET[k.cock.cock]} at a test cock, written ${at(k.cock.at)}: do not start.`, REPAIR]);
  else if (cold && cock !== "clear") {
    out.push(["Before a cold start the test cocks have to be clear, and that is not said yet.", "Blow the test cocks: all clear."]);
  }
  return out;
}

function checks(s, k, at) {
  const off = s.book.group.filter(([tag]) => !s.read.seen_on.includes(tag) && OPEN.includes(k.stands[tag]?.standing));
  return [
    ...off.map(([tag, legend]) => [
      `${tag} (${legend}) was last written ${k.stands[tag].standing.replace("_", " ")}, ${at(k.stands[tag].at)}.`,
      "What is off is looked at, closed as the schedule says, and written down."]),
    ...s.read.not_right.map((text) => [`Not right: ${text}.`, "What is not right is put right."]),
  ];
}

function cranked(s, k, at) {
  const out = [], cls = s.book.class ?? {}, made = attempts(k), rest = cls.crank_rest_s ?? 0;
  if (k.failed.length && made >= (cls.crank_attempts ?? Infinity)) {
    out.push([`${count(made, "attempt", "attempts")} failed since ${at(k.failed[0].at)}; the schedule allows ` +
      `${cls.crank_attempts}.`, "The shop looks at it and closes a repair."]);
  }
  const more = k.failed.length ? rest * 1e6 - (s.now - k.failed.at(-1).at) : 0;
  if (more > 0) {
    out.push([`The starting motors rest ${rest} s after an attempt: ${Math.ceil(more / 1e6)} s more.`, "The rest is over."]);
  }
  return out;
}

function gauges(read, k, cls, at) {
  const notNow = (...against) => ["not_now", null, against];
  const volts = read.battery_rest_v ?? null, psi = read.main_reservoir_psi ?? null;
  const control = cls.control_min_v ?? null, least = cls.cranking_min_v ?? null;
  if (!cls.motors) return notNow(["The schedule does not say which motors start it.", ASK]);
  if (volts === null) {
    return notNow(["The battery at rest is not read: without volts nothing starts, on air neither.",
      "Read the battery's volts from the gauge, never probe."]);
  }
  if (control === null) return notNow(["The schedule does not say how many volts the controls need.", ASK]);
  if (volts < control) {
    return notNow([`Battery ${volts} V at rest, under ${control}: nothing starts, on air neither, for the controls and ` +
      "the fuel pump need it.", CHARGE]);
  }
  let volt = null, noVolt = null;
  if (least === null) noVolt = ["the schedule does not say how many volts cranking needs", ASK];
  else if (volts < least) noVolt = [`battery ${volts} V at rest, under ${least}`, CHARGE];
  else if (k.fell && k.fell.volts < least) {
    noVolt = [`the battery fell to ${k.fell.volts} V while cranking, ${at(k.fell.at)}, under ${least}`, CHARGE];
  } else volt = `battery ${volts} V at rest, at least ${least}`;
  let air = null, noAir = null;
  const need = `${cls.air_min_psi ?? "80"}${(cls.air_min_psi ?? null) === null ? " (common practice, no source)" : ""}`;
  if (psi === null) noAir = ["the main reservoir is not read", "Read the main reservoir."];
  else if (psi < (cls.air_min_psi ?? 80)) {
    noAir = [`main reservoir ${psi} psi, under ${need}`, "Couple main-reservoir hoses to another unit, as local instructions say."];
  } else air = `main reservoir ${psi} psi, at least ${need}`;

  const none = "Nothing in the book is against a start now";
  const onVolts = cls.motors !== "air", onAir = cls.motors !== "electric";
  if (onVolts && onAir && volt && air) return ["both", `${none}, with both kinds of motors: ${volt}; ${air}.`, []];
  if (onVolts && volt) {
    return onAir ? ["electric", `${none} on the electric motors only: ${volt}. Not on air: ${noAir[0]}.`, [noAir]]
      : ["electric", `${none}, with its electric motors: ${volt}.`, []];
  }
  if (onAir && air) {
    return onVolts ? ["air", `${none} on the air motors only: ${air}. Not on the electric motors: ${noVolt[0]}.`, [noVolt]]
      : ["air", `${none}, with its air motors: ${air}.`, []];
  }
  return notNow(...(onVolts ? [[`Not on the electric motors: ${noVolt[0]}.`, noVolt[1]]] : []),
    ...(onAir ? [[`Not on air: ${noAir[0]}.`, noAir[1]]] : []));
}

function span(micros) {
  const minutes = Math.floor(Math.max(micros, 0) / MINUTE);
  if (minutes < 60) return `${minutes} min`;
  if (minutes >= 72 * 60) return `${Math.floor(minutes / 1440)} days`;
  return `${Math.floor(minutes / 60)} h${minutes % 60 ? ` ${minutes % 60} min` : ""}`;
}

function coldWords(s, k, cls) {
  const told = s.read.shut_down ?? null, hours = cls.long_shutdown_h ?? null;
  let why;
  if (told === "short") return null;
  if (told === "long") why = "Shut down long, as told";
  else if (hours === null) why = "The schedule does not say which shutdown is long";
  else if (k.shut_down === null) why = "Shut down for an unknown time, which counts as long";
  else if ((s.now - k.shut_down) / HOUR >= hours) why = `Shut down ${span(s.now - k.shut_down)}, and from ${hours} h on it is long`;
  else return null;
  return `${why}: the cold-engine procedure applies.`;
}

function crankWords(k, cls) {
  const { crank_seconds_max: seconds, crank_rest_s: rest, crank_attempts: may } = cls;
  const unsaid = "The schedule does not say how long to crank.";
  const stated = (n) => (n ?? null) !== null;
  const how = stated(seconds) ? `Crank at most ${seconds} s${stated(rest) ? `, then rest ${rest} s` : ""}.`
    : `${stated(rest) ? `Rest ${rest} s after each attempt. ` : ""}${unsaid}`;
  const attempt = attempts(k) + 1;
  return stated(may) ? `${how} Attempt ${attempt} of ${may}.` : `${how} Attempt ${attempt}; the schedule does not say how many.`;
}

// ---- What waits in the queue counts

/** `unit` as it is with a report's entries, contract JSON, in it; those that are in it already are not taken twice. */
export function addReport(unit, report) {
  if (report.unit !== unit.unit) return unit;
  const devices = { ...unit.devices };
  const start = [...unit.start.events];
  const put = (events, event) => (events.some((e) => e.id === event.id && e.kind === event.kind) ? events
    : [...events, event].sort(byPlace));
  for (const entry of report.entries) {
    const { id, kind } = entry;
    const at = micros(entry.at ?? entry.found_at ?? entry.opened_at ?? entry.found_open_at);
    const tag = kind === "ground_relay" ? "ground_relay" : tagOf(entry.device);
    const did = deviceEvent(unit, report, entry);
    if (tag && did) {
      const of = devices[tag] ?? { rule: null, events: [] };
      devices[tag] = { ...of, events: put(of.events, { at, id, by: report.author, signs: entry.signs ?? null, ...did }) };
    }
    for (const event of startEvents(entry, tag)) start.splice(0, Infinity, ...put(start, { at, id, ...event }));
  }
  return { ...unit, devices, start: { ...unit.start, events: start } };
}

const micros = (text) => Date.parse(text) * 1000;
const orNull = (text) => (text ? micros(text) : null);

function tagOf(device) {
  if (!device || typeof device === "string") return device ?? null;
  return `not listed: ${device.not_listed.split(/\s+/).filter(Boolean).join(" ").toUpperCase()}`;
}

function deviceEvent(unit, report, entry) {
  switch (entry.kind) {
    case "breaker_trip": {
      const reset = (r) => ({ at: orNull(r.at), basis: r.basis ?? "not_determined", result: r.result ?? null });
      return { kind: "trip", resets: (entry.resets ?? []).map(reset), left: entry.left };
    }
    case "position": {
      // Who else works in a shop is not on the tablet: another person's closing counts as a crew's, the stricter of the two.
      const who = !entry.by || entry.by === "not_known" ? report.author : entry.by;
      const crew = typeof who === "string" && (who !== unit.me || unit.crew);
      return { kind: "position", seen: entry.seen, moved_to: entry.moved_to ?? null, crew };
    }
    case "fuse_check":
      return { kind: "fuse", blown: entry.result === "blown", replaced: Boolean(entry.replaced_by), basis: entry.basis ?? null };
    case "ground_relay":
      return { kind: "ground", operations: entry.operations ?? 1 };
    case "bypass":
      return { kind: "other" };
    default:
      return null;
  }
}

function startEvents(entry, device) {
  const stands = (standing) => (standing ? [{ kind: "device", device, standing }] : []);
  const SEEN = { on: "on", closed: "on", off: "off", open: "off", tripped: "tripped" };
  switch (entry.kind) {
    case "engine_start":
      return [{ kind: "start", outcome: entry.outcome, attempt: entry.attempt ?? null,
        cranking_v: entry.battery_cranking_v ?? null, cock: entry.test_cock_result ?? null }];
    case "shutdown":
      return [{ kind: "stop", cause: entry.cause ?? null, notice: Boolean(entry.warning_notice) }];
    case "defect":
      return entry.warning_notice ? [{ kind: "notice" }] : [];
    case "bypass": {
      const closed = orNull(entry.closed_at);
      return [{ kind: "guard", device, what: entry.protection ?? null, until: closed }];
    }
    case "breaker_trip":
      return stands(entry.left);
    case "position":
      return stands(SEEN[entry.moved_to] ?? SEEN[entry.seen]);
    case "fuse_check":
      if (entry.replaced_by) return stands("on");
      return stands({ good: "on", wrong_one: "on", bridged: "on", blown: "blown", missing: "missing" }[entry.result]);
    default:
      return [];
  }
}
