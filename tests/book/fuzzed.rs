//! The doors for text, with text that somebody or something has damaged: a report's JSON, every kind of CSV, uploads, forms
//! and cookies.
//! A million each: `INPUTS=1000000 cargo test --test book fuzzed -- --nocapture --test-threads 1`.
use std::collections::BTreeMap;

use axum::{
    Router,
    body::Body,
    http::{HeaderValue, Request},
};
use breakerbook::{
    base::{Instant, SignIn, Zone, table::Import},
    book::Channel,
    cli::{demo::small::small, site},
    desk::{Desk, keep_people::KeepSecret, reports::FileReport},
    pages::shop::import::{mapping::Mapping, sheet},
    people::{
        self,
        password::{self, Password},
    },
    roster::{self, schedule::Schedule},
    web,
};
use rand::{RngExt as _, SeedableRng as _, rngs::StdRng};
use tower::ServiceExt as _;

use crate::{
    bites::{alone, bitten, inputs, peak_mb, told},
    house::{House, NOW, every_kind, filer, trip},
};

/// What one input may need beside what the process had: the readers keep rows and reasons, never a multiple of the file.
const MOST_MB: u64 = 64;

/// `taken` says whether the input got through.
fn fuzz(what: &str, mut taken: impl FnMut(u64, &mut StdRng) -> bool) {
    let mut dice = StdRng::seed_from_u64(26);
    let (before, begun, inputs) = (peak_mb(), std::time::Instant::now(), inputs(3_000));
    let through = (0..inputs).filter(|n| taken(*n, &mut dice)).count() as u64;
    told(what, (inputs, through), begun.elapsed(), before);
    // Beside other tests it is theirs as well.
    if alone() {
        assert!(peak_mb() <= before + MOST_MB, "{what}: {} MB, {before} MB before", peak_mb());
    }
    assert!(through > 0 && through < inputs, "{what}: {through} of {inputs} got through: nothing was tried");
}

fn reads(desk: &Desk, bytes: &[u8]) -> Option<FileReport> {
    FileReport::read(bytes, &filer("ann", Channel::Token), &desk.world(), desk.clock().now()).ok()
}

#[tokio::test]
async fn a_damaged_report_is_refused_or_says_one_thing() {
    let house = House::new().await;
    let desk = house.desk().await;
    let whole: Vec<Vec<u8>> =
        [every_kind(), trip(1, 40)].iter().map(|report| serde_json::to_vec_pretty(report).unwrap()).collect();
    assert!(whole.iter().all(|bytes| reads(&desk, bytes).is_some()), "what is damaged here is sound");
    fuzz("report JSON", |n, dice| {
        let bytes = bitten(&whole[n as usize % whole.len()], dice);
        let Some(read) = reads(&desk, &bytes) else { return false };
        // What it was understood as is what the book will have, and reading that says the same once more.
        let written = serde_json::to_vec(read.report().unwrap()).unwrap();
        let again = reads(&desk, &written).unwrap_or_else(|| panic!("{}", String::from_utf8_lossy(&written)));
        assert_eq!(read.report(), again.report(), "{}", String::from_utf8_lossy(&bytes));
        true
    });
    desk.close().await;
}

/// Whether any row was good; no reject without its reason.
fn any_good<T, E>(import: Result<Import<T>, E>) -> bool {
    import.is_ok_and(|import| {
        assert!(import.rejects.iter().all(|reject| !reject.reason.is_empty()));
        !import.good.is_empty()
    })
}

#[tokio::test]
async fn a_damaged_list_of_the_railway_is_refused_row_by_row() {
    let house = House::new().await;
    let desk = house.desk().await;
    let (world, csvs, now) = (desk.world(), small(), Instant::parse(NOW).unwrap());
    let known = csvs.schedules.clone();
    let next = move |class: &_| -> Result<Schedule, String> {
        let all = roster::import::schedules(known.as_bytes(), now).unwrap_or_else(|_| unreachable!("sound"));
        all.good
            .into_iter()
            .find(|schedule| schedule.class == *class)
            .ok_or_else(|| "no such class".to_owned())
    };
    let has = |class: &_| next(class).is_ok();
    fuzz("CSV of people, units, schedules, checks and authorisations", |n, dice| match n % 5 {
        0 => any_good(people::import::people(&bitten(csvs.people.as_bytes(), dice))),
        1 => any_good(roster::import::units(
            &bitten(csvs.units.as_bytes(), dice),
            has,
            Zone::utc().day_of(now),
        )),
        2 => any_good(roster::import::schedules(&bitten(csvs.schedules.as_bytes(), dice), now)),
        3 => any_good(roster::import::checks::checks(&bitten(csvs.checks.as_bytes(), dice), &next)),
        _ => {
            let bytes = bitten(csvs.authorisations.as_bytes(), dice);
            any_good(people::import::authorisations(&bytes, &world.people, has))
        }
    });
    desk.close().await;
}

const SPREADSHEET: &str = "Unit;What;Date;Time;Breaker;Left;Remarks;By\n\
    QHB 1;breaker trip;2026-05-01;14:05;TC1;on;\"Tripped; held, \"\"once\"\"\";ann\n\
    QHB 2;defect;1 May 2026;;;;Drops out over the switch;bob\n\
    QHB 3;fuse check;2026-05-02;06:30;SF;;good;\n";

#[test]
fn a_damaged_spreadsheet_of_a_shop_is_refused_row_by_row() {
    let zone = Zone::named("America/Chicago").unwrap();
    fuzz("CSV of a shop's own spreadsheet", |_, dice| {
        let Ok(grid) = sheet::read(&bitten(SPREADSHEET.as_bytes(), dice)) else { return false };
        let mut mapping = Mapping::likely(&grid);
        if dice.random_bool(0.1) {
            mapping.0.values_mut().for_each(|from| from.always = "QHB 1".to_owned());
        }
        let _ = mapping.wrong(&grid);
        let carried = sheet::Grid::carried(&grid.to_csv()).unwrap();
        assert_eq!(carried, grid, "carried from step to step as it is");
        grid.rows.iter().filter(|(_, row)| mapping.report(&grid, row, "sam", &zone).is_ok()).count() > 0
    });
}

const BOUNDARY: &str = "--------part";

/// The shop's upload, as a browser sends it.
fn uploaded() -> String {
    format!(
        "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"trips.csv\"\r\nContent-Type: text/csv\r\n\r\n\
         {SPREADSHEET}\r\n--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"mapping\"\r\n\r\n\r\n--{BOUNDARY}--\r\n"
    )
}

const PASSWORD: &str = "copper fern over gravel";

/// A request to the pages, as their own form sends it.
fn request(path: &str, kind: &str, cookie: &[u8], body: Vec<u8>) -> Option<Request<Body>> {
    let method = if body.is_empty() { "GET" } else { "POST" };
    let head = Request::builder().method(method).uri(path).header("sec-fetch-site", "same-origin");
    let head = head.header("content-type", kind).header("cookie", HeaderValue::from_bytes(cookie).ok()?);
    head.body(Body::from(body)).ok()
}

/// Signed in as sam; the cookie.
async fn signed_in(site: &Router, desk: &Desk) -> Vec<u8> {
    let (sam, now) = (SignIn::from("sam"), desk.clock().now());
    let hash = password::hash_now(&Password::typed(PASSWORD)).unwrap();
    desk.act(KeepSecret::password(&sam, hash, false, None, now)).await.unwrap();
    let form = format!("sign_in=sam&password={}", PASSWORD.replace(' ', "+")).into_bytes();
    let asked = request("/sign-in", "application/x-www-form-urlencoded", b"", form).unwrap();
    let answer = site.clone().oneshot(asked).await.unwrap();
    let cookies = answer.headers().get_all("set-cookie").iter();
    let pairs: Vec<&str> = cookies.filter_map(|line| line.to_str().ok()?.split(';').next()).collect();
    pairs.join("; ").into_bytes()
}

#[tokio::test]
async fn a_damaged_upload_form_or_cookie_is_no_fault_of_the_program() {
    let house = House::new().await;
    let desk = house.desk().await;
    let site = site::site(&web::App::new(desk.clone(), web::Settings::default()));
    let cookie = signed_in(&site, &desk).await;
    let multipart = format!("multipart/form-data; boundary={BOUNDARY}");
    let form = "application/x-www-form-urlencoded";
    let (upload, report) =
        (uploaded().into_bytes(), b"unit=QHB+1&kind=defect&system=other&text=%E2%9C%93&at=".to_vec());
    let mut dice = StdRng::seed_from_u64(27);
    let mut seen = BTreeMap::<u16, u64>::new();
    for n in 0..inputs(1_500) {
        let asked = match n % 3 {
            0 => request("/import", &multipart, &cookie, bitten(&upload, &mut dice)),
            1 => request("/units/QHB-1/write/defect", form, &cookie, bitten(&report, &mut dice)),
            _ => request("/units", form, &bitten(&cookie, &mut dice), Vec::new()),
        };
        let Some(asked) = asked else { continue };
        let status = site.clone().oneshot(asked).await.unwrap().status().as_u16();
        assert!(status < 500, "{n}: {status}");
        *seen.entry(status).or_default() += 1;
    }
    eprintln!("uploads, forms and cookies: {seen:?}; most memory {} MB", peak_mb());
    assert!(seen.get(&200).is_some_and(|n| *n > 0) && seen.len() > 2, "{seen:?}");
    desk.close().await;
}
