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
