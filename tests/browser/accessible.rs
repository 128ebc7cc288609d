//! The accessibility scan: axe-core, fetched from npm at test time, in the browser, on every page, in both palettes,
//! and again with the browser's letters twice as large. Its contrast rule of 7:1 is switched on.
use std::{collections::BTreeMap, path::PathBuf, process::Command, sync::OnceLock};

use serde_json::{Value, json};
use sha2::{Digest, Sha512};

use crate::{
    chromium::{Chromium, Scripts},
    every,
    house::House,
    looks::Looks,
    person::{Person, password},
};

const VERSION: &str = "4.14.1";
/// Of the package as the registry gave it when this test was written.
const SHA_512: &str = "1477dafa598d8d065f273d6af302aa203c02e83131707b7fa648cd41bd3d6b734f8c22a0dab86ee6a6f64b8afbe804b214d36db85a2826965edfb3a0b9d546b5";

/// The scanner's source. Nothing of it is kept in this repository, and none of its scripts is run but this one.
fn axe() -> &'static str {
    static AXE: OnceLock<String> = OnceLock::new();
    AXE.get_or_init(|| {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
        let packed = folder.join(format!("axe-core-{VERSION}.tgz"));
        if !packed.exists() {
            run(Command::new("npm")
                .args(["pack", &format!("axe-core@{VERSION}"), "--ignore-scripts", "--silent"])
                .arg("--pack-destination")
                .arg(&folder));
        }
        let digest = hex::encode(Sha512::digest(std::fs::read(&packed).unwrap()));
        assert_eq!(digest, SHA_512, "{} is not the package this test knows: remove it", packed.display());
        let source = run(Command::new("tar").arg("-xzOf").arg(&packed).arg("package/axe.min.js"));
        String::from_utf8(source).unwrap()
    })
}

fn run(command: &mut Command) -> Vec<u8> {
    let done =
        command.output().unwrap_or_else(|why| panic!("{command:?}: {why}. `bash tests/all` installs it."));
    assert!(done.status.success(), "{command:?}: {}", String::from_utf8_lossy(&done.stderr));
    done.stdout
}

/// Each violation with the places where it is, and what the scanner could not decide. Of contrast, the least ratio of the
/// text to what lies behind it by the styles in force: the nearest colour up the tree.
const SCAN: &str = "const done = arguments[arguments.length - 1], says = (n) => n.any.concat(n.all, n.none).map(c => c.message).join('; ');
const parts = (colour) => colour.match(/^rgba?\\(/) ? colour.match(/[\\d.]+/g).map(Number) : [NaN];
const light = (colour) => parts(colour).slice(0, 3).map(c => c / 255).map(c => c <= .04045 ? c / 12.92 : ((c + .055) / 1.055) ** 2.4)
  .reduce((sum, c, i) => sum + c * [.2126, .7152, .0722][i], 0);
const behind = (e) => {
  for (; e; e = e.parentElement) {
    const style = getComputedStyle(e), [, , , alpha = 1] = parts(style.backgroundColor);
    if (style.opacity !== '1') return 'none';
    if (alpha) return alpha === 1 ? style.backgroundColor : 'none';
  }
  return 'rgb(255, 255, 255)';
};
const ratio = (e) => { const [a, b] = [light(getComputedStyle(e).color), light(behind(e))].sort((a, b) => b - a); return (a + .05) / (b + .05); };
axe.run(document, {resultTypes: ['violations', 'incomplete'], rules: {'color-contrast-enhanced': {enabled: true}, 'target-size': {enabled: true}}})
  .then(r => done({rules: r.passes.length + r.violations.length, found: r.violations.map(v => `${v.id} (${v.impact}): ${v.help}: `
    + v.nodes.slice(0, 4).map(n => `${n.target} ${says(n)}`).join(' | ')),
    open: r.incomplete.flatMap(v => v.nodes.map(n => [v.id, `${n.target}`, says(n), v.id.startsWith('color') ? ratio(document.querySelector(n.target)) : null]))}))
  .catch(e => done({rules: 0, found: [String(e)], open: []}));";

/// What the scanner leaves open and somebody looked at: its rule, its words, and why it is left so. Whatever else it leaves
/// open is to be looked at, and mended or written down here. A contrast has to be at least 7:1 by our own reckoning as well.
const LOOKED_AT: &[(&str, &str, &str)] = &[
    (
        "color-contrast",
        "due to a pseudo element",
        "the stripe beside a note's words is drawn by ::before and lies under none of them",
    ),
    (
        "color-contrast",
        "due to a background gradient",
        "a panel that can be scrolled sideways is shaded at its edges only",
    ),
    (
        "color-contrast",
        "partially obscured by another element",
        "cells of a table that is scrolled sideways, and words at a panel's edge",
    ),
    (
        "color-contrast",
        "overlapped by another element",
        "what is scrolled under the form's own button, which stays at the lower edge",
    ),
    (
        "color-contrast",
        "contains an image node",
        "letters in a picture of numbers: each has an edge in the sheet's colour, whatever is drawn beneath",
    ),
    (
        "color-contrast",
        "partially overlaps other elements",
        "letters in a picture of numbers, where two stand close together",
    ),
    ("color-contrast", "too short to determine", "a number at a mark or an axis of a picture"),
];

const LEAST: f64 = 7.0;

/// One thing that the scanner left open.
struct Open {
    rule: String,
    at: String,
    says: String,
    ratio: Option<f64>,
}

impl Open {
    fn of(told: &Value) -> Self {
        let text = |n: usize| told[n].as_str().unwrap_or_default().to_owned();
        let contrast = text(0).starts_with("color-contrast");
        // No figure is no contrast.
        let ratio = contrast.then(|| told[3].as_f64().unwrap_or(0.0));
        Self { rule: text(0), at: text(1), says: text(2), ratio }
    }

    /// Which line of the list it is of.
    fn looked_at(&self) -> Option<usize> {
        let known =
            |(rule, words, _): &(&str, &str, &str)| self.rule.starts_with(rule) && self.says.contains(words);
        LOOKED_AT.iter().position(known).filter(|_| self.ratio.is_none_or(|ratio| ratio >= LEAST))
    }
}

#[derive(Default)]
struct Scans {
    pages: usize,
    rules: usize,
    wrong: Vec<String>,
    /// What it could not decide by the list's lines: how often, and the least contrast.
    open: BTreeMap<usize, (usize, f64)>,
}

impl Scans {
    async fn page(&mut self, somebody: &Person<'_>, name: &str) {
        for (palette, scheme) in [("day", "light"), ("night", "dark")] {
            let prefers = json!([{"name": "prefers-color-scheme", "value": scheme}]);
            somebody.devtools("Emulation.setEmulatedMedia", json!({"features": prefers})).await;
            let script = format!("if (!window.axe) {{ {} }}\n{SCAN}", axe());
            let result = somebody.driver.execute_async(&script, vec![]).await.unwrap().json().clone();
            let found: Vec<&str> =
                result["found"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
            self.wrong.extend(found.iter().map(|says| format!("{name}, {palette}: {says}")));
            for open in result["open"].as_array().unwrap().iter().map(Open::of) {
                let Some(line) = open.looked_at() else {
                    let Open { rule, at, says, ratio } = open;
                    self.wrong
                        .push(format!("{name}, {palette}: not decided: {rule} at {at}: {says} {ratio:?}"));
                    continue;
                };
                let (times, least) = self.open.entry(line).or_insert((0, f64::INFINITY));
                (*times, *least) = (*times + 1, least.min(open.ratio.unwrap_or(f64::INFINITY)));
            }
            self.rules = self.rules.max(usize::try_from(result["rules"].as_u64().unwrap()).unwrap());
            self.pages += 1;
        }
    }

    fn are_clean(self, what: &str) {
        eprintln!(
            "axe-core {VERSION}, {what}: {} scans, up to {} rules that apply to a page, {} violations",
            self.pages,
            self.rules,
            self.wrong.len()
        );
        for (line, (times, least)) in &self.open {
            let (rule, words, why) = LOOKED_AT[*line];
            eprintln!(
                "not decided by the scanner, {times} times, least contrast {least:.1}: {rule}, {words}: {why}"
            );
        }
        assert!(self.rules > 20, "the scanner looked at nothing");
        assert!(self.wrong.is_empty(), "{} to mend:\n{}", self.wrong.len(), self.wrong.join("\n"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_clean_by_day_and_by_night() {
    let chromium = Chromium::start(Scripts::On).await;
    scan_all(&chromium, 1280).await.0.are_clean("1280 px");
}

/// On a phone; nothing may reach beyond the screen or lie over something else either.
#[tokio::test(flavor = "multi_thread")]
async fn every_page_is_clean_with_letters_twice_as_large() {
    let chromium = Chromium::start_with_large_text().await;
    let (scans, looks) = scan_all(&chromium, 390).await;
    scans.are_clean("390 px, text at 200 %");
    looks.are_fine();
}

async fn scan_all(chromium: &Chromium, width: u32) -> (Scans, Looks) {
    let house = House::demo();
    let somebody = Person::at(chromium, &house);
    let (mut scans, mut looks) = (Scans::default(), Looks::default());
    somebody.screen(width).await;
    somebody.open("/sign-in").await;
    scans.page(&somebody, "/sign-in").await;
    every::fill(&somebody).await;
    for (who, _) in every::PAGES {
        somebody.sign_in_with(who, password(who)).await;
        for path in every::of(who, &somebody).await {
            somebody.open(&path).await;
            somebody.text().await;
            let name = format!("{who} at {path}");
            scans.page(&somebody, &name).await;
            looks.measure(&somebody, &name).await;
        }
        somebody.sign_out().await;
    }
    (scans, looks)
}
