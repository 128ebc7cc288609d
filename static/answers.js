// What src/rules/reset_answer.rs and src/rules/start_answer.rs say, where there is no network: word for word, see
// tests/browser/answers.rs. Pure: no page, no clock, no network. A unit's situation comes from rules::situation, with
// times in microseconds; what a caller hands in and gets back is in milliseconds, as Date.now().
const HOUR = 36e8;
const BAD = ["smell", "smoke", "heat", "arcing", "water"];
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
const STANDS = { on: "on", closed: "on", off: "off", open: "off", tripped: "tripped" };
const SHUT = { on: true, off: false, tripped: false };

const two = (n) => String(n).padStart(2, "0");
const count = (n, one) => (n === 1 ? `1 ${one}` : `${n} ${one}s`);
const place = (a, b) => a.at - b.at || (a.id < b.id ? -1 : 1);
const shut = (seen) => SHUT[STANDS[seen]];

/** `3 Mar 2026 05:14 -06:00` */
function inWords(zone, at) {
  const offset = (zone.findLast(([from]) => from <= at) ?? zone[0])[1];
  const t = new Date(Math.floor(at / 1000) + offset * 6e4);
  const [h, min] = [Math.floor(Math.abs(offset) / 60), Math.abs(offset) % 60];
  return `${t.getUTCDate()} ${MONTHS[t.getUTCMonth()]} ${t.getUTCFullYear()} ${two(t.getUTCHours())}:` +
    `${two(t.getUTCMinutes())} ${offset < 0 ? "-" : "+"}${two(h)}:${two(min)}`;
}

/** The unit with the entries of a report that waits in the queue (contract JSON). Those it has are not taken twice. */
export function addReport(unit, report) {
  if (report.unit !== unit.unit) return unit;
  const micros = (text) => (text ? Date.parse(text) * 1000 : null);
  const add = report.entries.filter((e) => unit.events.every((known) => known.id !== e.id)).map((e) => {
    const at = micros(e.at ?? e.found_at ?? e.opened_at ?? e.found_open_at);
    const closed = micros(e.closed_at);
    // Who works in the shop is not on the tablet: another person's closing counts as a crew's, the stricter of the two.
    const who = !e.by || e.by === "not_known" ? report.author : e.by;
    return {
      ...e, at, by: report.author,
      device: e.device?.not_listed ? `not listed: ${e.device.not_listed.trim().split(/\s+/).join(" ").toUpperCase()}` : e.device,
      crew: typeof who === "string" && (who !== unit.me || unit.crew),
      closed_at: closed >= at ? closed : null,
      resets: e.resets?.map((r) => ({ ...r, at: micros(r.at) })),
    };
  });
  return { ...unit, events: [...unit.events, ...add].sort(place) };
}

/** The situation of one device; ticked: signs on the open form, tripped_at: the trip asked about. */
export function resetSituation(unit, tag, { ticked = [], tripped_at = null } = {}) {
  const { me, picture_from, zone, rules } = unit;
  const events = unit.events.filter((e) => e.device === tag);
  return { me, picture_from, zone, rule: rules[tag], events, ticked, tripped_at: tripped_at && tripped_at * 1000 };
}

/** {verdict: allowed | wait | do_not, until, says, before, after, if_left_off, others_not_known, always, defers} */
export function resetAnswer(situation, now) {
  const s = { ...situation, now: now * 1000 };
  s.hours = Math.trunc((s.rule?.hours ?? 24) * HOUR);
  const [verdict, says, until = null] = decide(s);
  const others_not_known = s.now - s.picture_from > s.hours;
  const { before = null, after = null, if_left_off = null } = s.rule ?? {};
  return {
    verdict, until: until && until / 1000, before, after, if_left_off, others_not_known,
    says: says + (others_not_known ? " This picture is old: others' resets not known." : ""),
    always: "Not if you smell, see or feel anything burning, hot or wet.",
    defers: "Your railway's instructions decide; if they say otherwise, follow them.",
  };
}

function decide(s) {
  const past = s.events.filter((e) => e.at <= s.now);
  const repaired = past.findLast((e) => e.kind === "repaired")?.at ?? -Infinity;
  const events = past.filter((e) => e.at >= repaired);
  const no = (says) => ["do_not", `Do not reset${says}`];
  const ticked = s.ticked.find((sign) => BAD.includes(sign));
  if (ticked) return no(`: ${ticked} is ticked on this entry. Leave it off and call the shop.`);
  const open = unmended(s, events);
  const last = events.findLastIndex(operations);
  const from = open?.first ?? (last < 0 ? Infinity : last);
  const bad = events.findLast((e, i) => BAD.includes(e.signs) &&
    (s.now - e.at <= Math.max(s.hours, 24 * HOUR) || i === last || i >= from));
  if (bad) return no(`: ${bad.signs} was written ${inWords(s.zone, bad.at)}. Leave it off and call.`);
  if (open) {
    return no(`. It ${open.did} on ${inWords(s.zone, open.at)} and nothing written since says it was repaired: leave it ` +
      `off and call the shop.${open.more ?? ""}`);
  }
  if (!s.rule) return no(": the schedule does not have it. Ask first.");
  if (s.rule.times == null) return no(": the schedule does not say whether a crew may. Ask first.");
  return s.rule.times ? byCount(s, events, no) : no(": the schedule leaves it to the shop.");
}

const again = (e) => (e.resets ?? []).filter((r) => r.result === "tripped_again");

function operations(e) {
  if (e.kind === "breaker_trip") return 1 + again(e).length;
  return e.kind === "fuse_check" && e.result === "blown" ? 1 : 0;
}

/** How the last known trip ended, if badly: a failed reset is not forgotten overnight. */
function unmended(s, events) {
  const asked = s.tripped_at ? -1 : events.findLastIndex((e) => e.kind === "breaker_trip");
  let open = null;
  events.forEach((e, first) => {
    if (e.kind === "breaker_trip") {
      const reset = e.resets?.at(-1);
      const left = { off: "was left off", cut_out: "was left cut out", tripped: "was left tripped" }[e.left];
      const at = reset?.at ?? e.at;
      if (reset?.result === "tripped_again") open = { did: "was reset and tripped again", at, first };
      else if (reset?.result === "would_not_latch") open = { did: "would not latch", at, first, more: " Never hold a breaker in." };
      else if (!left) open = null;
      else if (first !== asked) open ??= { did: left, at: e.at, first };
    } else if (e.kind === "position" && (shut(e.seen) || (shut(e.moved_to) && !e.crew))) open = null;
  });
  return open;
}

function byCount(s, events, no) {
  const { times, wait_s } = s.rule;
  const within = (e) => e.at <= s.now && s.now - e.at <= s.hours;
  const made = events.flatMap((e) => {
    const one = { at: e.at, id: e.id, by: e.by, basis: e.basis };
    if (e.kind === "breaker_trip") {
      return (e.resets ?? []).filter((r) => r.result !== "would_not_latch")
        .map((r) => ({ ...one, at: r.at ?? e.at, basis: r.basis }));
    }
    if (e.kind === "fuse_check") return e.replaced_by ? [one] : [];
    return e.kind === "position" && e.seen === "tripped" && shut(e.moved_to) && e.crew ? [one] : [];
  }).filter((r) => r.basis !== "examined" && r.basis !== "told_by_shop" && within(r)).sort(place);
  const h = Math.floor(s.hours / HOUR);
  if (made.length >= times) {
    const others = made.filter((r) => r.by !== s.me).length;
    return no(`: reset ${count(made.length, "time")} since ${inWords(s.zone, made[0].at)}` +
      `${others ? `, ${count(others, "time")} by others` : ""}; the schedule allows ${times} in ${h} h.`);
  }
  const trips = events.filter(within).reduce((n, e) => n + operations(e), s.tripped_at ? 1 : 0) || 1;
  const left = times - made.length;
  const wait = !wait_s ? "" : ` Wait ${wait_s % 60 ? count(wait_s, "second") : count(wait_s / 60, "minute")} first.`;
  const says = `${count(left, "reset")} allowed by the schedule: ${["first", "second", "third"][trips - 1] ?? `${trips}th`} ` +
    `trip of this device on this unit in ${h} h.${wait} If it trips again${left > 1 ? " after that" : ""}, leave it off.`;
  const operated = events.flatMap((e) => [...(operations(e) ? [e.at] : []), ...again(e).map((r) => r.at)]);
  const until = Math.max(...[...operated, s.tripped_at].filter((at) => at && at <= s.now)) + (wait_s ?? 0) * 1e6;
  return until > s.now ? ["wait", says, until] : ["allowed", says];
}

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

/** readings: {battery_rest_v, main_reservoir_psi, test_cock, shut_down: short | long, not_right: [text], seen_on: [tag]} */
export function startSituation(unit, readings = {}) {
  const { picture_from, zone, events, start } = unit;
  return { picture_from, zone, events, ...start, not_right: [], seen_on: [], ...readings };
}

/** {verdict: both | electric | air | not_now, says, reasons, would_change, cold, crank, attempt, picture, defers} */
export function startAnswer(situation, now) {
  const s = { ...situation, ...known(situation.events, now * 1000), now: now * 1000 };
  const at = (moment) => inWords(s.zone, moment);
  const limits = s.class ?? {};
  const cold = coldWords(s, limits);
  const attempt = Math.max(s.failed.length, ...s.failed.map((e) => e.attempt ?? 0)) + 1;
  let against = [...written(s, at, cold), ...cranked(s, at, limits, attempt - 1)], verdict = "not_now", says;
  if (!s.class) against.push(["The book has no schedule of it.", ASK]);
  else if (!against[0]) [verdict, says, against] = gauges(s, at, limits);
  const reasons = verdict === "not_now" ? against.map(([why]) => why) : [];
  return {
    verdict, says: says ?? `Not now. ${reasons.join(" ")}`, reasons,
    would_change: [...new Set(against.map(([, change]) => change))],
    cold, crank: crankWords(limits, attempt), attempt,
    picture: s.now - s.picture_from > HOUR
      ? `This picture of the book is from ${at(s.picture_from)}: what was written since is not in it.` : null,
    defers: "Your railway's instructions and qualified people decide; if they say otherwise, follow them.",
  };
}

/** What follows from the events by now, see rules::start_events. */
function known(events, now) {
  const k = { failed: [], guards: {}, stands: {} };
  for (const e of events.filter((one) => one.at <= now)) {
    const { at, kind, device } = e;
    const cause = kind === "engine_start" ? e.outcome : kind === "shutdown" ? e.cause : null;
    const ran = cause === "running", stays = STOPS[k.stop?.cause]?.[2];
    if (STOPS[cause]) {
      if (!stays || STOPS[cause][2]) k.stop = { cause, at };
    } else if (!stays && (ran || (kind === "shutdown" && cause && cause !== "not_known"))) k.stop = null;
    if (e.warning_notice) k.notice = at;
    if (kind === "shutdown") k.shut = at;
    if (kind === "repaired" && !device) k.notice = k.stop = k.cock = null;
    if (ran || (kind === "repaired" && (!device || device === "engine_start"))) {
      k.failed = [];
      k.fell = null;
    }
    if (kind === "engine_start") {
      if (WET[e.test_cock_result]) k.cock = e;
      if (ran) k.shut = null;
      else if (now - at <= 24 * HOUR) {
        if (cause !== "not_known") k.failed.push(e);
        if (e.battery_cranking_v != null) k.fell = e;
      }
    }
    if (!device) continue;
    let standing = kind === "repaired" ? "not_known" : kind === "breaker_trip" ? e.left : null;
    if (kind === "position") standing = STANDS[e.moved_to] ?? STANDS[e.seen];
    if (kind === "fuse_check") {
      standing = e.replaced_by ? "on" : { good: "on", wrong_one: "on", bridged: "on", blown: "blown", missing: "missing" }[e.result];
    }
    if (kind === "bypass") {
      standing = e.closed_at != null && e.closed_at <= now ? "on" : "off";
      const there = ["lock", "tag", "blue_signal"].includes(e.protection);
      if (there || e.protection === "none") delete k.guards[device];
      if (there) k.guards[device] = e;
    }
    if (standing === "on") delete k.guards[device];
    if (standing) k.stands[device] = { standing, at };
  }
  return k;
}

/** What the shop has open, what was written and what was found not right, in this order. */
function written(s, at, cold) {
  const out = [];
  const add = (...against) => out.push(against);
  if (s.held != null) add(`The shop holds it since ${at(s.held)}.`, "The shop releases it.");
  for (const [since, device] of s.repairs) {
    add(`A repair of ${device ?? "the unit"} is open since ${at(since)}.`, "The shop closes the repair.");
  }
  if (s.notice) {
    add(`A warning notice was hung on it, written ${at(s.notice)}: read it.`,
      "What it warns of is repaired, the repair closed and the notice taken off.");
  }
  for (const e of Object.values(s.guards)) {
    add(`A ${e.protection.replace("_", " ")} at ${e.device} was written ${at(e.at)}: somebody may be working on it.`,
      "Whoever put it there takes it off.");
  }
  if (s.stop) {
    const [by, then] = STOPS[s.stop.cause];
    add(`It was stopped ${by}, ${at(s.stop.at)}${then}.`, REPAIR);
  }
  const cock = s.test_cock;
  if (WET[cock]) add(`${WET[cock]} at a test cock: do not start.`, REPAIR);
  else if (s.cock) add(`${WET[s.cock.test_cock_result]} at a test cock, written ${at(s.cock.at)}: do not start.`, REPAIR);
  else if (cold && cock !== "clear") {
    add("Before a cold start the test cocks have to be clear, and that is not said yet.", "Blow the test cocks: all clear.");
  }
  for (const [tag, legend] of s.group.filter(([one]) => !s.seen_on.includes(one))) {
    const is = s.stands[tag];
    if (is && !["on", "not_known"].includes(is.standing)) {
      add(`${tag} (${legend}) was last written ${is.standing.replace("_", " ")}, ${at(is.at)}.`,
        "What is off is looked at, closed as the schedule says, and written down.");
    }
  }
  for (const text of s.not_right) add(`Not right: ${text}.`, "What is not right is put right.");
  return out;
}

function cranked(s, at, { crank_attempts: may, crank_rest_s: rest }, made) {
  const out = [], first = s.failed[0];
  if (!first) return out;
  if (made >= may) {
    out.push([`${count(made, "attempt")} failed since ${at(first.at)}; the schedule allows ${may}.`,
      "The shop looks at it and closes a repair."]);
  }
  const more = Math.ceil((rest ?? 0) - (s.now - s.failed.at(-1).at) / 1e6);
  if (more > 0) out.push([`The starting motors rest ${rest} s after an attempt: ${more} s more.`, "The rest is over."]);
  return out;
}

function gauges(s, at, { motors, control_min_v: control, cranking_min_v: least, air_min_psi }) {
  const { battery_rest_v: volts, main_reservoir_psi: psi } = s;
  const notNow = (...against) => ["not_now", null, against];
  if (!motors) return notNow(["The schedule does not say which motors start it.", ASK]);
  if (volts == null) {
    return notNow(["The battery at rest is not read: without volts nothing starts, on air neither.",
      "Read the battery's volts from the gauge, never probe."]);
  }
  if (control == null) return notNow(["The schedule does not say how many volts the controls need.", ASK]);
  if (volts < control) {
    return notNow([`Battery ${volts} V at rest, under ${control}: nothing starts, on air neither, for the controls and ` +
      "the fuel pump need it.", CHARGE]);
  }
  const fell = s.fell?.battery_cranking_v;
  const noVolts = least == null ? ["the schedule does not say how many volts cranking needs", ASK]
    : volts < least ? [`battery ${volts} V at rest, under ${least}`, CHARGE]
    : fell < least ? [`the battery fell to ${fell} V while cranking, ${at(s.fell.at)}, under ${least}`, CHARGE] : null;
  const need = `${air_min_psi ?? "80"}${air_min_psi == null ? " (common practice, no source)" : ""}`;
  const noAir = psi == null ? ["the main reservoir is not read", "Read the main reservoir."]
    : psi < (air_min_psi ?? 80) ? [`main reservoir ${psi} psi, under ${need}`,
      "Couple main-reservoir hoses to another unit, as local instructions say."] : null;
  const onVolts = `battery ${volts} V at rest, at least ${least}`;
  const onAir = `main reservoir ${psi} psi, at least ${need}`;
  const says = (verdict, how, ...but) => [verdict, `Nothing in the book is against a start now${how}`, but];
  const not = (on, no) => [`Not on ${on}: ${no[0]}.`, no[1]];
  if (motors === "electric") {
    return noVolts ? notNow(not("the electric motors", noVolts)) : says("electric", `, with its electric motors: ${onVolts}.`);
  }
  if (motors === "air") return noAir ? notNow(not("air", noAir)) : says("air", `, with its air motors: ${onAir}.`);
  if (!noVolts && !noAir) return says("both", `, with both kinds of motors: ${onVolts}; ${onAir}.`);
  if (!noVolts) return says("electric", ` on the electric motors only: ${onVolts}. Not on air: ${noAir[0]}.`, noAir);
  if (!noAir) return says("air", ` on the air motors only: ${onAir}. Not on the electric motors: ${noVolts[0]}.`, noVolts);
  return notNow(not("the electric motors", noVolts), not("air", noAir));
}

function coldWords(s, { long_shutdown_h: hours }) {
  const minutes = Math.floor((s.now - s.shut) / 6e7), h = Math.floor(minutes / 60), min = minutes % 60;
  const span = h >= 72 ? `${Math.floor(h / 24)} days` : h ? `${h} h${min ? ` ${min} min` : ""}` : `${min} min`;
  const why = s.shut_down === "long" ? "Shut down long, as told"
    : hours == null ? "The schedule does not say which shutdown is long"
    : !s.shut ? "Shut down for an unknown time, which counts as long"
    : (s.now - s.shut) / HOUR >= hours ? `Shut down ${span}, and from ${hours} h on it is long` : null;
  return why && s.shut_down !== "short" ? `${why}: the cold-engine procedure applies.` : null;
}

function crankWords({ crank_seconds_max: seconds, crank_rest_s: rest, crank_attempts: may }, attempt) {
  const how = seconds != null ? `Crank at most ${seconds} s${rest != null ? `, then rest ${rest} s` : ""}.`
    : `${rest != null ? `Rest ${rest} s after each attempt. ` : ""}The schedule does not say how long to crank.`;
  return `${how} Attempt ${attempt}${may != null ? ` of ${may}.` : "; the schedule does not say how many."}`;
}
