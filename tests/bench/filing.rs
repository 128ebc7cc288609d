//! Filing by token over HTTP beside the raw limit of the same rows, on a slower disk, and by import.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot go on has nothing to say")]
mod common;

use std::{fmt::Write as _, time::Duration};

use breakerbook::base::Clock;
use common::{
    book::{self, DemoBook},
    client::{self, Client},
    limit, median, only_looking,
    reports::Writer,
    server::{self, Serving},
    table::{Table, note},
    wanted,
};

/// Reports in each measured run.
const REPORTS: usize = 3_200;
const ROUNDS: usize = 3;
const GROUP: usize = 64;

fn main() {
    if only_looking() {
        return;
    }
    note("filling the demo's book");
    let book = DemoBook::fill(64);
    let mut table = Table::new("Filing reports of four entries, on a filled demo book");
    type Part = fn(&DemoBook, &mut Table);
    let parts: [(&str, Part); 3] =
        [("limit", against_the_limit), ("slower", slower_disk), ("import", import)];
    for (name, part) in parts {
        if wanted(name) {
            part(&book, &mut table);
        }
    }
    table.print();
}

/// Reports for so many clients, each signed by the one whose token sends it.
fn clients(book: &DemoBook, count: usize, reports: usize, seed: u64) -> Vec<Client> {
    let mut writer = Writer::new(seed, Clock::machine().now());
    let mut clients: Vec<Client> = Vec::new();
    for (author, token) in book.filers.iter().take(count) {
        let bodies = (0..reports / count).map(|_| writer.report(author, 30).1).collect();
        clients.push(Client { token: token.clone(), bodies });
    }
    clients
}

fn against_the_limit(book: &DemoBook, table: &mut Table) {
    note("listening in on what groups of 64 write");
    let bodies: Vec<String> = clients(book, GROUP, REPORTS, 1).into_iter().flat_map(|c| c.bodies).collect();
    let groups = limit::listen_in(&book.copy("listened.db"), &bodies, GROUP);
    let (mut raw, mut raw_cpu) = (Vec::new(), Vec::new());
    let (mut filed, mut cpu) = ([const { Vec::new() }; 3], [const { Vec::new() }; 3]);
    for round in 0..ROUNDS {
        let (copy, before) = (book.copy("raw.db"), server::own_cpu());
        let took = limit::write_again(&copy, &groups);
        raw_cpu.push((server::own_cpu() - before) * 1e6 / bodies.len() as f64);
        raw.push(bodies.len() as f64 / took.as_secs_f64());
        note(&format!("round {}: raw {:.0}/s", round + 1, raw[round]));
        for (ix, (count, reports)) in
            [(1, REPORTS / 8), (8, REPORTS / 2), (64, REPORTS)].into_iter().enumerate()
        {
            let serving = Serving::start(&book.copy("served.db"));
            let before = serving.cpu();
            let outcome = client::file_all(serving.address, clients(book, count, reports, 1));
            filed[ix].push(outcome.per_second());
            cpu[ix].push((serving.cpu() - before) * 1e6 / outcome.sent as f64);
            note(&format!("round {}: {count} clients {:.0}/s", round + 1, outcome.per_second()));
        }
    }
    let limit = median(&raw);
    table.figure("raw grouped limit: the same rows, groups of 64, sqlx, FULL", format!("{limit:.0}/s"));
    table.figure("  processor time, a report", format!("{:.0} us", median(&raw_cpu)));
    for (ix, count) in ["1 client", "8 clients", "64 clients"].iter().enumerate() {
        let rate = median(&filed[ix]);
        table.figure(&format!("filed by token over HTTP, {count}"), format!("{rate:.0}/s"));
        table.figure("  processor time of the server, a report", format!("{:.0} us", median(&cpu[ix])));
    }
    table.at_least("64 clients : raw grouped limit (aim 0.5)", median(&filed[2]) / limit, 0.35, "");
}

/// 5 ms more for each commit: grouping has to make up for it.
fn slower_disk(book: &DemoBook, table: &mut Table) {
    let mut rates = [const { Vec::new() }; 2];
    for _ in 0..2 {
        for (ix, (count, reports)) in [(1, 100), (64, 1_920)].into_iter().enumerate() {
            let address = server::in_this_process(&book.copy("slow.db"), Duration::from_millis(5));
            rates[ix].push(client::file_all(address, clients(book, count, reports, 2)).per_second());
        }
    }
    let (one, many) = (median(&rates[0]), median(&rates[1]));
    table.figure("5 ms more a commit: 1 client", format!("{one:.0}/s"));
    table.figure("5 ms more a commit: 64 clients", format!("{many:.0}/s"));
    table.at_least("5 ms more a commit: 64 clients : 1 client", many / one, 4.0, "");
}

fn import(book: &DemoBook, table: &mut Table) {
    note("importing 20,000 reports");
    let mut writer = Writer::new(3, Clock::machine().now());
    let mut reports: Vec<_> = (0..20_000).map(|n| writer.report(&book.filers[n % 64].0, 300)).collect();
    reports.sort();
    let lines = reports.iter().fold(String::new(), |mut lines, (_, report)| {
        let _ = writeln!(lines, "{report}");
        lines
    });
    let file = book.path("reports.jsonl");
    std::fs::write(&file, lines).unwrap();
    let (db, cpu) = (book.copy("imported.db"), server::ended_cpu());
    let began = std::time::Instant::now();
    let said = book::run(&["import", "reports", file.to_str().unwrap(), "--db", db.to_str().unwrap()]);
    let rate = reports.len() as f64 / began.elapsed().as_secs_f64();
    assert!(said.contains("new=20000 same=0 rejected=0"), "{said}");
    let cpu = (server::ended_cpu() - cpu) * 1e6 / reports.len() as f64;
    table.figure("import reports: processor time, a report", format!("{cpu:.0} us"));
    table.at_least("import reports, 20,000 of them over 300 days", rate, 3_000.0, "/s");
}
