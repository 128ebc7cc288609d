//! What the Debian package carries. The package itself is made by `cargo deb` (DEVELOPERS.md); here is held what can go wrong in
//! its files: options that the program does not know, a unit that systemd does not, and doors left open in it.
use tokio::process::Command;

use crate::{
    house::House,
    process::{done, program},
};

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/.debian-package");

fn text(name: &str) -> String {
    std::fs::read_to_string(format!("{FOLDER}/{name}")).unwrap()
}

/// The unit's own command line, with the options of the package's settings, starts a server that is well.
#[tokio::test]
async fn the_options_that_it_brings_are_the_programs() {
    let house = House::new().await;
    let unit = text("breakerbook.service");
    let start = unit.lines().find_map(|line| line.strip_prefix("ExecStart=/usr/bin/breakerbook ")).unwrap();
    let settings = text("breakerbook.default");
    let options = settings.lines().find_map(|line| line.strip_prefix("BREAKERBOOK_OPTIONS=")).unwrap();
    let line = start
        .replace("$BREAKERBOOK_OPTIONS", options.trim_matches('"'))
        .replace("/var/lib/breakerbook/book.db", house.path.to_str().unwrap())
        .replace("127.0.0.1:9229", "127.0.0.1:0");
    let words = line.split(' ').chain(["--listen", "127.0.0.1:0"]);
    let mut command = program();
    let mut child = command.args(words).stderr(std::process::Stdio::inherit()).spawn().unwrap();
    let mut lines =
        tokio::io::AsyncBufReadExt::lines(tokio::io::BufReader::new(child.stdout.take().unwrap()));
    let mut said = Vec::new();
    while said.len() < 2 {
        said.push(lines.next_line().await.unwrap().expect("it ended"));
    }
    assert!(said[0].starts_with("metrics http://") && said[1].starts_with("listening http://"), "{said:?}");
}

/// systemd's own judgement, where there is a systemd: it knows every line, and the unit may do little (10 is everything).
#[tokio::test]
async fn systemd_knows_every_line_of_the_unit_and_finds_it_closed() {
    if Command::new("systemd-analyze").arg("--version").output().await.is_err() {
        println!("no systemd-analyze on this machine");
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let unit = dir.path().join("breakerbook.service");
    let here = text("breakerbook.service").replace("/usr/bin/breakerbook", env!("CARGO_BIN_EXE_breakerbook"));
    std::fs::write(&unit, here.replace("file:/usr/share/doc/breakerbook/README.md", "man:none(1)")).unwrap();
    let verified =
        Command::new("systemd-analyze").args(["verify", "--man=no"]).arg(&unit).output().await.unwrap();
    let said = String::from_utf8_lossy(&verified.stderr).into_owned();
    // Of other units on this machine it may have to say something; of this one nothing.
    assert!(!said.contains("breakerbook.service:") && verified.status.success(), "{said}");
    let mut security = Command::new("systemd-analyze");
    security.args(["security", "--offline=true", "--threshold=20", "--no-pager"]);
    let said = done(security.arg(&unit)).await;
    println!("{}", said.lines().last().unwrap_or_default());
}
