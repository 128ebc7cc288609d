//! The reset answer and the start answer are said twice, by `rules` and by `static/answers.js`: 10,000 made-up units
//! hold the two together, word for word.
use serde_json::{Value, json};

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    situations::Case,
};

const CASES: u64 = 10_000;
const AT_ONCE: u64 = 250;

/// What a tablet does: the queue's reports are added to the picture, then both answers are asked for.
const ASK: &str = r"
    const [url, cases, done] = arguments;
    import(url).then((answers) => done(cases.map((c) => {
        const unit = c.queue.reduce(answers.addReport, c.unit);
        const reset = answers.resetSituation(unit, c.tag, { ticked: c.ticked, tripped_at: c.tripped_at });
        return {
            reset: answers.resetAnswer(reset, c.now),
            start: answers.startAnswer(answers.startSituation(unit, c.readings), c.now),
        };
    }))).catch((why) => done(String(why?.stack ?? why)));
";

#[tokio::test(flavor = "multi_thread")]
async fn the_tablet_says_what_the_server_says() {
    let (house, _) = House::empty();
    let chromium = Chromium::start(Scripts::On).await;
    chromium.driver.goto(format!("{}/sign-in", house.url)).await.unwrap();
    let url = format!("{}{}", house.url, breakerbook::web::assets::url("answers.js"));
    let mut seen = std::collections::BTreeMap::<String, u32>::new();
    for first in (0..CASES).step_by(usize::try_from(AT_ONCE).unwrap()) {
        let cases: Vec<Case> = (first..first + AT_ONCE).map(Case::of).collect();
        let asked: Vec<Value> = cases.iter().map(Case::asked).collect();
        let said = chromium.driver.execute_async(ASK, vec![json!(url), json!(asked)]).await.unwrap();
        let said = said.json().as_array().unwrap_or_else(|| panic!("{}", said.json())).clone();
        assert_eq!(said.len(), cases.len());
        for ((seed, case), said) in (first..).zip(&cases).zip(said) {
            let wanted = case.wanted();
            for answer in ["reset", "start"] {
                let verdict = wanted[answer]["verdict"].as_str().unwrap();
                *seen.entry(format!("{answer} {verdict}")).or_default() += 1;
                if said[answer] != wanted[answer] {
                    panic!(
                        "seed {seed}, {answer}: the script says\n{:#}\nthe server\n{:#}\nabout\n{}",
                        said[answer],
                        wanted[answer],
                        case.asked()
                    );
                }
            }
        }
    }
    eprintln!("{CASES} situations, the same words: {seen:?}");
    // No answer is so rare that the ten thousand say nothing of it.
    assert!(seen.len() == 7 && seen.values().all(|n| *n >= 50), "{seen:?}");
}
