//! The book at ten thousand, a million and ten million entries: filing, judging all of it again, the two busiest pages, filing
//! beside a back-up.
//! `BREAKERBOOK_BENCH_ENTRIES=1000000` tries it with another largest size.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot go on has nothing to say")]
#[path = "../common/mod.rs"]
mod common;

mod backup;
mod boards;
mod filing;
mod filled;
mod judging;
mod railway;

use common::{
    book::DemoBook,
    only_looking,
    table::{Table, note},
    wanted,
};
use filled::Filled;
use railway::{FORTY, LARGE};

#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const SMALL: usize = 10_000;
const MIDDLE: usize = 1_000_000;

fn main() {
    if only_looking() {
        return;
    }
    let large =
        std::env::var("BREAKERBOOK_BENCH_ENTRIES").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000_000);
    note(railway::SHAPE);
    let mut table = Table::new("The book at scale");
    if wanted("pages") && large > MIDDLE {
        let middle = Filled::build(MIDDLE, LARGE);
        pages(&middle, &mut table);
        filled::clear(&middle);
    }
    if ["pages", "judging", "filing", "backup"].iter().any(|what| wanted(what)) {
        let book = Filled::build(large, LARGE);
        book.told(&mut table);
        if wanted("pages") {
            pages(&book, &mut table);
        }
        if wanted("judging") {
            judging(&book, &mut table);
        }
        if wanted("filing") {
            for (fleet, rounds) in [(FORTY, filing::FEW), (LARGE, filing::MANY)] {
                let small = Filled::build(SMALL, fleet);
                filing(&small, &book, rounds, &mut table);
                filled::clear(&small);
            }
        }
        if wanted("backup") {
            backup(&book, &mut table);
        }
        filled::clear(&book);
    }
    table.print();
}

fn pages(book: &Filled, table: &mut Table) {
    note("asking for pages");
    let demo = DemoBook::fill(0);
    let waits = boards::measure(&demo.copy("pages.db"), &book.path);
    for (name, pair) in boards::NAMES.iter().zip(waits.chunks(2)) {
        for (which, waits) in ["demo", "large"].iter().zip(pair) {
            let both = format!("{:.2} ms, {:.2} ms", waits.middle * 1e3, waits.late * 1e3);
            table.figure(&format!("{name}, {which} ({} entries): median, 99 in 100", book.entries), both);
        }
        for (what, demo, large) in
            [("median", pair[0].middle, pair[1].middle), ("99 in 100", pair[0].late, pair[1].late)]
        {
            let most = (demo * 1.5).max(demo + 0.002) * 1e3;
            table.at_most(
                &format!("{name}: {what} at most 1.5 x the demo's or + 2 ms"),
                large * 1e3,
                most,
                " ms",
            );
        }
    }
}

fn judging(book: &Filled, table: &mut Table) {
    note("judging all of it again");
    let figure = |table: &mut Table, what: &str, (wall, cpu): (f64, f64)| {
        table.figure(&format!("judged again, {what}, processor time"), format!("{wall:.2} s, {cpu:.2} s"));
    };
    figure(table, "every rule: best of 3", judging::best(&book.path, true));
    note("judging again what is reckoned, and asking the outside engine, in turn");
    let (ours, theirs) = judging::in_turn(&book.path);
    figure(table, "what is reckoned: best of 9", ours);
    let name = "3 in 30 days over all pairs, outside engine";
    let Some(outside) = theirs else {
        return table.figure(name, "NOT MEASURED: PyPI out of reach".to_owned());
    };
    table.figure(&format!("{name}, best of 9"), format!("{:.2} s", outside.seconds));
    table.figure("  it said (s, lines, pairs)", outside.said);
    table.at_least(
        "outside engine's time : judging again what is reckoned",
        outside.seconds / ours.0,
        1.0,
        "",
    );
}

fn filing(small: &Filled, large: &Filled, rounds: filing::Rounds, table: &mut Table) {
    note(&format!("filing into the large book, then into the small one of {} units", small.fleet.units));
    // The large one first: what a process reckons once and keeps (the luck of bursts) is then there for both.
    let of_large = filing::measure(large, rounds);
    let costs = [filing::measure(small, rounds), of_large];
    for (n, name) in rounds.names().iter().enumerate() {
        for (book, cost) in [(small, costs[0][n]), (large, costs[1][n])] {
            let both = format!("{:.0} us, {:.0} us", cost.cpu, cost.wall);
            let whose = format!("{} entries of {} units", book.entries, book.fleet.units);
            table.figure(&format!("one report, {name}, at {whose}: processor, wall"), both);
        }
        let ratio = |of: fn(&filing::Cost) -> f64| of(&costs[1][n]) / of(&costs[0][n]);
        let beside = format!("  large : small of {} units, {name}", small.fleet.units);
        table.at_most(&format!("{beside}, processor"), ratio(|c| c.cpu), 2.0, "");
        table.at_most(&format!("{beside}, wall"), ratio(|c| c.wall), 2.0, "");
    }
}

fn backup(book: &Filled, table: &mut Table) {
    note(&format!("filing by {} clients, alone and beside a back-up", backup::CLIENTS));
    let measured = backup::measure(&book.path);
    let size = measured.bytes as f64 / 1e9;
    table.figure(
        &format!("back-up of {} entries while {} clients file", book.entries, backup::CLIENTS),
        format!("{:.0} s, {size:.2} GB", measured.took.as_secs_f64()),
    );
    for (when, filed) in [("before", &measured.before), ("during", &measured.during)] {
        let (middle, late) = (filed.within(0.5) * 1e3, filed.within(0.99) * 1e3);
        table.figure(
            &format!("  filing {when} it: median, 99 in 100, rate"),
            format!("{middle:.2} ms, {late:.2} ms, {:.0}/s", filed.per_second()),
        );
    }
    let ratio = measured.during.within(0.99) / measured.before.within(0.99);
    table.at_most("  99 in 100, during : before", ratio, 3.0, "");
}
