//! Evidence packs: what the program makes is sound, by the program and by the Python in it; whatever is done to one is named.
use std::{
    collections::BTreeMap,
    io::{Cursor, Read as _, Write as _},
    process::{Command, Stdio},
    time::{Duration, Instant as Stopwatch},
};

use breakerbook::{
    base::UnitName,
    book::{
        Channel, key,
        note::{Note, SecretKey},
    },
    desk::{
        Desk,
        evidence::{About, Days, NoPack},
    },
    oversight::pack::{Checked, Unsound, check, seal::HOW_TO_CHECK},
    pages::supervisor::pack::packed,
};
use proptest::prelude::*;
use rand::{SeedableRng as _, rngs::StdRng};
use sha2::{Digest as _, Sha256};
use tokio::sync::OnceCell;
use zip::{CompressionMethod, ZipArchive, ZipWriter, write::SimpleFileOptions};

use crate::{
    house::{House, file, trip},
    process::run,
    tampered::full,
};

type Contents = BTreeMap<String, Vec<u8>>;

/// A full book, an earlier checkpoint of it, and the pack of its bypass.
struct Packed {
    zip: Vec<u8>,
    /// Made before some of the pages were written.
    old: String,
    key: SecretKey,
}

async fn bypass_pack() -> &'static Packed {
    static PACK: OnceCell<Packed> = OnceCell::const_new();
    PACK.get_or_init(async || {
        let house = full().await;
        let desk = house.desk().await;
        let old = desk.make_checkpoint(None).await.unwrap().note;
        file(&desk, &trip(60, 500), "ann", Channel::Token).await.unwrap();
        let zip = pack(&desk, &About::Bypass(opening(&desk).await)).await.unwrap();
        Packed { zip, old, key: secret(&house) }
    })
    .await
}

fn secret(house: &House) -> SecretKey {
    SecretKey::parse(&std::fs::read_to_string(key::beside(&house.path)).unwrap()).unwrap()
}

async fn opening(desk: &Desk) -> breakerbook::base::EntryId {
    let mut db = desk.read().await.unwrap();
    let id: String =
        sqlx::query_scalar("SELECT id FROM bypass WHERE id IN (SELECT bypass FROM review) LIMIT 1")
            .fetch_one(&mut *db)
            .await
            .unwrap();
    id.parse().unwrap()
}

async fn pack(desk: &Desk, about: &About) -> Result<Vec<u8>, NoPack> {
    packed(desk, about, "max", desk.clock().now()).await.map(|pack| pack.zip)
}

fn contents(zip: &[u8]) -> Contents {
    let mut archive = ZipArchive::new(Cursor::new(zip)).unwrap();
    let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
    let read = |name: String| {
        let mut bytes = Vec::new();
        archive.by_name(&name).unwrap().read_to_end(&mut bytes).unwrap();
        (name, bytes)
    };
    names.into_iter().map(read).collect()
}

fn zipped(files: &Contents) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        let how = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
        zip.start_file(name, how).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// Signs the list of files anew, as whoever holds a key can.
fn signed_anew(files: &mut Contents, key: &SecretKey) {
    let origin = key.public().name().to_owned();
    let mut text = format!("breakerbook-pack/1\n{origin}\n");
    for (name, bytes) in files.iter().filter(|(name, _)| *name != "contents.txt") {
        text.push_str(&format!("{}  {name}\n", hex::encode(Sha256::digest(bytes))));
    }
    files.insert("contents.txt".into(), key.sign(&text).into_bytes());
}

#[track_caller]
fn refused(zip: &[u8], words: &str) {
    let why = check(zip).expect_err(words).0;
    assert!(why.contains(words), "{words:?} is not in {why:?}");
}

fn text<'a>(files: &'a Contents, name: &str) -> &'a str {
    std::str::from_utf8(&files[name]).unwrap()
}

#[tokio::test]
async fn a_pack_of_a_bypass_holds_what_tells_of_it() {
    let packed = bypass_pack().await;
    let checked = check(&packed.zip).unwrap();
    assert_eq!(checked.key, packed.key.public());
    assert_eq!(checked.earlier.len(), 1);
    let files = contents(&packed.zip);
    let kinds: Vec<&str> = checked
        .pages
        .iter()
        .map(|seq| {
            text(&files, &format!("pages/{seq:08}.json"))
                .split("\"kind\":\"")
                .nth(1)
                .unwrap()
                .split('"')
                .next()
                .unwrap()
        })
        .collect();
    for kind in [
        "book_opened",
        "report_filed",
        "bypass_reviewed",
        "act_refused",
        "authorisation_granted",
        "schedule_issued",
        "unit_added",
    ] {
        assert!(kinds.contains(&kind), "{kind} is not in {kinds:?}");
    }
    let cover = text(&files, "index.html");
    for words in [
        "Opening of GRC on unit QHB 1",
        "Rights held by the opener and by whoever gave the word",
        "Authorised then",
        "looked",
        "only went on from these checkpoints",
        "not changed since",
    ] {
        assert!(cover.contains(words), "{words:?} is not in {cover}");
    }
    assert!(text(&files, "records.html").contains("GRC"));
    for name in ["index.html", "records.html"] {
        for bad in ["<script", "http://", "https://", "style="] {
            assert!(!text(&files, name).contains(bad), "{name} has {bad}");
        }
    }
}

#[tokio::test]
async fn a_pack_leads_to_a_checkpoint_that_was_kept_elsewhere() {
    let packed = bypass_pack().await;
    let checked = check(&packed.zip).unwrap();
    checked.hold_checkpoint(&packed.old).unwrap();
    checked.hold_checkpoint(text(&contents(&packed.zip), "checkpoint.txt")).unwrap();
    checked.hold_key(&packed.key.public()).unwrap();
    let why = |outcome: Result<(), Unsound>| outcome.unwrap_err().0;
    let stranger = SecretKey::of(packed.key.public().name(), &[5; 32]);
    assert!(why(checked.hold_key(&stranger.public())).contains("another key than the one you kept"));
    let text = Note::read(&packed.old).unwrap().text.to_owned();
    let root = text.lines().nth(2).unwrap();
    let other = packed.key.sign(&text.replace(root, "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="));
    assert!(why(checked.hold_checkpoint(&other)).contains("another root"));
    let size = text.lines().nth(1).unwrap();
    let unlisted = packed.key.sign(&text.replacen(&format!("\n{size}\n"), "\n2\n", 1));
    assert!(why(checked.hold_checkpoint(&unlisted)).contains("no path from your checkpoint of 2 pages"));
    assert!(why(checked.hold_checkpoint(&stranger.sign(&text))).contains("signed with another key"));
    assert!(why(checked.hold_checkpoint("x")).contains("not a signed note"));
}

/// The files of a pack, to be tampered with.
struct Tampered<'a> {
    packed: &'a Packed,
    files: Contents,
    /// One of its pages.
    page: String,
    /// A key under the railway's name that is not the railway's.
    stranger: SecretKey,
}

const OTHER_ROOT: &str = "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=";

impl Tampered<'_> {
    async fn new() -> Self {
        let packed = bypass_pack().await;
        let files = contents(&packed.zip);
        let page = files.keys().filter(|name| name.starts_with("pages/")).nth(1).unwrap().clone();
        let stranger = SecretKey::of(packed.key.public().name(), &[5; 32]);
        Self { packed, files, page, stranger }
    }

    fn altered(&self, change: impl FnOnce(&mut Contents)) -> Contents {
        let mut files = self.files.clone();
        change(&mut files);
        files
    }

    #[track_caller]
    fn edit(&self, name: &str, from: &str, to: &str) -> Contents {
        let before = text(&self.files, name);
        assert!(before.contains(from), "{name} has no {from}");
        let after = before.replacen(from, to, 1).into_bytes();
        self.altered(|files| drop(files.insert(name.to_owned(), after)))
    }

    /// The list of files signed anew with the railway's own key.
    fn again(&self, mut files: Contents) -> Vec<u8> {
        signed_anew(&mut files, &self.packed.key);
        zipped(&files)
    }
}

#[tokio::test]
async fn what_somebody_without_the_key_does_to_a_pack_is_named() {
    let it = Tampered::new().await;
    let page = it.page.as_str();
    refused(&zipped(&it.edit(page, "\"", " \"")), &format!("{page} is not the file that was signed for"));
    refused(
        &zipped(&it.edit("index.html", "unit", "Unit")),
        "index.html is not the file that was signed for",
    );
    let other = it.edit("contents.txt", "index.html", "other.html");
    refused(&zipped(&other), "the signature under contents.txt is wrong");
    refused(&zipped(&it.edit("checkpoint.txt", "\n", "\n1")), "checkpoint.txt is not the file");
    refused(&zipped(&it.edit("key.txt", "+", "+0")), "key.txt: this is not a public key");
    for name in [page, "index.html", "checkpoint.txt", "pack.json", "contents.txt", "key.txt"] {
        refused(&zipped(&it.altered(|files| drop(files.remove(name)))), &format!("{name} is missing"));
    }
    let more = it.altered(|files| drop(files.insert("more.html".into(), vec![])));
    refused(&zipped(&more), "more.html was put in");
    // With a key of their own and the railway's name on it.
    let forged = it.altered(|files| signed_anew(files, &it.stranger));
    refused(&zipped(&forged), "contents.txt is signed with another key");
    let forged = it.altered(|files| {
        files.insert("key.txt".into(), format!("{}\n", it.stranger.public()).into_bytes());
        signed_anew(files, &it.stranger);
    });
    refused(&zipped(&forged), "checkpoint.txt is signed with another key");
}

#[tokio::test]
async fn what_the_railway_itself_does_to_a_pack_is_named() {
    let it = Tampered::new().await;
    let page = it.page.as_str();
    assert!(check(&it.again(it.files.clone())).is_ok(), "signed anew with nothing changed");
    refused(&it.again(it.edit(page, "\"author\":", "\"author\": ")), &format!("{page} was not page"));
    let manifest = text(&it.files, "pack.json");
    let node = manifest.split("\"path\": [").nth(2).unwrap().split('"').nth(1).unwrap();
    let forged = it.edit("pack.json", node, OTHER_ROOT);
    refused(&it.again(forged), "its bytes or its path were changed");
    refused(&it.again(it.edit("pack.json", node, "AAAA")), "pack.json cannot be read");
    refused(&it.again(it.edit("pack.json", "breakerbook-pack/1", "breakerbook-pack/2")), "another format");
    let more = it.edit("pack.json", "\"railway\"", "\"more\": 1, \"railway\"");
    refused(&it.again(more), "pack.json cannot be read");
    let unproved = it.altered(|files| drop(files.insert("pages/00009999.json".into(), files[page].clone())));
    refused(&it.again(unproved), "for pages/00009999.json there is no path to the root");
    let none = it.altered(|files| {
        files.retain(|name, _| !name.starts_with("pages/"));
        let start = manifest.split("\"pages\": [").next().unwrap();
        files.insert("pack.json".into(), format!("{start}\"pages\": [], \"earlier\": []}}").into_bytes());
    });
    refused(&it.again(none), "no page of the book in it");
}

#[tokio::test]
async fn an_earlier_checkpoint_that_is_not_its_beginning_is_named() {
    let it = Tampered::new().await;
    let quoted = |note: &str| serde_json::to_string(note).unwrap();
    let (old, told) = (quoted(&it.packed.old), Note::read(&it.packed.old).unwrap().text);
    let foreign = quoted(&it.stranger.sign(told));
    refused(&it.again(it.edit("pack.json", &old, &foreign)), "the earlier checkpoint of");
    let root = told.lines().nth(2).unwrap();
    let rewritten = quoted(&it.packed.key.sign(&told.replace(root, OTHER_ROOT)));
    refused(&it.again(it.edit("pack.json", &old, &rewritten)), "is not the beginning of the book");
}

/// ZIPs that no crate would write.
#[tokio::test]
async fn a_zip_that_tricks_is_refused_before_it_is_unpacked() {
    let packed = bypass_pack().await;
    let zip = &packed.zip;
    for cut in [0, 1, 21, 22, zip.len() / 2, zip.len() - 1] {
        refused(&zip[..cut], "does not end as a ZIP does");
    }
    refused(&[&zip[..], b"more"].concat(), "does not end as a ZIP does");
    refused(&[b"more", &zip[..]].concat(), "does not end as a ZIP does");
    refused(&vec![0; 64_000_001], "larger than a pack can be");
    let files = contents(zip);
    for (name, words) in [
        ("../key.txt", "no pack has such a file"),
        ("/key.txt", "no pack has such a file"),
        ("pages/../key.txt", "no pack has such a file"),
        ("pages\\x.json", "no pack has such a file"),
        ("C:key.txt", "no pack has such a file"),
        ("a/b/c", "no pack has such a file"),
        (".hidden", "no pack has such a file"),
        ("Key.txt", "two files in it are called"),
    ] {
        let mut files = files.clone();
        files.insert(name.into(), vec![]);
        refused(&zipped(&files), words);
    }
    // Two of one name: the crate would not write them, so two names of one length become one.
    let mut twice = files.clone();
    twice.insert("index.htmm".into(), b"other".to_vec());
    let twice: Vec<u8> = replaced(&zipped(&twice), b"index.htmm", b"index.html");
    refused(&twice, "two files in it are called index.html");
    // The list says another name than stands in front of the bytes.
    let list = replaced_last(zip, b"pack.json", b"back.json");
    refused(&list, "two things are said of");
    // Bombs: what is declared is refused before a byte is unpacked, what is not declared ends where it was to.
    let bomb = zipped(&(0..3).map(|n| (format!("{n}.html"), vec![0; 40_000_000])).collect());
    assert!(bomb.len() < 200_000, "{}", bomb.len());
    let begun = Stopwatch::now();
    refused(&bomb, "unpacked it would be 120 MB");
    assert!(begun.elapsed() < Duration::from_secs(1));
    let quiet = zipped(&[("a.html".to_owned(), vec![0; 40_000_000])].into());
    let lies = replaced(&quiet, &40_000_000_u32.to_le_bytes(), &1_000_u32.to_le_bytes());
    refused(&lies, "a.html is damaged");
    let many = zipped(&(0..4_200).map(|n| (format!("{n}.html"), vec![])).collect());
    refused(&many, "4200 files in it");
}

fn replaced(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for at in 0..=out.len() - from.len() {
        if out[at..].starts_with(from) {
            out[at..at + to.len()].copy_from_slice(to);
        }
    }
    out
}

fn replaced_last(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let at = (0..=bytes.len() - from.len()).rev().find(|at| bytes[*at..].starts_with(from)).unwrap();
    let mut out = bytes.to_vec();
    out[at..at + to.len()].copy_from_slice(to);
    out
}

/// The program in the text that lies in every pack.
fn python() -> &'static str {
    HOW_TO_CHECK.split("---- 8< ----\n").nth(1).unwrap()
}

fn by_python(program: &std::path::Path, zip: &std::path::Path) -> (bool, String) {
    let told = Command::new("python3")
        .arg(program)
        .arg(zip)
        .stdin(Stdio::null())
        .output()
        .expect("python3 is wanted");
    let out = String::from_utf8_lossy(&told.stdout).into_owned() + &String::from_utf8_lossy(&told.stderr);
    (told.status.success(), out)
}

#[tokio::test]
async fn the_python_in_the_text_comes_to_the_same() {
    let check_part = python().split("# Part 2: the check.\n").nth(1).unwrap();
    assert!(check_part.lines().count() <= 40, "{} lines", check_part.lines().count());
    let packed = bypass_pack().await;
    let house = House::bare();
    let program = house.file("check.py", python());
    let (good, out) = by_python(&program, &house.file("good.zip", &packed.zip));
    assert!(good && out.starts_with("sound: "), "{out}");
    let files = contents(&packed.zip);
    let page = files.keys().filter(|name| name.starts_with("pages/")).nth(1).unwrap().clone();
    let mut changed = files.clone();
    changed.get_mut(&page).unwrap().push(b' ');
    let (good, out) = by_python(&program, &house.file("changed.zip", zipped(&changed)));
    assert!(!good && out.contains("was changed"), "{out}");
    signed_anew(&mut changed, &packed.key);
    let (good, out) = by_python(&program, &house.file("signed.zip", zipped(&changed)));
    assert!(!good && out.contains("is not in the tree"), "{out}");
    let mut forged = files.clone();
    let stranger = SecretKey::of(packed.key.public().name(), &[5; 32]);
    signed_anew(&mut forged, &stranger);
    let (good, out) = by_python(&program, &house.file("forged.zip", zipped(&forged)));
    assert!(!good && out.contains("a signature is wrong"), "{out}");
    let mut more = files;
    more.insert("more.html".into(), vec![]);
    let (good, out) = by_python(&program, &house.file("more.zip", zipped(&more)));
    assert!(!good && out.contains("a file was put in"), "{out}");
}

#[tokio::test]
async fn packs_of_a_unit_and_of_days_hold_every_page_about_them() {
    let house = full().await;
    let desk = house.desk().await;
    let unit = UnitName::from("QHB 1");
    let whole = check(&pack(&desk, &About::Unit(unit.clone(), None)).await.unwrap()).unwrap();
    // Whatever names the unit as its own subject, looked for in another way than the pack does.
    let mut db = desk.read().await.unwrap();
    let about: Vec<(i64, String)> =
        sqlx::query_as("SELECT seq, blob ->> 'kind' FROM page WHERE blob -> 'body' ->> 'unit' = 'QHB 1'")
            .fetch_all(&mut *db)
            .await
            .unwrap();
    assert!(about.len() > 15, "{about:?}");
    for (seq, kind) in about {
        assert!(whole.pages.contains(&u64::try_from(seq).unwrap()), "page {seq}, {kind}, is not in it");
    }
    for kind in
        ["entry_amended", "statement_added", "repair_closed", "tablet_signed", "tablet_key_registered"]
    {
        let seq: i64 = sqlx::query_scalar("SELECT seq FROM page WHERE blob ->> 'kind' = ? LIMIT 1")
            .bind(kind)
            .fetch_one(&mut *db)
            .await
            .unwrap();
        assert!(whole.pages.contains(&u64::try_from(seq).unwrap()), "{kind}");
    }
    drop(db);
    let today = desk.world().railway.zone.day_of(desk.clock().now());
    let days = Days { from: today, to: today };
    let all = check(&pack(&desk, &About::Days(days)).await.unwrap()).unwrap();
    assert_eq!(all.pages.len() as u64, all.head.size, "all was written on one day");
    let of_unit = check(&pack(&desk, &About::Unit(unit, Some(days))).await.unwrap()).unwrap();
    assert_eq!(of_unit.pages, whole.pages);
    let tomorrow = Days { from: today.plus(1), to: today.plus(2) };
    let nothing = pack(&desk, &About::Days(tomorrow)).await.unwrap_err().to_string();
    assert!(nothing.contains("holds nothing about that"), "{nothing}");
    let nobody = pack(&desk, &About::Unit("QHB 77".into(), None)).await.unwrap_err().to_string();
    assert!(nobody.contains("holds nothing about that"), "{nobody}");
}

#[tokio::test]
async fn a_page_changed_in_the_file_is_not_packed() {
    let house = full().await;
    let desk = house.desk().await;
    let unit = About::Unit("QHB 1".into(), None);
    pack(&desk, &unit).await.unwrap();
    desk.close().await;
    let mut db = house.raw().await;
    sqlx::raw_sql("DROP TRIGGER page_is_never_updated").execute(&mut db).await.unwrap();
    sqlx::raw_sql(
        "UPDATE page SET blob = replace(blob, 'tripped_again', 'held') WHERE blob LIKE '%report_filed%'",
    )
    .execute(&mut db)
    .await
    .unwrap();
    sqlx::Connection::close(db).await.unwrap();
    let why = pack(&house.desk().await, &unit).await.unwrap_err().to_string();
    assert!(why.contains("does not lead to the root of the book: nothing was packed"), "{why}");
}

#[tokio::test]
async fn the_program_packs_and_checks() {
    let house = full().await;
    let (db, out) = (house.path.display().to_string(), house.dir.path().join("p.zip").display().to_string());
    let note = run(&["checkpoint", "--db", &db]).await;
    let key = note.err.lines().find_map(|line| line.strip_prefix("public key: ")).unwrap().to_owned();
    let kept = house.file("kept.txt", &note.out).display().to_string();
    let told = run(&["pack", "--db", &db, "--unit", "qhb-1", "--out", &out]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    let told = run(&["check-pack", &out, "--key", &key, "--checkpoint", &kept]).await;
    assert_eq!(told.code, Some(0), "{told:?}");
    assert!(told.out.starts_with("sound: Everything about unit QHB 1"), "{told:?}");
    let told = run(&["pack", "--db", &db, "--unit", "qhb-1", "--out", &out]).await;
    assert!(told.code == Some(2) && told.err.contains("cannot be written"), "never over a file: {told:?}");
    let mut bytes = std::fs::read(&out).unwrap();
    bytes.truncate(bytes.len() - 1);
    let cut = house.file("cut.zip", bytes).display().to_string();
    let told = run(&["check-pack", &cut]).await;
    assert!(told.code == Some(1) && told.err.contains("a part may be missing"), "{told:?}");
    let told = run(&["pack", "--db", &db, "--out", &out]).await;
    assert!(told.code == Some(2) && told.err.contains("say what it is to be about"), "{told:?}");
}

/// A pack with bytes changed here and there: refused, or still what it was to the byte.
fn same_or_refused(packed: &Packed, original: &Checked, zip: &[u8]) -> Result<(), TestCaseError> {
    if let Ok(checked) = check(zip) {
        prop_assert_eq!(&checked, original);
        prop_assert_eq!(contents(zip), contents(&packed.zip));
    }
    Ok(())
}

fn block_on<T>(future: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(future)
}

fn changed(zip: &[u8], edits: &[(prop::sample::Index, u8, u8)]) -> Vec<u8> {
    let mut zip = zip.to_vec();
    for (at, how, byte) in edits {
        let at = at.index(zip.len().max(1)).min(zip.len().saturating_sub(1));
        match how % 4 {
            _ if zip.is_empty() => {}
            0 => zip[at] ^= byte | 1,
            1 => zip.insert(at, *byte),
            2 => _ = zip.remove(at),
            _ => zip.truncate(at.max(zip.len() / 2)),
        }
    }
    zip
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, ..ProptestConfig::default() })]
    #[test]
    fn no_change_to_a_pack_goes_by_unseen(edits in prop::collection::vec(any::<(prop::sample::Index, u8, u8)>(), 1..4)) {
        let packed = block_on(bypass_pack());
        let original = check(&packed.zip).unwrap();
        same_or_refused(packed, &original, &changed(&packed.zip, &edits))?;
    }

    #[test]
    fn no_bytes_make_the_check_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), end in any::<bool>()) {
        let tail: &[u8] = if end { b"PK\x05\x06\0\0\0\0\x01\0\x01\0\x2e\0\0\0\0\0\0\0\0\0" } else { b"" };
        prop_assert!(check(&[&bytes[..], tail].concat()).is_err());
    }
}

fn bitten(mut zip: Vec<u8>, dice: &mut StdRng) -> Vec<u8> {
    for _ in 0..dice.random_range(1..4_u8) {
        // Most of what can go wrong is said in the last bytes, where the list is.
        let len = zip.len();
        let late = len.saturating_sub(2_000);
        let from = if dice.random::<bool>() { 0 } else { late };
        let at = dice.random_range(from..len);
        match dice.random_range(0..8_u8) {
            0 => zip.truncate(at.max(1)),
            1 if len > 1 => _ = zip.remove(at),
            2 => zip.insert(at, dice.random()),
            _ => zip[at] ^= 1 << dice.random_range(0..8_u8),
        }
    }
    zip
}

/// A byte of one of its files changed, everything signed anew.
fn bitten_within(mut files: Contents, key: &SecretKey, dice: &mut StdRng) -> Vec<u8> {
    let names: Vec<String> = files.keys().cloned().collect();
    let any = &names[dice.random_range(0..names.len())];
    let name = if dice.random::<bool>() { "pack.json" } else { any.as_str() };
    files.entry(name.to_owned()).and_modify(|bytes| *bytes = bitten(std::mem::take(bytes), dice));
    signed_anew(&mut files, key);
    zipped(&files)
}

/// `cargo test --test book a_million -- --ignored --nocapture`: a million inputs, and how long and how large it got.
#[test]
#[ignore = "minutes"]
fn a_million_inputs() {
    let packed = block_on(bypass_pack());
    let original = check(&packed.zip).unwrap();
    // A small one goes faster, and every field of it is hit more often.
    let mut files = contents(&packed.zip);
    files.retain(|name, _| !name.ends_with(".html"));
    files.insert("HOW-TO-CHECK.txt".into(), b"x".to_vec());
    signed_anew(&mut files, &packed.key);
    let small = zipped(&files);
    assert_eq!(check(&small).as_ref(), Ok(&original));
    let mut dice = StdRng::seed_from_u64(6);
    let (begun, mut sound, mut refusals) = (Stopwatch::now(), 0_u64, BTreeMap::<String, u64>::new());
    let inputs: u64 = std::env::var("PACKS").ok().and_then(|n| n.parse().ok()).unwrap_or(1_000_000);
    for n in 0..inputs {
        let zip = match n % 16 {
            0 => bitten(packed.zip.clone(), &mut dice),
            // Signed by whoever holds the key: what is behind the signatures has to hold by itself.
            1..4 => bitten_within(files.clone(), &packed.key, &mut dice),
            _ => bitten(small.clone(), &mut dice),
        };
        match check(&zip) {
            Ok(checked) => {
                assert_eq!((checked.head, &checked.key), (original.head, &original.key));
                sound += 1;
            }
            Err(why) => {
                *refusals
                    .entry(why.0.chars().filter(|c| !c.is_ascii_digit()).take(40).collect())
                    .or_default() += 1;
            }
        }
    }
    let peak = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = peak.lines().find(|line| line.starts_with("VmHWM")).unwrap_or("").to_owned();
    eprintln!("{inputs} inputs in {:?}, {sound} sound and unchanged, {peak}\n{refusals:#?}", begun.elapsed());
}
