//! What it takes a thumb to write something down: taps, keystrokes, and the time a practised hand needs by the
//! keystroke-level model (Card, Moran & Newell 1980), beside the same record in words on paper. Each tap is a real
//! touch in the browser, at 390 px, and what was written is read back from the report.
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use thirtyfour::By;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

/// Seconds: a key (an average typist who is no secretary), pointing, homing the hand to a keyboard, making up one's
/// mind. The response of the system, R, is measured.
const K: f64 = 0.28;
const P: f64 = 1.10;
const H: f64 = 0.40;
const M: f64 = 1.35;

const READING: &str = "Keystroke-level model of Card, Moran & Newell (1980): K 0.28 s, P 1.10 s, H 0.40 s, M 1.35 s, R as measured \
    here. Our reading, as the model knows no touch: a tap is P + K; a flick that scrolls by up to one screen is P + K; typing in a field \
    begins with H; M before every choice, and none before a tap that the one before it leads to. Signing apart.";

#[derive(Clone, Copy, PartialEq, Eq)]
enum Mind {
    /// A choice is made up.
    Chooses,
    /// The hand goes on by itself.
    GoesOn,
}
use Mind::{Chooses, GoesOn};

struct Hand<'a, 'b> {
    crew: &'a Person<'b>,
    taps: u32,
    keys: u32,
    flicks: u32,
    homings: u32,
    choices: u32,
    waited: Duration,
}

impl<'a, 'b> Hand<'a, 'b> {
    /// On the home page, where every record begins.
    async fn at_home(crew: &'a Person<'b>) -> Self {
        crew.open("/units").await;
        crew.reads("My runs").await;
        Self { crew, taps: 0, keys: 0, flicks: 0, homings: 0, choices: 0, waited: Duration::ZERO }
    }

    /// Taps what is in sight, after as many flicks as it takes to bring it there.
    async fn taps(&mut self, mind: Mind, css: &str) {
        self.crew.find(By::Css(css)).await;
        let (x, y) = self.brings_into_sight(css).await;
        self.crew
            .devtools(
                "Input.dispatchTouchEvent",
                json!({"type": "touchStart", "touchPoints": [{"x": x, "y": y}]}),
            )
            .await;
        self.crew.devtools("Input.dispatchTouchEvent", json!({"type": "touchEnd", "touchPoints": []})).await;
        self.taps += 1;
        self.choices += u32::from(mind == Chooses);
    }

    async fn brings_into_sight(&mut self, css: &str) -> (f64, f64) {
        const WHERE: &str = "const found = document.querySelector(CSS), drawn = found.closest('label.key') ?? found;
            const box = drawn.getBoundingClientRect(), lower = document.querySelector('.stick');
            const covered = lower && !lower.contains(found) && getComputedStyle(lower).position === 'sticky' ? lower.getBoundingClientRect().height : 0;
            const seen = innerHeight - covered, x = box.left + box.width / 2, y = box.top + box.height / 2;
            const at = document.elementFromPoint(x, y);
            return [x, y, box.top, box.bottom, seen, !!at && (drawn.contains(at) || at.contains(drawn))];";
        let script = WHERE.replace("CSS", &json!(css).to_string());
        for _ in 0..20 {
            let told = self.crew.script(&script).await;
            let of = |n: usize| told[n].as_f64().unwrap();
            let (top, bottom, seen) = (of(2), of(3), of(4));
            if top >= 0.0 && bottom <= seen {
                assert_eq!(told[5], true, "{css} is under something else: {told}");
                return (of(0), of(1));
            }
            // To the middle of what is seen, by no more than a screen at a time.
            let by = ((top + bottom - seen) / 2.0).clamp(-seen, seen);
            self.crew.script(&format!("scrollBy({{top: {by}, behavior: 'instant'}})")).await;
            self.flicks += 1;
        }
        panic!("{css} cannot be scrolled into sight at {}", self.crew.path().await)
    }

    /// The same, and waits for the page it leads to.
    async fn goes(&mut self, mind: Mind, css: &str, path: &str) {
        self.crew.script("window.before = true").await;
        self.taps(mind, css).await;
        let began = Instant::now();
        for _ in 0..2_000 {
            let told = self.crew.driver.execute("return [!window.before && document.readyState === 'complete', location.pathname + location.search]", vec![]).await;
            if let Ok(told) = told.map(|told| told.json().clone())
                && told[0] == true
                && told[1].as_str().is_some_and(|at| at.starts_with(path))
            {
                self.waited += began.elapsed();
                return;
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        panic!("{css} leads to {}, not to {path}: {}", self.crew.path().await, self.crew.text().await)
    }

    /// Chooses what happened on QHB 412.
    async fn writes(&mut self, kind: &str) {
        let form = format!("/units/QHB-412/write/{kind}");
        self.goes(Chooses, &format!("a.key[href='{form}']"), &form).await;
    }

    /// Taps the device on its drawn panel.
    async fn finds(&mut self, mind: Mind, kind: &str, tag: &str) {
        let form = format!("/units/QHB-412/write/{kind}?device={tag}");
        self.goes(mind, &format!("a.device[href$='device={tag}']"), &form).await;
    }

    async fn types(&mut self, css: &str, text: &str) {
        self.taps(Chooses, css).await;
        self.crew.driver.action_chain().send_keys(text).perform().await.unwrap();
        self.homings += 1;
        self.keys += u32::try_from(text.chars().count()).unwrap();
    }

    fn seconds(&self) -> f64 {
        let of = |n: u32, each: f64| f64::from(n) * each;
        of(self.taps + self.flicks, P + K)
            + of(self.keys, K)
            + of(self.homings, H)
            + of(self.choices, M)
            + self.waited.as_secs_f64()
    }

    /// Prints the record's line, with the operators it is made of.
    fn tells(&self, what: &str, paper: &str) {
        eprintln!(
            "{what}: {} taps, {} keystrokes, {:.1} s = {} P + {} K + {} H + {} M + R {:.2} s ({} flicks among them); on paper {} words: {paper}",
            self.taps,
            self.keys,
            self.seconds(),
            self.taps + self.flicks,
            self.taps + self.flicks + self.keys,
            self.homings,
            self.choices,
            self.waited.as_secs_f64(),
            self.flicks,
            paper.split_whitespace().count(),
        );
    }
}

/// The same record in words, as somebody would have to write it on an empty form: the unit, and what the report tells.
async fn on_paper(crew: &Person<'_>, unit: &str) -> String {
    let read = "const all = [...document.querySelectorAll('main ol.lines > li')].pop(); return all ? [...all.querySelectorAll(':scope > div:not(.row)')].map(e => e.textContent.trim()).join('. ') : ''";
    let Value::String(line) = crew.script(read).await else { panic!("the report tells no entry") };
    assert!(!line.is_empty(), "the report tells no entry: {}", crew.text().await);
    format!("Unit {unit}. {line}")
}

#[tokio::test(flavor = "multi_thread")]
async fn records_take_few_taps() {
    let house = House::demo();
    let chromium = Chromium::start(Scripts::On).await;
    let crew = Person::at(&chromium, &house);
    crew.screen(390).await;
    crew.devtools("Emulation.setTouchEmulationEnabled", json!({"enabled": true})).await;
    eprintln!("{READING}");
    crew.sign_in("n.okafor").await;
    first_of_all(&crew).await;
    crew.open("/units/QHB-412").await;
    crew.fill("password", password("n.okafor")).await;
    crew.press("Sign: read and understood").await;
    crew.reads("Signed: you have read it.").await;
    breaker_trip(&crew).await;
    ground_relay(&crew).await;
    found_open(&crew).await;
    start_fault(&crew).await;
    crew.sign_out().await;
    crew.sign_in("i.trelfa").await;
    crew.open("/units/QHB-423").await;
    crew.fill("password", password("i.trelfa")).await;
    crew.press("Sign: read and understood").await;
    crew.reads("Signed: you have read it.").await;
    nothing_to_report(&crew).await;
}

const REPORT: &str = "/units/QHB-412/report";
const DOWN: &str = ".stick button";

/// Of the units of the run, with the reset answer read on the way.
async fn breaker_trip(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.writes("breaker_trip").await;
    hand.finds(Chooses, "breaker_trip", "TC5").await;
    hand.taps(Chooses, "input[name='resets[0].result'][value=none]").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    crew.reads("Breaker trip, TC5").await;
    crew.reads("Left tripped.").await;
    hand.tells("breaker trip", &on_paper(crew, "QHB 412").await);
    assert!(hand.taps <= 5 && hand.keys == 0, "{} taps, {} keystrokes", hand.taps, hand.keys);
    assert!(hand.seconds() <= 15.0, "{:.1} s", hand.seconds());
    // With every question that the form asks first, too.
    let mut hand = Hand::at_home(crew).await;
    hand.writes("breaker_trip").await;
    hand.finds(Chooses, "breaker_trip", "TC4").await;
    hand.taps(Chooses, "input[name=signs][value=none]").await;
    hand.taps(Chooses, "input[name='resets[0].result'][value=held]").await;
    hand.taps(Chooses, "input[name='resets[0].basis'][value=looked_no_sign]").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    crew.reads("Breaker trip, TC4").await;
    hand.tells("breaker trip, looked at and reset", &on_paper(crew, "QHB 412").await);
}

/// Before there is a run: the unit is looked for first.
async fn first_of_all(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.types("#f-q", "412").await;
    hand.goes(GoesOn, ".filter button", "/units?q=412").await;
    hand.writes("breaker_trip").await;
    hand.finds(Chooses, "breaker_trip", "CFP").await;
    hand.taps(Chooses, "input[name='resets[0].result'][value=none]").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    hand.tells("breaker trip, the unit looked for first", &on_paper(crew, "QHB 412").await);
}

async fn ground_relay(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.writes("ground_relay").await;
    hand.finds(GoesOn, "ground_relay", "GR").await;
    hand.taps(Chooses, "input[name=mode][value=motoring]").await;
    hand.taps(Chooses, "input[name=reset][value=itself]").await;
    hand.taps(Chooses, "input[name=after][value=loads_again]").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    crew.reads("Ground relay").await;
    crew.reads("loads again").await;
    hand.tells("ground-relay operation", &on_paper(crew, "QHB 412").await);
}

async fn found_open(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.writes("bypass").await;
    hand.finds(GoesOn, "bypass", "GRC").await;
    hand.taps(Chooses, "input[name=when][value=found]").await;
    hand.taps(Chooses, "input[name=protection][value=none]").await;
    hand.taps(Chooses, "input[name=by][value=not_known]").await;
    hand.taps(Chooses, "input[name=closed][value=no]").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    crew.reads("found open").await;
    hand.tells("bypass found open", &on_paper(crew, "QHB 412").await);
}

async fn start_fault(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.writes("engine_start").await;
    hand.taps(Chooses, "input[name=outcome][value=slow_crank]").await;
    hand.types("input[name=battery_cranking_v]", "41").await;
    hand.goes(GoesOn, DOWN, REPORT).await;
    crew.reads("41 V").await;
    hand.tells("start fault", &on_paper(crew, "QHB 412").await);
}

/// Two taps and a signature.
async fn nothing_to_report(crew: &Person<'_>) {
    let mut hand = Hand::at_home(crew).await;
    hand.goes(Chooses, "a.button[href='/run/close']", "/run/close").await;
    hand.taps(Chooses, "input[name='QHB-423.cutout.GRC'][value=closed_sealed]").await;
    let paper = "Unit QHB 423. Nothing to report. Ground-relay cutout GRC closed and sealed.";
    hand.tells("nothing to report", paper);
    assert_eq!((hand.taps, hand.keys), (2, 0), "two taps and a signature");
    crew.fill("password", password("i.trelfa")).await;
    crew.press_first().await;
    crew.waits_for("/runs?closed=1").await;
    crew.reads("QHB 423: 1 entry").await;
    crew.reads("seen closed").await;
}
