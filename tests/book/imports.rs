//! Importing through the real program: good rows in, bad ones beside the file with their reasons, the same again
//! changes nothing.
use std::path::PathBuf;

use breakerbook::cli::demo::small::small;

use crate::{
    house::{House, trip},
    process::{Told, run},
};

async fn import(house: &House, what: &str, name: &str, text: &[u8], more: &[&str]) -> Told {
    let path = house.file(name, text);
    let mut args = vec!["import", what, path.to_str().unwrap(), "--db", house.path.to_str().unwrap()];
    args.extend(more);
    let told = run(&args).await;
    assert!(!told.err.contains("panicked"), "{told:?}");
    told
}

fn rejected(house: &House, name: &str) -> Option<String> {
    let path = PathBuf::from(format!("{}/{name}", house.dir.path().display()));
    std::fs::read_to_string(path).ok()
}

#[track_caller]
fn says(told: &Told, code: i32, last: &str) {
    assert_eq!((told.code, told.last_line()), (Some(code), last), "{told:?}");
}

/// From an empty directory to a book with reports, by the commands alone.
#[tokio::test]
async fn a_railway_in_five_commands() {
    let house = House::bare();
    let db = house.path.to_str().unwrap().to_owned();
    let init = [
        "init",
        "--db",
        &db,
        "--railway",
        "Quarry & Harbor",
        "--mark",
        "qhb",
        "--zone",
        "America/Chicago",
        "--admin",
        "ada",
    ];
    let told = run(&init).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.out.contains("sign-in administrator ada "), "{told:?}");
    let told = run(&init).await;
    assert_eq!(told.code, Some(2), "{told:?}");
    assert!(told.err.contains("is already there and stays as it is"), "{told:?}");

    let lists = small();
    for (what, text, new, same) in [
        ("people", &lists.people, 6, 0),
        ("schedules", &lists.schedules, 1, 0),
        ("checks", &lists.checks, 1, 0),
        ("units", &lists.units, 3, 0),
        ("authorisations", &lists.authorisations, 1, 0),
    ] {
        let name = format!("{what}.csv");
        let dry = import(&house, what, &name, text.as_bytes(), &["--dry-run"]).await;
        assert_eq!(dry.code, Some(0), "{dry:?}");
        let told = import(&house, what, &name, text.as_bytes(), &[]).await;
        says(&told, 0, &format!("new={new} same={same} rejected=0"));
        let told = import(&house, what, &name, text.as_bytes(), &[]).await;
        says(&told, 0, &format!("new=0 same={new} rejected=0"));
        assert_eq!(rejected(&house, &format!("{name}.rejected.csv")), None);
    }
    // The list of devices says nothing of the checks: they stay, and nothing is new.
    let again = import(&house, "schedules", "schedules.csv", lists.schedules.as_bytes(), &[]).await;
    says(&again, 0, "new=0 same=1 rejected=0");
    let size = house.is_clean().await;
    // With Windows line ends, a byte-order mark and columns in another order it is the same list.
    let people = "\u{feff}role,sign_in,craft,name\r\ncrew,ann,engineer,Ann Example\r\ncrew,BOB,conductor,Bob Example\r\n";
    says(&import(&house, "people", "again.csv", people.as_bytes(), &[]).await, 0, "new=0 same=2 rejected=0");
    assert_eq!(house.is_clean().await, size, "the same again is no page");
}

#[tokio::test]
async fn bad_rows_stand_beside_the_file_with_their_reasons() {
    let house = House::new().await;
    for (what, text, code, last, lines) in [
        (
            "people",
            "sign_in,name,role,craft\nzoe,Zoe Example,crew,engineer\nx y,Bad Name,crew,\nyan,Yan,captain,\nzoe,Twice,crew,\n",
            1,
            "new=1 same=0 rejected=3",
            &["3,", "4,", "5,"][..],
        ),
        (
            "units",
            "unit,class,in_service,home_shop\nQHB 4,T2,2024-02-30,\n12,T2,2024-01-01,\n",
            2,
            "new=0 same=0 rejected=2",
            &["2,", "3,"],
        ),
        (
            "authorisations",
            "sign_in,classes,from,to,basis,granted_by\nann,T2,2026-01-01,,,sue\nann,T2,2026-02-01,2026-01-01,,sue\nbob,T2,2026-01-01,,,bob\nbob,T2,2026-01-01,,,ann\nnobody,T2,2026-01-01,,,sue\n",
            1,
            "new=1 same=0 rejected=4",
            &["3,", "4,", "5,", "6,"],
        ),
    ] {
        let name = format!("{what}.csv");
        let told = import(&house, what, &name, text.as_bytes(), &[]).await;
        says(&told, code, last);
        let rejects = rejected(&house, &format!("{name}.rejected.csv")).expect("a file of the rejected");
        let mut got = rejects.lines();
        assert_eq!(got.next(), Some("line,reason,row"), "{rejects}");
        for line in lines {
            let row = got.next().unwrap_or_else(|| panic!("line {line} is not in {rejects}"));
            assert!(row.starts_with(line) && row.len() > 30, "{row}");
        }
        let again = last.split(' ').next().unwrap().replace("new=", "new=0 same=");
        let told = import(&house, what, &name, text.as_bytes(), &[]).await;
        assert!(told.last_line().starts_with(&again), "{told:?}");
    }
    house.is_clean().await;
}

#[tokio::test]
async fn a_schedule_that_cannot_be_is_rejected_with_a_sentence() {
    let house = House::new().await;
    let before = house.is_clean().await;
    let good = small().schedules;
    let last = good.lines().last().unwrap().to_owned();
    for (why, text) in [
        ("a doubled tag", format!("{good}{last}\n")),
        (
            "an unknown feed",
            good.replace(",BK,yes,on,on,any,any,no,,,,,no,Look", ",NOSUCH,yes,on,on,any,any,no,,,,,no,Look"),
        ),
        (
            "a feed loop",
            good.replace(
                "battery box,,,BK,Battery knife switch,switch,,,600,125,,,,",
                "battery box,,,BK,Battery knife switch,switch,,,600,125,,,LC,",
            ),
        ),
    ] {
        assert_ne!(text, good, "{why}");
        let told = import(&house, "schedules", "schedules.csv", text.as_bytes(), &[]).await;
        assert!(matches!(told.code, Some(1 | 2)), "{why}: {told:?}");
        assert!(told.out.contains("line "), "{why}: {told:?}");
        assert_eq!(house.is_clean().await, before, "{why}: nothing of it is in the book");
    }
}

#[tokio::test]
async fn a_list_that_is_no_list_does_nothing() {
    let house = House::new().await;
    let before = house.is_clean().await;
    for (what, text) in [
        ("people", &b""[..]),
        ("people", b"\xff\xfe\x00"),
        ("people", b"name,role\nA,crew\n"),
        ("people", b"sign_in,name,role,craft,shoe_size\nzoe,Z,crew,,9\n"),
        ("units", b"sign_in,name,role,craft\nzoe,Z,crew,\n"),
        ("units", b"unit,class,in_service,home_shop\nQHB 8,NOSUCH,2020-01-01,\n"),
        ("schedules", b"\x00\x01\x02"),
        ("authorisations", b"sign_in,classes,from,to,basis,granted_by\n\"unclosed,T2\n"),
    ] {
        let told = import(&house, what, "list.csv", text, &[]).await;
        assert_eq!(told.code, Some(2), "{what} {text:?}: {told:?}");
        assert!(
            told.err.starts_with("breakerbook: ") || told.last_line().ends_with("rejected=1"),
            "{told:?}"
        );
    }
    assert_eq!(house.is_clean().await, before);
    let told = import(&house, "people", "p.csv", small().people.as_bytes(), &["--as", "nobody"]).await;
    assert_eq!(told.code, Some(2), "{told:?}");
    let told = run(&["import", "people", "/no/such/file", "--db", house.path.to_str().unwrap()]).await;
    assert!(told.code == Some(2) && told.err.contains("cannot be read"), "{told:?}");
    let told = run(&["import", "people", "/no/such/file", "--db", "/no/such/book"]).await;
    assert!(told.code == Some(2) && told.err.contains("there is no book at"), "{told:?}");
}

#[tokio::test]
async fn reports_good_and_bad() {
    let house = House::new().await;
    let mut unknown_device = trip(3, 7);
    unknown_device["entries"][0]["device"] = "TC9".into();
    let mut unknown_field = trip(4, 8);
    unknown_field["entries"][0]["colour"] = "red".into();
    let mut conflict = trip(1, 5);
    conflict["remarks"] = "other words".into();
    let deep = format!("{}{}", "[".repeat(5000), "]".repeat(5000));
    let mut lines: Vec<Vec<u8>> = Vec::new();
    lines.push(trip(1, 5).to_string().into_bytes());
    lines.push(b"   ".to_vec());
    lines.push(trip(2, 6).to_string().into_bytes());
    lines.push(unknown_device.to_string().into_bytes());
    lines.push(unknown_field.to_string().into_bytes());
    lines.push(b"{\"id\": ".to_vec());
    lines.push(b"\xff\xfe{}".to_vec());
    lines.push(deep.into_bytes());
    lines.push(b"{\"id\": 1, \"id\": 2}".to_vec());
    lines.push(conflict.to_string().into_bytes());
    lines.push(format!("{{\"id\": \"{}\"}}", "x".repeat(2_100_000)).into_bytes());
    lines.push([trip(1, 5).to_string().into_bytes(), b"\r".to_vec()].concat());
    let text = lines.join(&b'\n');
    let told = import(&house, "reports", "reports.jsonl", &text, &["--as", "ada"]).await;
    says(&told, 1, "new=2 same=1 rejected=8");
    let rejects = rejected(&house, "reports.jsonl.rejected.jsonl").unwrap();
    let rejects: Vec<serde_json::Value> =
        rejects.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    // In the order of the file, so that the two can be read side by side.
    let numbers: Vec<i64> = rejects.iter().map(|r| r["line"].as_i64().unwrap()).collect();
    assert_eq!(numbers, [4, 5, 6, 7, 8, 9, 10, 11]);
    for reject in &rejects {
        let problems = reject["problems"].as_array().unwrap();
        assert!(
            !problems.is_empty()
                && problems.iter().all(|p| p["says"].as_str().unwrap().len() > 10 && p["code"].is_string()),
            "{}",
            reject["problems"]
        );
        assert!(reject["report"].is_string());
    }
    assert_eq!(rejects[0]["problems"][0]["code"], "unknown_device");
    assert_eq!(rejects[6]["problems"][0]["code"], "id_in_use");
    let told = import(&house, "reports", "reports.jsonl", &text, &["--as", "ada"]).await;
    says(&told, 1, "new=0 same=3 rejected=8");
    let told = import(&house, "reports", "bad.jsonl", b"{}\n{}\n", &[]).await;
    says(&told, 2, "new=0 same=0 rejected=2");
    let told = import(&house, "reports", "none.jsonl", b"\n\n", &[]).await;
    says(&told, 0, "new=0 same=0 rejected=0");
    // Mended, nothing is rejected any more, and no file says otherwise.
    let told = import(&house, "reports", "bad.jsonl", trip(1, 5).to_string().as_bytes(), &[]).await;
    says(&told, 0, "new=0 same=1 rejected=0");
    assert_eq!(rejected(&house, "bad.jsonl.rejected.jsonl"), None, "an old list of the rejected misleads");
    let told = run(&["entries", "--db", house.path.to_str().unwrap(), "--format", "json"]).await;
    let entries: serde_json::Value = serde_json::from_str(&told.out).unwrap();
    assert_eq!(entries.as_array().unwrap().len(), 2, "{told:?}");
    house.is_clean().await;
}

#[tokio::test]
async fn what_cannot_be_is_rejected_alone_and_the_good_rows_go_in() {
    let house = House::new().await;
    let units = "unit,class,in_service,home_shop\nQHB 4,QZ9,2024-01-01,\nQHB 5,T2,2099-01-01,\nQHB 6,T2,2024-01-01,\n";
    let told = import(&house, "units", "units.csv", units.as_bytes(), &[]).await;
    says(&told, 1, "new=1 same=0 rejected=2");
    let rejects = rejected(&house, "units.csv.rejected.csv").expect("a file of the rejected");
    assert!(rejects.contains("There is no class QZ9 yet: import its schedule first."), "{rejects}");
    assert!(rejects.contains("in_service is 2099-01-01, more than two years ahead."), "{rejects}");
    let rights = "sign_in,classes,from,to,basis,granted_by\nann,QZ9,2026-01-01,,,sue\n";
    let told = import(&house, "authorisations", "rights.csv", rights.as_bytes(), &[]).await;
    says(&told, 2, "new=0 same=0 rejected=1");
    assert!(told.out.contains("There is no class QZ9 yet"), "{told:?}");
    assert!(told.out.contains("rights.csv.rejected.csv"), "{told:?}");
    house.is_clean().await;
}

#[tokio::test]
async fn what_an_import_changes_is_told_before_the_last_line() {
    let house = House::new().await;
    let people = "sign_in,name,role,craft\nann,Ann Example,supervisor,engineer\nzoe,Zoe Example,crew,\n";
    for more in [&["--dry-run"][..], &[]] {
        let told = import(&house, "people", "people.csv", people.as_bytes(), more).await;
        says(&told, 0, "new=2 same=0 rejected=0");
        assert!(told.out.contains("ann: role from crew to supervisor"), "{told:?}");
        assert!(told.out.contains("1 row changes what the book had"), "{told:?}");
    }
    let told = import(&house, "people", "people.csv", people.as_bytes(), &[]).await;
    says(&told, 0, "new=0 same=2 rejected=0");
    assert!(!told.out.contains("what the book had"), "{told:?}");
    let units = "unit,class,in_service,home_shop\nQHB 1,T2,2020-01-01,Elsewhere\nQHB 7,T2,2020-01-01,\n";
    let told = import(&house, "units", "units.csv", units.as_bytes(), &[]).await;
    says(&told, 0, "new=2 same=0 rejected=0");
    assert!(told.out.contains("1 row changes what the book had"), "{told:?}");
}

#[tokio::test]
async fn the_rows_that_are_wrong_are_printed_first_and_the_rest_is_counted() {
    let house = House::new().await;
    let good = small().schedules;
    let bad = format!("{good}{}\n", good.lines().last().unwrap());
    let rows = bad.lines().count() - 1;
    let told = import(&house, "schedules", "schedules.csv", bad.as_bytes(), &[]).await;
    says(&told, 2, &format!("new=0 same=0 rejected={rows}"));
    assert!(told.out.starts_with(&format!("line {}: tag GR is on line", rows + 1)), "{told:?}");
    let more = format!("and {} more rejected; all of them, with reasons: ", rows - 5);
    assert!(told.out.contains(&more) && told.out.contains("schedules.csv.rejected.csv"), "{told:?}");
    let told = import(&house, "reports", "bad.jsonl", "{}\n".repeat(7).as_bytes(), &[]).await;
    says(&told, 2, "new=0 same=0 rejected=7");
    assert!(
        told.out.contains("and 2 more rejected; all of them")
            && told.out.contains("bad.jsonl.rejected.jsonl")
    );
}

#[tokio::test]
async fn a_reporting_mark_is_one_to_four_letters() {
    for mark in ["TOOLONGMARK", "Q7", "", "ABCDE"] {
        let house = House::bare();
        let db = house.path.to_str().unwrap();
        let init = [
            "init",
            "--db",
            db,
            "--railway",
            "Q",
            "--mark",
            mark,
            "--zone",
            "America/Chicago",
            "--admin",
            "ada",
        ];
        let told = run(&init).await;
        assert_eq!(told.code, Some(2), "{mark}: {told:?}");
        assert!(told.err.contains("1 to 4 letters") && !house.path.exists(), "{mark}: {told:?}");
    }
}
