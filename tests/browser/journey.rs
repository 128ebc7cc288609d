//! The whole job on one unit: a crew files, the foreman and the supervisor see it, and the book holds it.
use serde_json::Value;

use crate::{
    chromium::{Chromium, Scripts},
    house::House,
    person::{Person, password},
};

#[tokio::test(flavor = "multi_thread")]
async fn the_whole_job_without_scripts() {
    whole_job(Scripts::Off).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_whole_job_with_scripts() {
    whole_job(Scripts::On).await;
}

async fn whole_job(scripts: Scripts) {
    let house = House::demo();
    let chromium = Chromium::start(scripts).await;
    let somebody = Person::at(&chromium, &house);
    somebody.screen(390).await;
    scripts_are(scripts, &somebody).await;
    crew_files(&somebody).await;
    foreman_sees_the_repeat_trip(&somebody).await;
    supervisor_reviews(&somebody).await;
    the_book_holds_it(&house);
}

/// The switch really is where the test's name says.
async fn scripts_are(scripts: Scripts, somebody: &Person<'_>) {
    somebody.driver.goto("data:text/html,<p id=p>off</p><script>p.textContent='on'</script>").await.unwrap();
    let says = somebody.find(thirtyfour::By::Id("p")).await.text().await.unwrap();
    assert_eq!(says, if scripts == Scripts::On { "on" } else { "off" });
}

async fn crew_files(crew: &Person<'_>) {
    crew.sign_in("n.okafor").await;
    crew.fill("q", "412").await;
    crew.press("Find").await;
    crew.tap("a[href=\"/units/QHB-412\"]").await;
    crew.reads("Handover of QHB 412").await;
    crew.fill("password", password("n.okafor")).await;
    crew.press("Sign: read and understood").await;
    crew.reads("Signed: you have read it.").await;
    trips_the_breaker(crew).await;
    ground_relay_operates(crew).await;
    finds_the_cutout_open(crew).await;
    finds_a_wrong_fuse(crew).await;
    signs(crew).await;
}

async fn begins(crew: &Person<'_>, kind: &str) {
    crew.open("/units/QHB-412/write").await;
    crew.reads("Only when stopped, or by the one not at the controls").await;
    crew.tap(&format!("a[href=\"/units/QHB-412/write/{kind}\"]")).await;
}

async fn taps(crew: &Person<'_>, tag: &str) {
    crew.tap(&format!("a.device[href$=\"device={tag}\"]")).await;
}

async fn writes_it_down(crew: &Person<'_>) {
    crew.press("Write it down").await;
    crew.waits_for("/units/QHB-412/report").await;
    crew.reads("Written down.").await;
}

async fn trips_the_breaker(crew: &Person<'_>) {
    begins(crew, "breaker_trip").await;
    taps(crew, "TC2").await;
    crew.choose("when", "15").await;
    crew.choose("signs", "none").await;
    crew.choose("resets[0].result", "held").await;
    crew.choose("resets[0].basis", "looked_no_sign").await;
    crew.choose("left", "on").await;
    crew.fill("note", "Uphill at MP 41, wet rail").await;
    writes_it_down(crew).await;
}

async fn ground_relay_operates(crew: &Person<'_>) {
    begins(crew, "ground_relay").await;
    taps(crew, "GR").await;
    crew.choose("when", "30").await;
    crew.choose("mode", "motoring").await;
    crew.choose("reset", "itself").await;
    crew.choose("after", "loads_again").await;
    writes_it_down(crew).await;
}

/// Opened by one whose right had ended.
async fn finds_the_cutout_open(crew: &Person<'_>) {
    begins(crew, "bypass").await;
    taps(crew, "GRC").await;
    crew.choose("when", "found").await;
    crew.choose("protection", "none").await;
    crew.choose("by", "other").await;
    crew.fill("by.name", "t.brask").await;
    crew.choose("purpose", "none_given").await;
    crew.choose("engine_running", "yes").await;
    crew.choose("seal_found", "broken").await;
    crew.choose("closed", "no").await;
    writes_it_down(crew).await;
}

async fn finds_a_wrong_fuse(crew: &Person<'_>) {
    begins(crew, "fuse_check").await;
    taps(crew, "SF").await;
    crew.choose("result", "wrong_one").await;
    crew.choose("tested_with", "by_eye").await;
    crew.press("The fuse that was in it").await;
    crew.fill("fitted.rating_a", "500").await;
    writes_it_down(crew).await;
}

async fn signs(crew: &Person<'_>) {
    crew.choose("cutout.GRC", "open").await;
    crew.fill("password", password("n.okafor")).await;
    crew.press("Sign and file").await;
    // The handover was read only now, so two entries lie before the run: asked once, kept as written.
    crew.reads("is before the run started").await;
    crew.choose("sure", "yes").await;
    crew.fill("password", password("n.okafor")).await;
    crew.press("Sign and file").await;
    crew.waits_for("/reports/").await;
    crew.reads("In the book").await;
    crew.reads("Pages in the book").await;
    crew.reads("Root").await;
    crew.sign_out().await;
}

async fn foreman_sees_the_repeat_trip(foreman: &Person<'_>) {
    foreman.sign_in("r.dunmore").await;
    foreman.open("/triage").await;
    foreman.reads("QHB 412").await;
    foreman.tap("a.whole[href*=\"burst\"][href*=\"412\"]").await;
    foreman.reads("QHB 412 · TC2").await;
    foreman.reads("The entries it rests on").await;
    foreman.reads("written by n.okafor").await;
    foreman.sign_out().await;
}

async fn supervisor_reviews(supervisor: &Person<'_>) {
    supervisor.sign_in("m.ruiz").await;
    opens_the_opening(supervisor, "QHB 412").await;
    supervisor.reads("t.brask is named as having opened GRC (Ground relay cutout), found open").await;
    supervisor.reads("authorised for other classes, not for class QA6").await;
    supervisor.choose("judgement", "not_in_order").await;
    supervisor.fill("words", "Asked T. Brask: opened on the way to the shop, nobody told.").await;
    supervisor.fill("password", password("m.ruiz")).await;
    supervisor.press("Sign as m.ruiz").await;
    supervisor.reads("not in order · m.ruiz").await;
    opens_the_opening(supervisor, "QHB 408").await;
    supervisor.reads("m.ruiz").await;
    supervisor.reads(OWN_HAND).await;
    assert!(supervisor.all("input[name=\"judgement\"]").await.is_empty(), "there is nothing to sign with");
    supervisor.sign_out().await;
}

/// Why m.ruiz may not review what they ordered themselves.
const OWN_HAND: &str = "You opened, closed or authorised this one, or granted the right to: somebody with no hand in it has to review it.";

async fn opens_the_opening(supervisor: &Person<'_>, unit: &str) {
    supervisor.open("/bypasses").await;
    let row = format!("//tr[contains(., {unit:?})]//a[contains(@href, '/bypasses/')]");
    supervisor.find(thirtyfour::By::XPath(row)).await.click().await.unwrap();
    supervisor.reads("Authorised then").await;
}

fn the_book_holds_it(house: &House) {
    house.verifies();
    let text = |row: &Value, name: &str| row[name].as_str().unwrap_or_default().to_owned();
    let of_unit =
        |rows: Vec<Value>| rows.into_iter().filter(|row| row["unit"] == "QHB 412").collect::<Vec<_>>();
    let entries = of_unit(house.rows("entries"));
    let report = text(&entries[0], "report");
    let filed = entries.iter().filter(|e| text(e, "report") == report && e["channel"] == "page");
    let mut kinds: Vec<_> = filed.map(|e| format!("{} {}", text(e, "kind"), text(e, "device"))).collect();
    kinds.sort();
    let wanted = ["breaker_trip TC2", "bypass GRC", "fuse_check SF", "ground_relay GR", "position GRC"];
    assert_eq!(kinds, wanted);
    let rules: Vec<_> = of_unit(house.rows("findings")).iter().map(|f| text(f, "rule")).collect();
    for rule in ["burst", "not_authorised", "still_open", "wrong_fuse"] {
        assert!(rules.iter().any(|r| r == rule), "{rule} is not among {rules:?}");
    }
    let openings = of_unit(house.rows("bypasses"));
    let opening = openings.first().expect("the opening is in the register");
    assert_eq!(text(opening, "opened_by"), "t.brask");
    assert_eq!(text(opening, "reviewed_by"), "m.ruiz");
    assert_eq!(text(opening, "judgement"), "not_in_order");
}
