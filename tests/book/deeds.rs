//! Arbitrary deeds of a small railway within sixty days: reports of every kind, corrections, the shop's acts.
use breakerbook::{
    base::{
        EntryId, Instant, ReportId, SignIn, Stamp, Tag, UnitName,
        instant::{DAY, HOUR, MINUTE},
    },
    reports::{
        Entry, Report, Run, What, When,
        entry::{AtHow, DeviceRef, Seal, Who},
        kinds::{
            BreakerTrip, Bypass, Defect, EngineStart, Fuse, FuseCheck, GroundRelay, Position, Reset, Shutdown,
        },
        vocabulary::*,
    },
};
use proptest::{collection::vec, option::of, prelude::*, sample::select};

/// One thing somebody hands in.
#[derive(Clone, Debug)]
pub enum Deed {
    Report(Box<Report>),
    Amend {
        of: prop::sample::Index,
        by_shop: bool,
        replacement: Option<Box<Entry>>,
    },
    Hold {
        unit: UnitName,
        at: Instant,
        stored: bool,
    },
    Release {
        unit: UnitName,
        at: Instant,
    },
    /// `from`: by the same device of that unit, which got this one's (`swapped`) or none.
    Repair {
        unit: UnitName,
        device: Option<Tag>,
        at: Instant,
        new_life: bool,
        from: Option<UnitName>,
        swapped: bool,
    },
}

macro_rules! any_word {
    ($($name:ident: $type:ty,)*) => {$( fn $name() -> impl Strategy<Value = $type> { select(<$type>::ALL) } )*};
}
any_word! {
    throttle: Throttle, at_how: AtHow, signs: Signs, yes_no: YesNo, basis: Basis, reset_result: ResetResult, left: Left,
    mode: Mode, ground_reset: GroundReset, after: After, authorised_how: AuthorisedHow, purpose: Purpose,
    protection: Protection, fuse_result: FuseResult, fuse_speed: FuseSpeed, outcome: Outcome, cause: ShutdownCause,
    may_go_on: MayGoOn, seen: Seen, seal_word: SealWord, position: RunPosition, occasion: Occasion, weather: Weather,
}

/// Hours of sixty days, coarse, so that things really happen at the same moment; often within the same week.
fn at() -> impl Strategy<Value = Stamp> {
    let start = Instant::parse("2026-03-01T06:00:00Z").unwrap();
    prop_oneof![2 => 0..7_i64 * 24, 1 => 0..60_i64 * 24]
        .prop_map(move |hour| Stamp { at: start.plus(hour * HOUR), offset_min: -360 })
}

fn tag() -> impl Strategy<Value = &'static str> {
    select(&["TC1", "TC1", "TC1", "TC1", "TC1", "HL", "EC", "LC", "AL", "SF", "BK", "GR", "GRC", "GRC"][..])
}

/// Words on a plate that the book itself uses, too.
fn device() -> impl Strategy<Value = DeviceRef> {
    prop_oneof![
        12 => tag().prop_map(|tag| DeviceRef::Tag(Tag::from(tag))),
        1 => select(&["-", "ground_relay", "engine_start", "TC1", "unit", "a:b"][..]).prop_map(|plate| DeviceRef::NotListed(plate.into())),
    ]
}

fn cutout() -> impl Strategy<Value = DeviceRef> {
    prop_oneof![9 => Just(DeviceRef::Tag("GRC".into())), 1 => Just(DeviceRef::NotListed("ground cutout".into()))]
}

fn person() -> impl Strategy<Value = SignIn> {
    select(&["ann", "bob", "sam", "sue", "max", "ada"][..]).prop_map(SignIn::from)
}

fn who() -> impl Strategy<Value = Who> {
    prop_oneof![3 => person().prop_map(Who::Person), 1 => Just(Who::Named("a hired hand".into())), 1 => Just(Who::NotKnown)]
}

fn unit() -> impl Strategy<Value = UnitName> {
    select(&["QHB 1", "QHB 1", "QHB 1", "QHB 2", "QHB 3", "QHB 9"][..]).prop_map(UnitName::from)
}

fn seal() -> impl Strategy<Value = Seal> {
    prop_oneof![
        select(&["20417", "20433", "20434"][..]).prop_map(|n| Seal::Number(n.into())),
        seal_word().prop_map(Seal::Word)
    ]
}

fn fuse() -> impl Strategy<Value = Fuse> {
    (of(select(&[400.0, 250.0][..])), of(Just(250.0)), of(fuse_speed()), of(select(&["B", "C"][..])))
        .prop_map(|(rating_a, rating_v, speed, body)| Fuse {
            rating_a,
            rating_v,
            speed,
            body: body.map(str::to_owned),
        })
}

fn reset() -> impl Strategy<Value = Reset> {
    (of(at()), basis(), of(who()), of(reset_result())).prop_map(|(at, basis, told_by, result)| Reset {
        at,
        basis,
        told_by,
        result,
    })
}

fn words() -> impl Strategy<Value = String> {
    select(&["WO 5581", "drops out", "trail only", "=1+1"][..]).prop_map(str::to_owned)
}

fn bypass() -> impl Strategy<Value = Bypass> {
    let whose = (of(who()), of(who()), of(authorised_how()), of(at()), of(words()));
    let how = (of(purpose()), of(yes_no()), of(yes_no()), of(protection()));
    // Never closed before it was opened: hours after the entry's own time, set when the entry is made.
    let end =
        (of(seal()), of((0..200_i64).prop_map(|h| Stamp::utc(Instant(h * HOUR)))), of(who()), of(seal()));
    (cutout(), whose, how, end).prop_map(|(device, whose, how, end)| {
        let (by, authorised_by, authorised_how, authorised_at, reference) = whose;
        let (purpose, engine_running, power_taken, protection) = how;
        let (seal_found, closed_at, closed_by, seal_applied) = end;
        Bypass {
            device,
            by,
            authorised_by,
            authorised_how,
            authorised_at,
            reference,
            purpose,
            engine_running,
            power_taken,
            protection,
            seal_found,
            closed_at,
            closed_by,
            seal_applied,
        }
    })
}

fn ground_relay() -> impl Strategy<Value = GroundRelay> {
    (of(1..4_u32), of(at()), of(mode()), of(ground_reset()), of(after())).prop_map(
        |(operations, last_at, mode, reset, after)| GroundRelay {
            device: None,
            operations,
            last_at,
            mode,
            circuit: None,
            reset,
            after,
            motors_cut_out: vec![],
        },
    )
}

fn fuse_check() -> impl Strategy<Value = FuseCheck> {
    (device(), fuse_result(), of(fuse()), of(fuse()), basis()).prop_map(
        |(device, result, fitted, replaced_by, basis)| FuseCheck {
            device,
            result,
            tested_with: None,
            fitted,
            replaced_by,
            basis: Some(basis),
            handling: None,
        },
    )
}

fn engine_start() -> impl Strategy<Value = EngineStart> {
    (outcome(), of((30..70_i32).prop_map(f64::from))).prop_map(|(outcome, battery_cranking_v)| EngineStart {
        attempt: Some(1),
        after_long_shutdown: None,
        test_cock_result: None,
        motors: None,
        battery_rest_v: None,
        battery_cranking_v,
        main_reservoir_psi: None,
        outcome,
    })
}

fn defect() -> impl Strategy<Value = Defect> {
    (of(words()), of(words()), of(may_go_on()), of(words())).prop_map(
        |(system, text, may_go_on, restriction)| Defect {
            system,
            text,
            may_go_on,
            restriction,
            warning_notice: None,
        },
    )
}

fn moved() -> impl Strategy<Value = Position> {
    (device(), seen(), of(seen()), of(who()), of(words()), of(seal())).prop_map(
        |(device, seen, moved_to, by, why, seal)| Position {
            device,
            seen,
            moved_to,
            by,
            why,
            reference: None,
            seal,
        },
    )
}

fn what() -> impl Strategy<Value = What> {
    let trip = (device(), vec(reset(), 0..3), left());
    prop_oneof![
        8 => trip.prop_map(|(device, resets, left)| What::BreakerTrip(BreakerTrip { device, resets, left })).boxed(),
        2 => ground_relay().prop_map(What::GroundRelay).boxed(),
        3 => bypass().prop_map(What::Bypass).boxed(),
        1 => fuse_check().prop_map(What::FuseCheck).boxed(),
        1 => engine_start().prop_map(What::EngineStart).boxed(),
        1 => of(cause()).prop_map(|cause| What::Shutdown(Shutdown { cause, water_drained: None, warning_notice: None })).boxed(),
        1 => defect().prop_map(What::Defect).boxed(),
        3 => moved().prop_map(What::Position).boxed(),
    ]
}

fn entry() -> impl Strategy<Value = Entry> {
    (any::<u64>(), any::<bool>(), at(), at_how(), of(throttle()), of(signs()), what().boxed()).prop_map(
        |(id, found, stamp, at_how, throttle, signs, mut what)| {
            if let What::Bypass(Bypass { closed_at: Some(closed), .. }) = &mut what {
                closed.at = stamp.at.plus(closed.at.0);
            }
            Entry {
                id: EntryId(uuid::Uuid::from_u64_pair(id, 1)),
                when: if found { When::Found(stamp) } else { When::At(stamp) },
                at_how,
                place: None,
                throttle,
                speed_mph: None,
                load_a: None,
                load_klbf: None,
                weather: None,
                signs,
                what,
                note: None,
            }
        },
    )
}

fn report() -> impl Strategy<Value = Report> {
    let run = (at(), of(1..30_i64)).prop_map(|(started, hours)| Run {
        symbol: Some("K17".into()),
        from: None,
        to: None,
        started: Some(started),
        ended: hours.map(|h| Stamp { at: started.at.plus(h * HOUR), ..started }),
    });
    let occasion = prop_oneof![3 => run.prop_map(|run| (Occasion::Run, Some(run))), 1 => occasion().prop_filter_map("a run is told of", |o| (o != Occasion::Run).then_some((o, None)))];
    let circumstances = (occasion, of(position()), of(weather()));
    let coupled = prop_oneof![2 => Just(vec![]), 1 => consist()];
    let whose = (unit(), person(), coupled);
    (any::<u64>(), whose, circumstances, vec(entry().boxed(), 0..4), at()).prop_map(
        |(id, (unit, author, consist), ((occasion, run), position, weather), mut entries, signed_at)| {
            // The crew's own run is often what its entries are of.
            if let Some(started) = run.as_ref().and_then(|run| run.started)
                && id % 2 == 0
            {
                for (n, entry) in entries.iter_mut().enumerate() {
                    let at = Stamp { at: started.at.plus(n as i64 * 20 * MINUTE), ..started };
                    let moved = at.at.since(entry.when.at());
                    if let What::Bypass(Bypass { closed_at: Some(closed), .. }) = &mut entry.what {
                        closed.at = closed.at.plus(moved);
                    }
                    entry.when = if entry.when.is_found() { When::Found(at) } else { When::At(at) };
                }
            }
            Report {
                id: ReportId(uuid::Uuid::from_u64_pair(id, 0)),
                unit,
                author,
                occasion,
                is_final: true,
                run,
                position,
                consist,
                weather,
                remarks: None,
                entries,
                signed_at,
            }
        },
    )
}

/// Now and then with the unit itself, twice, or off the roster.
fn consist() -> impl Strategy<Value = Vec<UnitName>> {
    vec(unit(), 1..5)
}

/// Breakers of one panel, tripping within some minutes of a few moments that others tell of, too.
fn together() -> impl Strategy<Value = Report> {
    let hour = select(&[30_i64, 30, 31, 100][..]);
    let trips = vec((select(&["TC1", "HL", "EC", "AL", "LC"][..]), 0..16_i64), 1..6);
    (any::<u64>(), unit(), person(), consist(), hour, trips).prop_map(
        |(id, unit, author, consist, hour, trips)| {
            let base = Instant::parse("2026-03-01T06:00:00Z").unwrap().plus(hour * HOUR);
            let entry = |(n, (tag, minute)): (usize, (&str, i64))| Entry {
                id: EntryId(uuid::Uuid::from_u64_pair(id, n as u64)),
                when: When::At(Stamp::utc(base.plus(minute * MINUTE))),
                at_how: AtHow::Clock,
                place: None,
                throttle: None,
                speed_mph: None,
                load_a: None,
                load_klbf: None,
                weather: None,
                signs: None,
                what: What::BreakerTrip(BreakerTrip {
                    device: DeviceRef::Tag(tag.into()),
                    resets: vec![],
                    left: Left::On,
                }),
                note: None,
            };
            Report {
                id: ReportId(uuid::Uuid::from_u64_pair(id, 0)),
                unit,
                author,
                occasion: Occasion::Yard,
                is_final: true,
                run: None,
                position: None,
                consist,
                weather: None,
                remarks: None,
                entries: trips.into_iter().enumerate().map(entry).collect(),
                signed_at: Stamp::utc(base.plus(HOUR)),
            }
        },
    )
}

fn deed() -> impl Strategy<Value = Deed> {
    let day = || (0..60_i64).prop_map(|d| Instant::parse("2026-03-01T12:00:00Z").unwrap().plus(d * DAY));
    prop_oneof![
        12 => report().prop_map(|r| Deed::Report(Box::new(r))).boxed(),
        4 => together().prop_map(|r| Deed::Report(Box::new(r))).boxed(),
        3 => (any::<prop::sample::Index>(), any::<bool>(), of(entry().prop_map(Box::new)))
            .prop_map(|(of, by_shop, replacement)| Deed::Amend { of, by_shop, replacement }).boxed(),
        1 => (unit(), day(), any::<bool>()).prop_map(|(unit, at, stored)| Deed::Hold { unit, at, stored }).boxed(),
        1 => (unit(), day()).prop_map(|(unit, at)| Deed::Release { unit, at }).boxed(),
        2 => (unit(), prop_oneof![Just(Some("TC1")), of(tag())], day(), any::<bool>(), of(unit()), any::<bool>())
            .prop_map(|(unit, device, at, new_life, from, swapped)| Deed::Repair { unit, device: device.map(Tag::from), at, new_life, from, swapped })
            .boxed(),
    ]
}

/// A hundred days before them in which each unit of the class was heard of and had its ordinary share: without it there
/// is no class rate, and no rule about pairs would have anything to say.
fn ordinary() -> impl Iterator<Item = Report> {
    let begin = Instant::parse("2025-11-20T15:00:00Z").unwrap();
    let units = ["QHB 1", "QHB 2", "QHB 3"].into_iter().enumerate();
    units.flat_map(move |(u, unit)| {
        (0..5_i64).map(move |n| quiet_report(u as u64, unit, n, begin.plus(n * 24 * DAY + u as i64 * DAY)))
    })
}

/// An entry of which nothing is stated but what and when by the clock.
fn plain(id: EntryId, at: Stamp, what: What) -> Entry {
    Entry {
        id,
        when: When::At(at),
        at_how: AtHow::Clock,
        place: None,
        throttle: None,
        speed_mph: None,
        load_a: None,
        load_klbf: None,
        weather: None,
        signs: None,
        what,
        note: None,
    }
}

fn quiet_report(u: u64, unit: &str, n: i64, at: Instant) -> Report {
    let stamp = |minutes: i64| Stamp { at: at.plus(minutes * MINUTE), offset_min: -360 };
    let own = |k: u64| uuid::Uuid::from_u64_pair(u << 32 | n.cast_unsigned(), k);
    let entry = |k: u64, minutes: i64, what: What| plain(EntryId(own(k)), stamp(minutes), what);
    let tc1 = || {
        What::BreakerTrip(BreakerTrip {
            device: DeviceRef::Tag("TC1".into()),
            resets: vec![],
            left: Left::On,
        })
    };
    let relay = GroundRelay {
        device: None,
        operations: None,
        last_at: None,
        mode: None,
        circuit: None,
        reset: None,
        after: None,
        motors_cut_out: vec![],
    };
    let start = EngineStart {
        attempt: Some(1),
        after_long_shutdown: None,
        test_cock_result: None,
        motors: Some(Motors::Electric),
        battery_rest_v: None,
        battery_cranking_v: Some(60.0 - n as f64),
        main_reservoir_psi: None,
        outcome: Outcome::Running,
    };
    let away = -(u as i64) * 5 * 24 * 60;
    Report {
        id: ReportId(own(0)),
        unit: unit.into(),
        author: "ann".into(),
        occasion: Occasion::Yard,
        is_final: true,
        run: None,
        position: None,
        consist: vec![],
        weather: Some(if n % 2 == 0 { Weather::Rain } else { Weather::Dry }),
        remarks: None,
        entries: vec![
            entry(1, 0, tc1()),
            entry(2, away - 200 + n, What::GroundRelay(relay)),
            entry(3, away - 400, What::EngineStart(start)),
        ],
        signed_at: stamp(30),
    }
}

/// Deeds in some order, an order to shuffle them into, and where a group of them ends.
pub fn deeds() -> impl Strategy<Value = (Vec<Deed>, Vec<(u16, bool)>)> {
    vec((deed().boxed(), any::<u16>(), proptest::bool::weighted(0.3)), 3..40).prop_map(|all| {
        // Shuffled in among the rest.
        let keys: Vec<u16> = all.iter().map(|(_, key, _)| key.rotate_left(5)).collect();
        let before = ordinary()
            .zip(keys.into_iter().cycle())
            .map(|(report, key)| (Deed::Report(Box::new(report)), key, false))
            .collect::<Vec<_>>();
        let own = all.into_iter().enumerate().map(|(n, (deed, key, ends))| (numbered(n, deed), (key, ends)));
        before.into_iter().map(|(deed, key, ends)| (deed, (key, ends))).chain(own).unzip()
    })
}

/// No id twice, also in what is left after shrinking.
fn numbered(n: usize, mut deed: Deed) -> Deed {
    let own = |id: uuid::Uuid, n: usize| uuid::Uuid::from_u64_pair(id.as_u64_pair().0 | 1 << 60, n as u64);
    if let Deed::Report(report) = &mut deed {
        report.id = ReportId(own(report.id.0, n));
        for (k, entry) in report.entries.iter_mut().enumerate() {
            entry.id = EntryId(own(entry.id.0, 1000 + n * 10 + k));
        }
    }
    deed
}
