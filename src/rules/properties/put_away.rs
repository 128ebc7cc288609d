//! What is put away unjudged, or judged by less than everything, says what judging everything says.
use proptest::{prelude::*, sample::select};

use super::{BEGIN, any_fact, any_facts, any_subject, judged, railway, railway_where, runs};
use crate::{
    base::{
        ReportId, Tag,
        instant::{DAY, MINUTE},
    },
    rules::{
        Beside, Dossier, DossierKey, Fact, Judgement, Told,
        chunk::{Chunk, append},
        dossier::Subject,
        fact::On,
        judge::judge_reckoned,
        quiet::{self, say_nothing_new},
        sample::{at, entry, fact, position},
        windows::{watched_until, windows},
    },
};

/// Facts as most of those are that come to a long dossier, and others.
fn any_later() -> impl Strategy<Value = Fact> {
    let seal = select(vec![None, Some("20417"), Some("20418"), Some("broken")]);
    let look = (seal, any::<bool>()).prop_map(|(seal, found)| {
        let mut look = position(BEGIN, "D1", "closed", None);
        if let Told::Position(told) = &mut look.told {
            told.seal = seal.map(str::to_owned);
        }
        Fact { found, ..look }
    });
    let operated = (any::<bool>(), select(vec!["D1", "D2", "D3"])).prop_map(|(here, device)| {
        let other = On::Other("QHB 405".into());
        let on = if here { On::Itself { with: vec!["QHB 405".into()] } } else { other };
        fact(BEGIN, Told::Operated { device: device.into(), on })
    });
    prop_oneof![look, operated, any_fact()]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// What is put away unjudged must leave the judgement as it is, and the spans in which it matters who had the unit;
    /// so must it if no more than the last facts were in hand.
    #[test]
    fn what_says_nothing_new_changes_nothing(
        facts in any_facts(), subject in any_subject(), cutout in any::<bool>(), hidden in 0..25_usize,
        new in proptest::collection::vec((any_later(), prop_oneof![0..20_i64, 0..6_000_i64]), 1..6),
    ) {
        let railway = railway_where(cutout);
        let mut dossier = Dossier::of(facts);
        let key = DossierKey { unit: "QHB 412".into(), subject };
        let mut when = dossier.facts().last().map_or(at(BEGIN), |fact| fact.at);
        for (n, (told, minutes)) in (1_000..).zip(new) {
            when = when.plus(minutes * MINUTE);
            let report = ReportId(uuid::Uuid::from_u64_pair(3, n));
            let fact = Fact { at: when, entry: entry(n), seq: n, report, ..told };
            let mut after = dossier.clone();
            after.add(fact);
            let was = judged(&railway, &key.subject, &dossier, &railway.days, &runs());
            let spans = windows(&key.unit, &dossier, &railway.roster);
            let known = quiet::Judged { rests: was.rests, watched_until: watched_until(&spans), more_before: false };
            let new = after.facts().len() - 1;
            let hidden = hidden.min(new);
            let in_hand = quiet::Judged { more_before: hidden > 0, ..known };
            let quiet = say_nothing_new(&key, after.facts(), new, known, &railway.ground())
                || say_nothing_new(&key, &after.facts()[hidden..], new - hidden, in_hand, &railway.ground());
            if after.facts().last().map(|last| last.seq) == Some(n) && quiet {
                prop_assert_eq!(&spans, &windows(&key.unit, &after, &railway.roster));
                prop_assert_eq!(was, judged(&railway, &key.subject, &after, &railway.days, &runs()));
            }
            dossier = after;
        }
    }

    /// What is idle says the same by whatever class figures.
    #[test]
    fn no_class_figures_change_what_is_idle(
        facts in any_facts(), subject in any_subject(), volts in 40.0..70.0, total in 0..4_000_u32, gone in any::<bool>(),
    ) {
        let mut railway = railway();
        let dossier = Dossier::of(facts);
        let was = judged(&railway, &subject, &dossier, &railway.days, &runs());
        if gone {
            railway.figures = None;
        }
        if let Some(figures) = &mut railway.figures {
            figures.cranking.iter_mut().for_each(|row| row.volts = volts);
            figures.devices.iter_mut().for_each(|device| device.total = total);
        }
        if was.idle {
            prop_assert_eq!(was, judged(&railway, &subject, &dossier, &railway.days, &runs()));
        }
    }

    /// Where new facts are judged by themselves, the certain rules say of all what they said before and that; and what is
    /// reckoned from outlines is what is reckoned from the facts.
    #[test]
    fn what_certain_rules_say_of_what_is_new_comes_to_what_they_said(
        facts in any_facts(), device in 0..3_usize, cutout in any::<bool>(),
        new in proptest::collection::vec((any_later(), prop_oneof![0..20_i64, 0..6_000_i64], proptest::option::of(0..3_i64)), 1..6),
    ) {
        let railway = railway_where(cutout);
        let subject = Subject::Device([ "D1", Tag::GROUND_RELAY, Tag::ENGINE_START ][device].into());
        let key = DossierKey { unit: "QHB 412".into(), subject };
        let mut dossier = Dossier::of(facts);
        let mut when = dossier.facts().last().map_or(at(BEGIN), |fact| fact.at);
        for (n, (told, minutes, run)) in (1_000..).zip(new) {
            when = when.plus(minutes * MINUTE);
            let run = run.map(|days| when.minus(days * DAY)).or(told.run);
            let report = ReportId(uuid::Uuid::from_u64_pair(3, n));
            let fact = Fact { at: when, entry: entry(n), seq: n, report, run, ..told };
            let was = judged(&railway, &key.subject, &dossier, &railway.days, &[]);
            let mut chunks = Vec::new();
            append(&mut chunks, dossier.facts());
            let certain = |judged: &Judgement| -> Vec<_> {
                judged.findings.iter().filter(|f| f.rule.is_certain()).cloned().collect()
            };
            let before = quiet::Before {
                ends: quiet::Ends::of(&was.findings),
                last_closing: chunks.iter().filter_map(|chunk| chunk.last_closing).max(),
                last_run: chunks.iter().filter_map(|chunk| chunk.last_run).max(),
            };
            let mut after = dossier.clone();
            after.add(fact.clone());
            let last = after.facts().last().map(|last| last.seq) == Some(n);
            let now = judged(&railway, &key.subject, &after, &railway.days, &[]);
            let news = quiet::certain_of_new(&key, &[fact], before, &railway.ground());
            if let (true, Some(news)) = (last, news) {
                let mut all = certain(&was);
                all.extend(news.clone());
                all.sort_by(|a, b| (&a.key, a.since).cmp(&(&b.key, b.since)));
                prop_assert_eq!(all, certain(&now));
                prop_assert_eq!(quiet::Ends::of(&was.findings).and(quiet::Ends::of(&news)), quiet::Ends::of(&now.findings));
            }
            let mut chunks = Vec::new();
            append(&mut chunks, after.facts());
            let packed: Vec<Vec<u8>> = chunks.iter().map(Chunk::pack).collect();
            let back: Vec<Chunk> = packed.iter().map(|packed| Chunk::unpack(packed).unwrap()).collect();
            prop_assert_eq!(&back, &chunks);
            let outlines: Vec<_> = back.into_iter().flat_map(|chunk| chunk.outlines).collect();
            let beside = Beside { days: &railway.days, weather: &railway.weather, runs: &[], earlier: &[] };
            let (reckoned, rests) = judge_reckoned(&key, &outlines, beside, &railway.ground());
            let others: Vec<_> = now.findings.iter().filter(|f| !f.rule.is_certain()).cloned().collect();
            prop_assert_eq!((reckoned, rests), (others, now.rests));
            dossier = after;
        }
    }
}
