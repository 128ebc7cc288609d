//! The fleet's lists, in the columns that `import` reads. All names are invented by number.
use std::fmt::Write as _;

use super::fleet::{Fleet, ON_PANEL, class_name, is_fuse, plate, unit_name};
use crate::{base::SignIn, cli::demo::Csvs};

/// Crews enough for any fleet to be told apart by.
const CREWS: usize = 60;

/// One of the crews.
pub fn crew(number: usize) -> SignIn {
    SignIn::from(format!("crew.{:02}", number % CREWS + 1))
}

pub fn lists(fleet: &Fleet) -> Csvs {
    Csvs {
        people: people(),
        schedules: schedules(fleet),
        checks: String::new(),
        units: units(fleet),
        authorisations: format!(
            "sign_in,classes,from,to,basis,granted_by\nshop.01,*,{},,Course on ground protection,super.01\n",
            fleet.options.starts
        ),
    }
}

fn people() -> String {
    let mut csv = "sign_in,name,role,craft\n".to_owned();
    for number in 0..CREWS {
        let craft = if number % 2 == 0 { "engineer" } else { "conductor" };
        let _ = writeln!(csv, "{},Crew Number {},crew,{craft}", crew(number), number + 1);
    }
    csv + "shop.01,Shop Number 1,shop,electrician\nsuper.01,Supervisor Number 1,supervisor,rules officer\n"
}

fn units(fleet: &Fleet) -> String {
    let mut csv = "unit,class,in_service,home_shop\n".to_owned();
    for unit in 0..fleet.units.len() {
        let class = class_name(fleet.class_of(unit));
        let _ = writeln!(csv, "{},{class},{},Simford", unit_name(unit), fleet.options.starts);
    }
    csv
}

fn schedules(fleet: &Fleet) -> String {
    let mut csv = "class,panel,panel_title,panel_where,rows,columns,tag,legend,kind,row,column,rating_a,rating_v,speed,body,feed,normal_lead,control_min_v,cranking_min_v\n".to_owned();
    for class in 0..fleet.options.classes as usize {
        (0..fleet.options.devices as usize).for_each(|device| row(fleet, class, device, &mut csv));
    }
    csv
}

fn row(fleet: &Fleet, class: usize, device: usize, csv: &mut String) {
    let (panel, place) = (device / ON_PANEL, device % ON_PANEL);
    let tag = plate(device);
    let (kind, rating) = match device {
        relay if fleet.is_ground_relay(relay) => ("relay", ",600,,"),
        fuse if is_fuse(fuse) => ("fuse", "60,250,slow,B"),
        _ => ("breaker", "30,125,,"),
    };
    let feed = if place == 0 || kind == "relay" { String::new() } else { plate(panel * ON_PANEL) };
    let _ = writeln!(
        csv,
        "{},P{p},Panel {p},cabinet {p},4,5,{tag},Circuit {n},{kind},{r},{c},{rating},{feed},on,64,38",
        class_name(class),
        p = panel + 1,
        n = device + 1,
        r = place / 5 + 1,
        c = place % 5 + 1,
    );
}
