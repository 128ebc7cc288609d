//! The entry is written in the contract's words twice, by `pages::crew::answers` and by `static/contract.js`: made-up
//! forms of every kind hold the two together.
use std::sync::Arc;

use breakerbook::{
    base::{Instant, SignIn, Zone},
    pages::crew::{
        answers::{About, Scene, entry, settle},
        asking::{Answer, parts},
        typed::Typed,
    },
    people::{People, Person as Somebody, Role},
    reports::kinds::Kind,
};
use rand::{Rng as _, RngExt as _, SeedableRng as _, rngs::StdRng};
use serde_json::{Value, json};

use super::cab::asks;
use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::Person,
};

const EACH: u64 = 400;

/// Answers as somebody might give them: some left alone, some that cannot be read.
fn made_up(kind: Kind, dice: &mut StdRng) -> Typed {
    let mut typed = Typed::default();
    let mut pick = |of: &[&str]| of[dice.random_range(0..of.len())].to_owned();
    typed.set("when", pick(&["now", "5", "15", "30", "set", "not_known", "found", ""]));
    typed
        .set("when.set", pick(&["", "2026-03-02T20:00", "2026-03-08T02:30", "2026-11-01T01:30", "nonsense"]));
    typed.set("when.about", pick(&["", "yes"]));
    typed.set("device.not_listed", pick(&["AUX COMPR", " ", "Fan 3"]));
    for question in parts(kind, None).iter().flat_map(|part| part.questions) {
        let name = question.name;
        match question.answer {
            Answer::Words(words) | Answer::Few(words) | Answer::Gate(words) => {
                let all: Vec<&str> = words.iter().map(|(word, _)| *word).chain([""]).collect();
                typed.set(name, pick(&all));
            }
            Answer::Text | Answer::Lines => {
                typed.set(name, pick(&["", " wet rail ", "MP 41.2", "line\nline"]))
            }
            Answer::Figure => typed.set(name, pick(&["", "38", " 64.5 ", "64,5", "-12", "lots"])),
            Answer::Count => typed.set(name, pick(&["", "2", " 3", "1.5", "-1"])),
            Answer::Time => typed.set(name, pick(&["", "2026-03-02T23:00", "yesterday"])),
            Answer::Person => {
                typed.set(name, pick(&["", "m.ruiz", "M.Ruiz", "Ann from the shop", "not known"]))
            }
            Answer::Who => {
                typed.set(name, pick(&["", "me", "other", "not_known"]));
                typed.set(&format!("{name}.name"), pick(&["", "m.ruiz", "A. Lind"]));
            }
            Answer::Seal => {
                typed.set(name, pick(&["", "broken", "none"]));
                typed.set(&format!("{name}.number"), pick(&["", "20417"]));
            }
            Answer::List => typed.set(name, pick(&["", "2, 5", "2,,5 "])),
        }
    }
    // A closing time beside 'still open' becomes part of the note on the server, which knows more words for it.
    if typed.raw("closed") != "yes" {
        typed.set("closed_at", "");
    }
    typed
}

#[tokio::test(flavor = "multi_thread")]
async fn the_tablet_writes_what_the_server_writes() {
    let (house, _) = House::empty();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.open("/offline").await;
    let zone = Zone::named("America/Chicago").unwrap();
    let (me, mut people) = (SignIn::from("n.okafor"), People::default());
    let known = Somebody {
        sign_in: "m.ruiz".into(),
        role: Role::Supervisor,
        added_at: Instant(0),
        active: true,
        last: Default::default(),
    };
    people.persons.insert(known.sign_in.clone(), Arc::new(known));
    let mut dice = StdRng::seed_from_u64(7);
    let (mut compared, mut refused) = (0, 0);
    for kind in Kind::ALL {
        let mut wanted = Vec::new();
        let mut asked = Vec::new();
        for n in 0..EACH {
            let now = Instant::parse(
                ["2026-03-02T23:12:40-06:00", "2026-07-02T04:00:00-05:00"][usize::try_from(n % 2).unwrap()],
            )
            .unwrap();
            let about = ["", "TC2", "?"][usize::try_from(dice.next_u32() % 3).unwrap()];
            let typed = made_up(*kind, &mut dice);
            let id = "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11".parse().unwrap();
            let scene = Scene { me: &me, people: &people, zone: &zone, now };
            let mut settled = typed.clone();
            settle(&mut settled, &scene);
            let (entry, says) = entry(*kind, id, &About::parse(about), None, &settled, &scene);
            let wrong: Vec<_> = says.keys().cloned().collect();
            wanted.push(json!([entry, wrong]));
            asked.push(json!({"id": id, "kind": kind, "device": about, "typed": typed, "now": now.0 / 1000}));
        }
        let body = "const { dataset } = document.getElementById(`t-${given.kind}`), zone = JSON.parse(document.getElementById('shell').dataset.zone);
            const form = { fields: JSON.parse(dataset.fields), times: JSON.parse(dataset.times) };
            return given.asked.map((one) => {
                contract.settle(one.typed, zone, one.now);
                const [entry, says] = contract.entryOf(form, one, 'n.okafor', zone);
                // What has to be answered is asked for by the server's other look.
                return [entry, Object.keys(says).filter((name) => says[name] !== 'ANSWER').sort()];
            });";
        let said = asks(&crew, body, json!({"kind": kind, "asked": asked})).await;
        for ((wanted, said), asked) in wanted.iter().zip(said.as_array().unwrap()).zip(&asked) {
            assert_eq!(&plain(said), &plain(wanted), "{asked:#}");
            compared += 1;
            refused += u32::from(!wanted[1].as_array().unwrap().is_empty());
        }
    }
    eprintln!("{compared} forms, the same entries; {refused} of them cannot be read as they are");
    assert!(refused > 100 && refused + 100 < compared, "{refused} of {compared}");
}

/// 38 and 38.0 are one figure.
fn plain(value: &Value) -> Value {
    match value {
        Value::Number(number) => json!(number.as_f64()),
        Value::Array(items) => items.iter().map(plain).collect(),
        Value::Object(fields) => fields.iter().map(|(name, value)| (name.clone(), plain(value))).collect(),
        other => other.clone(),
    }
}
