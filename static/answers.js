// The reset and start answers without network: src/rules/{reset,start}_answer.rs, held word for word by
// tests/browser/answers.rs. Pure. The unit is rules::situation's, in microseconds; callers' times are Date.now()'s.
const HOUR = 36e8;
const BAD = ["smell", "smoke", "heat", "arcing", "water"];
const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
const STANDS = { on: "on", closed: "on", off: "off", open: "off", tripped: "tripped" };

const fill = (words, ...gaps) => words.replace(/\{\}/g, () => gaps.shift());
const two = (n) => String(n).padStart(2, "0");
const count = (n, one) => (n === 1 ? `1 ${one}` : `${n} ${one}s`);
const place = (a, b) => a.at - b.at || (a.id < b.id ? -1 : 1);
const shut = (seen) => STANDS[seen] === "on";
const spaced = (word) => word.replace("_", " ");

function inWords(zone, at) {
  const offset = (zone.findLast(([from]) => from <= at) ?? zone[0])[1], size = Math.abs(offset);
  const t = new Date(Math.floor(at / 1000) + offset * 6e4);
  return `${t.getUTCDate()} ${MONTHS[t.getUTCMonth()]} ${t.getUTCFullYear()} ${two(t.getUTCHours())}:${two(t.getUTCMinutes())} ` +
    `${offset < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/** The unit with what a queued report says (contract JSON); entries that it has are not taken twice. */
export function addReport(unit, report) {
  if (report.unit !== unit.unit) return unit;
  const micros = (text) => (text ? Date.parse(text) * 1000 : null);
  const add = report.entries.filter((e) => unit.events.every((known) => known.id !== e.id)).map((e) => {
    const at = micros(e.at ?? e.found_at ?? e.opened_at ?? e.found_open_at), closed = micros(e.closed_at);
    // Who works in the shop is not known here: another person's closing counts as a crew's, the stricter of the two.
    const who = !e.by || e.by === "not_known" ? report.author : e.by, plate = e.device?.not_listed;
    return {
      ...e, at, by: report.author, crew: typeof who === "string" && (who !== unit.me || unit.crew),
      device: plate ? `not listed: ${plate.trim().split(/\s+/).join(" ").toUpperCase()}` : e.device,
      closed_at: closed >= at ? closed : null,
      resets: e.resets?.map((r) => ({ ...r, at: micros(r.at) })),
    };
  });
  return { ...unit, events: [...unit.events, ...add].sort(place) };
}

/** ticked: signs on the open form; tripped_at: the trip asked about, unless it is an event */
export function resetSituation(unit, tag, { ticked = [], tripped_at = null } = {}) {
  const events = unit.events.filter((e) => e.device === tag);
  return { ...unit, rule: unit.rules[tag], events, ticked, tripped_at: tripped_at && tripped_at * 1000 };
}

/** {verdict: allowed | wait | do_not, until, says, before, after, if_left_off, others_not_known, always, defers} */
export function resetAnswer(situation, now) {
  const s = { ...situation, now: now * 1000 }, w = s.words;
  s.hours = Math.trunc((s.rule?.hours ?? 24) * HOUR);
  const [verdict, says, until = null] = decide(s, w);
  const others_not_known = s.now - s.picture_from > s.hours;
  const { before = null, after = null, if_left_off = null } = s.rule ?? {};
  return {
    verdict, until: until && until / 1000, says: says + (others_not_known ? w.OLD : ""), before, after, if_left_off,
    others_not_known, always: w.ALWAYS, defers: w.RESET_DEFERS,
  };
}

const again = (e) => (e.resets ?? []).filter((r) => r.result === "tripped_again");
const operations = (e) =>
  e.kind === "breaker_trip" ? 1 + again(e).length : e.kind === "fuse_check" && e.result === "blown" ? 1 : 0;

function decide(s, w) {
  const no = (...says) => ["do_not", fill(...says)];
  const past = s.events.filter((e) => e.at <= s.now);
  const repaired = past.findLast((e) => e.kind === "repaired")?.at ?? -Infinity;
  const events = past.filter((e) => e.at >= repaired);
  const ticked = s.ticked.find((sign) => BAD.includes(sign));
  if (ticked) return no(w.TICKED, ticked);
  const open = unmended(s, w, events);
  const last = events.findLastIndex(operations), from = open?.first ?? (last < 0 ? Infinity : last);
  const bad = events.findLast((e, i) => BAD.includes(e.signs) &&
    (s.now - e.at <= Math.max(s.hours, 24 * HOUR) || i >= from));
  if (bad) return no(w.SIGN, bad.signs, inWords(s.zone, bad.at));
  if (open) return no(w.UNMENDED, open.did, inWords(s.zone, open.at), open.more ?? "");
  if (!s.rule) return no(w.NOT_LISTED);
  if (s.rule.times == null) return no(w.NOT_SAID);
  return s.rule.times ? byCount(s, w, events, no) : no(w.SHOP_ONLY);
}

/** How the last known trip ended, if badly: a failed reset is not forgotten overnight. */
function unmended(s, w, events) {
  const asked = s.tripped_at ? -1 : events.findLastIndex((e) => e.kind === "breaker_trip");
  let open = null;
  events.forEach((e, first) => {
    if (e.kind === "breaker_trip") {
      const reset = e.resets?.at(-1), at = reset?.at ?? e.at;
      const left = { off: w.LEFT_OFF, cut_out: w.LEFT_CUT_OUT, tripped: w.LEFT_TRIPPED }[e.left];
      if (reset?.result === "tripped_again") open = { did: w.TRIPPED_AGAIN, at, first };
      else if (reset?.result === "would_not_latch") open = { did: w.WOULD_NOT_LATCH, at, first, more: w.NEVER_HOLD };
      else if (!left) open = null;
      else if (first !== asked) open ??= { did: left, at: e.at, first };
    } else if (e.kind === "position" && (shut(e.seen) || (shut(e.moved_to) && !e.crew))) open = null;
  });
  return open;
}

function closings(e) {
  const one = { at: e.at, id: e.id, by: e.by, basis: e.basis };
  if (e.kind === "breaker_trip") {
    return (e.resets ?? []).filter((r) => r.result !== "would_not_latch")
      .map((r) => ({ ...one, at: r.at ?? e.at, basis: r.basis }));
  }
  if (e.kind === "fuse_check") return e.replaced_by ? [one] : [];
  return e.kind === "position" && e.seen === "tripped" && shut(e.moved_to) && e.crew ? [one] : [];
}

function byCount(s, w, events, no) {
  const { times, wait_s } = s.rule, h = Math.floor(s.hours / HOUR);
  const within = (e) => e.at <= s.now && s.now - e.at <= s.hours;
  const made = events.flatMap(closings).filter((r) => r.basis !== "examined" && r.basis !== "told_by_shop" && within(r)).sort(place);
  if (made.length >= times) {
    const others = made.filter((r) => r.by !== s.me).length;
    return no(w.USED_UP, count(made.length, "time"), inWords(s.zone, made[0].at),
      others ? fill(w.BY_OTHERS, count(others, "time")) : "", times, h);
  }
  const trips = events.filter(within).reduce((n, e) => n + operations(e), s.tripped_at ? 1 : 0) || 1, left = times - made.length;
  const wait = wait_s && fill(w.WAIT, wait_s % 60 ? count(wait_s, "second") : count(wait_s / 60, "minute"));
  const says = fill(w.ALLOWED, count(left, "reset"), ["first", "second", "third"][trips - 1] ?? `${trips}th`, h, wait || "",
    left > 1 ? w.AFTER_THAT : "");
  const operated = events.flatMap((e) => [...(operations(e) ? [e.at] : []), ...again(e).map((r) => r.at)]);
  const until = Math.max(...[...operated, s.tripped_at].filter((at) => at && at <= s.now)) + (wait_s ?? 0) * 1e6;
  return until > s.now ? ["wait", says, until] : ["allowed", says];
}

/** readings: {battery_rest_v, main_reservoir_psi, test_cock, shut_down: short | long, not_right: [text], seen_on: [tag]} */
export function startSituation(unit, readings = {}) {
  return { ...unit, ...unit.start, not_right: [], seen_on: [], ...readings };
}

/** {verdict: both | electric | air | not_now, says, reasons, would_change, cold, crank, attempt, picture, defers} */
export function startAnswer(situation, now) {
  const s = { ...situation, ...known(situation.events, now * 1000), now: now * 1000 }, w = s.words, limits = s.class ?? {};
  const at = (moment) => inWords(s.zone, moment);
  const cold = coldWords(s, w, limits);
  const attempt = Math.max(s.failed.length, ...s.failed.map((e) => e.attempt ?? 0)) + 1;
  let against = [...written(s, w, at, cold), ...cranked(s, w, at, limits, attempt - 1)], verdict = "not_now", says;
  if (!s.class) against.push([w.NO_SCHEDULE, w.ASK]);
  else if (!against[0]) [verdict, says, against] = gauges(s, w, at, limits);
  const reasons = says ? [] : against.map(([why]) => why);
  return {
    verdict, says: says ?? fill(w.NOT_NOW, reasons.join(" ")), reasons,
    would_change: [...new Set(against.map(([, change]) => change))],
    cold, crank: crankWords(w, limits, attempt), attempt,
    picture: s.now - s.picture_from > HOUR ? fill(w.PICTURE, at(s.picture_from)) : null,
    defers: w.START_DEFERS,
  };
}

const stays = (cause) => cause === "crankcase_device" || cause === "overspeed";
const isWet = (cock) => ["water", "fuel", "oil"].includes(cock);

/** What follows from the events by now: rules::start_events. */
function known(events, now) {
  const k = { failed: [], guards: new Map(), stands: new Map() };
  const past = events.filter((one) => one.at <= now);
  for (const e of past) {
    const answered = past.some((later) => later.entries?.includes(e.id) && later.at >= e.at);
    const { at, kind, device } = e, start = kind === "engine_start", repaired = kind === "repaired";
    const cause = start ? e.outcome : kind === "shutdown" ? e.cause : null, ran = start && cause === "running";
    if (!answered && (stays(cause) || cause === "low_oil" || cause === "low_water")) {
      if (!stays(k.stop?.cause) || stays(cause)) k.stop = { cause, at };
    } else if (!stays(k.stop?.cause) && (ran || (!start && cause && cause !== "not_known"))) k.stop = null;
    if (e.warning_notice && !answered) k.notice = at;
    if (kind === "shutdown") k.shut = at;
    if (repaired && !device) k.notice = k.stop = k.cock = null;
    if (ran || (repaired && (!device || device === "engine_start"))) [k.failed, k.fell] = [[], null];
    if (start) {
      if (isWet(e.test_cock_result) && !answered) k.cock = e;
      if (ran) k.shut = null;
      else if (now - at <= 24 * HOUR) {
        if (cause !== "not_known") k.failed.push(e);
        if (e.battery_cranking_v != null) k.fell = e;
      }
    }
    if (!device) continue;
    let standing = repaired ? "not_known" : kind === "breaker_trip" ? e.left : STANDS[e.moved_to] ?? STANDS[e.seen];
    if (kind === "fuse_check") {
      standing = e.replaced_by ? "on" : { good: "on", wrong_one: "on", bridged: "on", blown: "blown", missing: "missing" }[e.result];
    }
    if (kind === "bypass") {
      standing = e.closed_at != null && e.closed_at <= now ? "on" : "off";
      const there = ["lock", "tag", "blue_signal"].includes(e.protection);
      if (there || e.protection === "none") k.guards.delete(device);
      if (there) k.guards.set(device, e);
    }
    if (standing === "on") k.guards.delete(device);
    if (standing) k.stands.set(device, { standing, at });
  }
  return k;
}

function written(s, w, at, cold) {
  const out = [], add = (change, ...says) => out.push([fill(...says), change]);
  const cap = (cock) => cock[0].toUpperCase() + cock.slice(1), cock = s.test_cock;
  if (s.held != null) add(w.RELEASE, w.HELD, at(s.held));
  for (const [since, device] of s.repairs) add(w.CLOSE, w.REPAIR_OPEN, device ?? w.THE_UNIT, at(since));
  if (s.notice) add(w.NOTICE_OFF, w.NOTICE, at(s.notice));
  for (const e of s.guards.values()) add(w.GUARD_OFF, w.GUARD, spaced(e.protection), e.device, at(e.at));
  if (s.stop) add(w.REPAIR, w[s.stop.cause.toUpperCase()], at(s.stop.at));
  if (isWet(cock)) add(w.REPAIR, w.COCK, cap(cock));
  else if (s.cock) add(w.REPAIR, w.COCK_WRITTEN, cap(s.cock.test_cock_result), at(s.cock.at));
  else if (cold && cock !== "clear") add(w.BLOW, w.COCKS);
  for (const [tag, legend] of s.group) {
    const is = s.seen_on.includes(tag) ? null : s.stands.get(tag);
    if (is && is.standing !== "on" && is.standing !== "not_known") add(w.ON_AGAIN, w.OFF, tag, legend, spaced(is.standing), at(is.at));
  }
  for (const text of s.not_right) add(w.PUT_RIGHT, w.NOT_RIGHT, text);
  return out;
}

function cranked(s, w, at, { crank_attempts: may, crank_rest_s: rest }, made) {
  const out = [];
  if (!s.failed[0]) return out;
  if (made >= may) out.push([fill(w.ATTEMPTS, count(made, "attempt"), at(s.failed[0].at), may), w.LOOKED_AT]);
  const more = Math.ceil((rest ?? 0) - (s.now - s.failed.at(-1).at) / 1e6);
  if (more > 0) out.push([fill(w.REST, rest, more), w.RESTED]);
  return out;
}

function gauges(s, w, at, { motors, control_min_v: control, cranking_min_v: least, air_min_psi }) {
  const { battery_rest_v: volts, main_reservoir_psi: psi } = s, fell = s.fell?.battery_cranking_v;
  const not = (...against) => ["not_now", null, against];
  if (!motors) return not([w.NO_MOTORS, w.ASK]);
  if (volts == null) return not([w.UNREAD, w.READ_VOLTS]);
  if (control == null) return not([w.NO_CONTROL, w.ASK]);
  if (volts < control) return not([fill(w.UNDER_CONTROL, volts, control), w.CHARGE]);
  const noVolts = least == null ? [w.NO_CRANKING, w.ASK]
    : volts < least ? [fill(w.VOLTS_UNDER, volts, least), w.CHARGE]
    : fell < least ? [fill(w.VOLTS_FELL, fell, at(s.fell.at), least), w.CHARGE] : null;
  const need = [air_min_psi ?? 80, air_min_psi == null ? w.PRACTICE : ""];
  const noAir = psi == null ? [w.PSI_UNREAD, w.READ_PSI] : psi < need[0] ? [fill(w.PSI_UNDER, psi, ...need), w.COUPLE] : null;
  const onVolts = fill(w.VOLTS, volts, least), onAir = fill(w.PSI, psi, ...need);
  const electric = noVolts && [fill(w.NOT_ELECTRIC, noVolts[0]), noVolts[1]], air = noAir && [fill(w.NOT_AIR, noAir[0]), noAir[1]];
  if (motors === "electric") return electric ? not(electric) : ["electric", fill(w.ELECTRIC, onVolts), []];
  if (motors === "air") return air ? not(air) : ["air", fill(w.AIR, onAir), []];
  if (electric && air) return not(electric, air);
  if (air) return ["electric", fill(w.ELECTRIC_ONLY, onVolts, noAir[0]), [noAir]];
  return electric ? ["air", fill(w.AIR_ONLY, onAir, noVolts[0]), [noVolts]] : ["both", fill(w.BOTH, onVolts, onAir), []];
}

function coldWords(s, w, { long_shutdown_h: hours }) {
  const minutes = Math.floor((s.now - s.shut) / 6e7), h = Math.floor(minutes / 60), min = minutes % 60;
  const span = h >= 72 ? `${Math.floor(h / 24)} days` : h ? `${h} h${min ? ` ${min} min` : ""}` : `${min} min`;
  const why = s.shut_down === "long" ? w.LONG_TOLD : hours == null ? w.LONG_NOT_SAID : !s.shut ? w.LONG_UNKNOWN
    : (s.now - s.shut) / HOUR >= hours ? fill(w.LONG, span, hours) : null;
  return why && s.shut_down !== "short" ? fill(w.COLD, why) : null;
}

function crankWords(w, { crank_seconds_max: seconds, crank_rest_s: rest, crank_attempts: may }, attempt) {
  const how = seconds == null ? (rest == null ? w.CRANK_NOT_SAID : fill(w.REST_ONLY, rest))
    : rest == null ? fill(w.CRANK, seconds) : fill(w.CRANK_REST, seconds, rest);
  return how + (may == null ? fill(w.ATTEMPT, attempt) : fill(w.ATTEMPT_OF, attempt, may));
}
