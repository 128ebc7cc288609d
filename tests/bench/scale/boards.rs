//! Handover, Triage, Unit and Class of a large book beside those of the demo's, 5,000 warm requests each.
use std::path::Path;

use breakerbook::{
    base::UnitName,
    cli::demo,
    web::paths::{Class, Handover, SignIn, Triage, Unit},
};

use super::{filled::PASSWORD, railway};
use crate::common::{client, median, percentile, server::Serving};

const REQUESTS: usize = 5_000;
/// The two books take turns, so that whatever else the machine does meets them alike.
const ROUNDS: usize = 10;

/// Median and 99th in a hundred, in seconds.
#[derive(Clone, Copy)]
pub struct Waits {
    pub middle: f64,
    pub late: f64,
}

struct Page {
    serving: usize,
    path: String,
    cookie: String,
    waits: Vec<f64>,
}

/// What is measured, of the demo and of the large book each.
pub const NAMES: [&str; 4] = ["Handover", "Triage", "Unit", "Class"];

/// Of each name in turn: the demo's, then the large book's.
pub fn measure(demo: &Path, large: &Path) -> [Waits; 8] {
    let serving = [Serving::start(demo), Serving::start(large)];
    let signed_in = |of: usize, name: &str, password: &str| {
        let form = format!("sign_in={name}&password={}", password.replace(' ', "+"));
        client::cookie_of(serving[of].address, &SignIn.to_string(), &form)
    };
    let of_demo = |role: &str| {
        let (_, name, password) = demo::SIGN_INS.iter().find(|(of, ..)| *of == role).unwrap();
        signed_in(0, name, password)
    };
    let handover = |unit: UnitName| Handover(unit).to_string();
    let page = |serving, path, cookie| Page { serving, path, cookie, waits: Vec::new() };
    let mut pages = [
        page(0, handover(UnitName::from("QHB 401")), of_demo("crew")),
        page(1, handover(railway::unit(401)), signed_in(1, railway::crew(0).as_str(), PASSWORD)),
        page(0, Triage.to_string(), of_demo("shop")),
        page(1, Triage.to_string(), signed_in(1, "shop.one", PASSWORD)),
        page(0, Unit(UnitName::from("QHB 401")).to_string(), of_demo("shop")),
        page(1, Unit(railway::unit(401)).to_string(), signed_in(1, "shop.one", PASSWORD)),
        page(0, Class("QA6".into()).to_string(), of_demo("shop")),
        page(1, Class("QC0".into()).to_string(), signed_in(1, "shop.one", PASSWORD)),
    ];
    for _ in 0..ROUNDS {
        for page in &mut pages {
            let address = serving[page.serving].address;
            page.waits.extend(client::get_many(address, &page.path, &page.cookie, REQUESTS / ROUNDS).waits);
        }
    }
    pages.map(|page| Waits { middle: median(&page.waits), late: percentile(&page.waits, 0.99) })
}
