use super::*;
use crate::{
    base::{Tag, zone::Day},
    roster::schedule::FuseSpeed,
    roster::{Panel, Place, RightPosition, schedule::Restriction},
};

const HEADER: &str = "class,panel,panel_title,panel_where,rows,columns,tag,legend,kind,row,column,rating_a,rating_v,speed,body,feed,start_group,normal_lead,normal_trail,normal_dead,normal_shut_down,keep_on_running,keep_on_after_shutdown_min,crew_resets,crew_resets_hours,crew_reset_wait_s,overload_by_design,before_closing,after_closing,if_left_off,off_effect,restricts_off,ground_protection,safety_device,severity";

fn read(file: &str) -> Import<Schedule> {
    schedules(file.as_bytes(), Instant(0)).unwrap()
}

/// In March 2026, in a book that has every class but QZ9.
fn read_units(file: &str) -> Result<Import<UnitCard>, Unusable> {
    units(file.as_bytes(), |class| class.as_str() != "QZ9", Day::parse("2026-03-03").unwrap())
}

#[test]
fn a_schedule_with_the_contracts_header_is_read() {
    let file = format!(
        "{HEADER}\n\
        E8,P1,Engine control,\"cab, left\",3,6,TC,Turbo control,breaker,1,2,30,75,,,,yes,on,off,off,any,yes,30,1,24,120,no,wait,watch,no load,loads no more,no_lead do_not_load,no,no,2\n\
        E8,P1,,,,,SF,Starting fuse,fuse,2,2,400,250,slow,B,TC,,,,,,,,,,,,,,,,,,,\n\
        E8,outside,,nose,,,GRC,Ground-relay cutout,switch,,,,,,,,,on,,,,,,0,,,,,,,,none,yes,,\n"
    );
    let import = read(&file);
    assert_eq!(import.rejects, []);
    let [schedule] = import.good.as_slice() else { panic!("{import:?}") };
    let panel = Panel {
        name: "P1".into(),
        title: "Engine control".into(),
        at: "cab, left".into(),
        rows: 3,
        columns: 6,
    };
    assert_eq!(schedule.panels, [panel]);
    let [tc, sf, grc] = schedule.devices.as_slice() else { panic!() };
    assert_eq!(tc.place, Place::OnPanel { panel: "P1".into(), row: 1, column: 2 });
    assert_eq!(
        (tc.rating_a, tc.start_group, tc.normal_shut_down),
        (Some(30.0), true, Some(RightPosition::Any))
    );
    assert_eq!(
        (tc.crew_resets.times, tc.crew_resets.hours, tc.crew_resets.wait_s),
        (Some(1), Some(24.0), Some(120))
    );
    assert_eq!(tc.restricts_off, [Restriction::NoLead, Restriction::DoNotLoad]);
    assert_eq!((sf.speed, sf.feed.as_ref()), (Some(FuseSpeed::Slow), Some(&Tag::from("TC"))));
    assert_eq!(
        (sf.crew_resets.times, sf.normal_lead, sf.restricts_off.len()),
        (None, None, 0),
        "blank is never permission"
    );
    assert_eq!(grc.place, Place::Outside { at: "nose".into() });
    assert!(grc.ground_protection && grc.crew_resets.times == Some(0));
}

#[test]
fn missing_columns_are_blank_and_class_figures_may_stand_anywhere() {
    let file = "tag,class,kind,panel,row,column,control_min_v,air_min_psi\nA,E8,breaker,P,2,3,,\nB,E8,breaker,P,1,1,55,80\nC,E9,switch,P,1,1,,\n";
    let import = read(file);
    assert_eq!(import.rejects, []);
    let e8 = &import.good[0];
    assert_eq!(
        (e8.start.control_min_v, e8.start.cranking_min_v, e8.start.air_min_psi),
        (Some(55.0), None, Some(80.0))
    );
    assert_eq!((e8.panels[0].rows, e8.panels[0].columns, e8.panels[0].title.as_str()), (2, 3, "P"));
    assert_eq!(import.good.len(), 2);
}

#[test]
fn every_bad_row_has_a_reason_and_spoils_its_class_only() {
    let header = "class,panel,rows,columns,tag,kind,row,column,feed,rating_a,speed,start_group,normal_lead,crew_resets,restricts_off,severity,panel_where,control_min_v";
    for (row, part) in [
        ("E8,P,,,,breaker,2,1", "tag is blank"),
        ("E8,P,,,A,breaker,2,1", "tag A is on line 2"),
        ("E8,P,,,a,breaker,2,1", "tag a is on line 2"),
        ("E8,P,,,ground_relay,relay,2,1", "the book itself uses"),
        ("E8,P,,,X,braker,2,1", "Did you mean breaker?"),
        ("E8,P,,,X,,2,1", "kind is blank"),
        ("E8,,,,X,breaker,2,1", "panel is blank"),
        ("E8,P,,,X,breaker,,1", "row is blank"),
        ("E8,P,,,X,breaker,1,", "column is blank"),
        ("E8,P,,,X,breaker,0,1", "row is \"0\""),
        ("E8,outside,,,X,breaker,,", "panel_where is blank"),
        ("E8,P,,,X,breaker,1,1", "taken by A"),
        ("E8,P,,,X,breaker,4,1", "which has 3 rows and 4 columns"),
        ("E8,P,,,X,breaker,1,5", "which has 3 rows and 4 columns"),
        ("E8,P,2,,X,breaker,2,1", "rows of panel P is 2 here and 3"),
        ("E8,P,,,X,breaker,2,1,Z", "no such tag"),
        ("E8,P,,,X,breaker,2,1,X", "feeds itself"),
        ("E8,P,,,X,breaker,2,1,,-1", "rating_a is"),
        ("E8,P,,,X,breaker,2,1,,30A", "rating_a is"),
        ("E8,P,,,X,breaker,2,1,,NaN", "rating_a is"),
        ("E8,P,,,X,fuse,2,1,,,quick", "speed is"),
        ("E8,P,,,X,breaker,2,1,,,,maybe", "Write yes or no"),
        ("E8,P,,,X,breaker,2,1,,,,,up", "normal_lead is"),
        ("E8,P,,,X,breaker,2,1,,,,,,one", "crew_resets is"),
        ("E8,P,,,X,breaker,2,1,,,,,,1.5", "crew_resets is"),
        ("E8,P,,,X,breaker,2,1,,,,,,,no_lead none", "not both"),
        ("E8,P,,,X,breaker,2,1,,,,,,,no_leed", "Did you mean no_lead?"),
        ("E8,P,,,X,breaker,2,1,,,,,,,,lots", "severity is"),
        ("E8,P,,,X,breaker,2,1,,,,,,,,,,66", "control_min_v is 66 here and 55"),
        ("E8,P,,,X,breaker,2,1,,,,,,,,,,,x", "19 cells"),
    ] {
        let file = format!("{header}\nE8,P,3,4,A,breaker,1,1,,,,,,,,,,55\n{row}\nE9,P,,,A,breaker,1,1\n");
        let import = read(&file);
        let reasons: Vec<&str> = import.rejects.iter().map(|r| r.reason.as_str()).collect();
        assert_eq!(import.good.len(), 1, "{row}: {reasons:?}");
        assert_eq!(import.good[0].class, ClassName::from("E9"));
        assert_eq!(import.rejects.len(), 2, "{row}: {reasons:?}");
        assert!(reasons[1].contains(part), "{row}: {reasons:?}");
        assert!(reasons[0].contains("taken whole") && reasons[0].contains("(line 3)"), "{reasons:?}");
        assert_eq!((import.rejects[1].line, import.rejects[1].row.as_str()), (3, row));
    }
}

#[test]
fn feeds_in_a_circle_are_told_on_the_rows_of_the_circle() {
    let file = "class,panel,panel_where,tag,kind,feed\nE8,outside,nose,A,breaker,B\nE8,outside,nose,B,breaker,C\nE8,outside,nose,C,breaker,B\n";
    let import = read(file);
    let reasons: Vec<&str> = import.rejects.iter().map(|r| r.reason.as_str()).collect();
    assert!(reasons[0].contains("taken whole") && reasons[0].contains("(line 3, 4)"), "{reasons:?}");
    assert!(reasons[1].starts_with("B feeds itself") && reasons[2].starts_with("C feeds itself"));
}

#[test]
fn a_row_without_a_class_stands_alone() {
    let import = read(
        "class,panel,panel_where,tag,kind\n,outside,nose,A,breaker\nE 8,outside,nose,A,breaker\n*,outside,nose,A,breaker\nE8,outside,nose,A,breaker\n",
    );
    assert_eq!((import.good.len(), import.rejects.len()), (1, 3));
    assert!(import.rejects[0].reason.starts_with("class is blank"));
    assert!(import.rejects[1].reason.contains("without spaces"));
}

#[test]
fn units_are_read_or_rejected_with_a_reason() {
    let file = "unit,class,in_service,home_shop\nqhb 0412,E8,2020-05-01,East\nQHB-413,E8,2020-05-01,\n";
    let import = read_units(file).unwrap();
    assert_eq!(import.rejects, []);
    let want = UnitCard {
        unit: UnitName::from("QHB 412"),
        class: ClassName::from("E8"),
        in_service: Day::parse("2020-05-01").unwrap(),
        retired: None,
        home_shop: Some("East".to_owned()),
    };
    assert_eq!(import.good[0], want);
    for (row, part) in [
        (",E8,2020-05-01,", "unit is blank"),
        ("412,E8,2020-05-01,", "as in QHB 412"),
        ("QHB 9,,2020-05-01,", "class is blank"),
        ("QHB 9,E 8,2020-05-01,", "without spaces"),
        ("QHB 9,E8,,", "in_service is blank"),
        ("QHB 9,E8,01.05.2020,", "Write the day as"),
        ("qhb412,E8,2020-05-01,", "already, further up"),
        ("QHB 9,QZ9,2020-05-01,", "There is no class QZ9 yet"),
        ("QHB 9,E8,2099-01-01,", "more than two years ahead"),
        ("QHB 9,E8,0206-05-01,", "years 1900 to 2199"),
        ("QHB 9,E8,1899-12-31,", "years 1900 to 2199"),
    ] {
        let import = read_units(&format!("{file}{row}\n")).unwrap();
        assert_eq!((import.good.len(), import.rejects.len()), (2, 1), "{row}");
        assert!(import.rejects[0].reason.contains(part), "{}", import.rejects[0].reason);
        assert_eq!(import.rejects[0].line, 4);
    }
}

#[test]
fn the_same_content_is_the_same_whenever_it_takes_effect() {
    let file = "class,panel,panel_where,tag,kind\nE8,outside,nose,A,breaker\n";
    let later = schedules(file.as_bytes(), Instant(5)).unwrap();
    assert!(read(file).good[0].same_content(&later.good[0]));
    let other = read(&file.replace("breaker", "fuse"));
    assert!(!other.good[0].same_content(&later.good[0]));
}

proptest::proptest! {
    #[test]
    fn no_file_makes_it_panic(cells in proptest::collection::vec("(E8|P|outside|A|B|breaker|fuse|[0-9]{1,3}|yes|no|-1|\\PC{0,4}|\"|\n)", 0..120)) {
        let _ = schedules(format!("{HEADER}\n{}", cells.join(",")).as_bytes(), Instant(0));
        let _ = schedules(format!("class,panel,panel_where,tag,kind,feed\n{}", cells.join(",")).as_bytes(), Instant(0));
        let _ = read_units(&format!("unit,class,in_service\n{}", cells.join(",")));
    }
}

mod checks {
    use super::*;
    use crate::roster::{
        check::{AppliesWhen, Prevents},
        import::checks::checks,
    };

    const HEADER: &str = "class,order,place,text,right,applies_when,device,prevents";

    fn next(class: &ClassName) -> Result<Schedule, String> {
        let file = "class,panel,panel_where,tag,kind\nE8,outside,nose,BK,switch\n";
        let known = read(file).good.into_iter().find(|schedule| schedule.class == *class);
        known.ok_or_else(|| format!("There is no class {class} yet: import its schedule first."))
    }

    fn read_checks(rows: &str) -> Import<Schedule> {
        checks(format!("{HEADER}\n{rows}").as_bytes(), next).unwrap()
    }

    #[test]
    fn they_stand_in_walking_order_on_the_next_version_of_the_schedule() {
        let import = read_checks(
            "E8,20,Cab,Throttle,Idle,,,\nE8,,Cab,Handbrake,Wound,parking,,move\n\
             E8,10,Left side,Battery switch,Closed,start,BK,start load start\n",
        );
        assert_eq!(import.rejects, []);
        let [schedule] = import.good.as_slice() else { panic!("{import:?}") };
        assert_eq!(schedule.devices.len(), 1, "the devices are those it had");
        let [switch, throttle, brake] = schedule.checks.as_slice() else { panic!("{schedule:?}") };
        assert_eq!((switch.place.as_str(), switch.right.as_str()), ("Left side", "Closed"));
        assert_eq!(switch.device, Some(Tag::from("BK")));
        assert_eq!(switch.prevents, [Prevents::Start, Prevents::Load]);
        assert_eq!((throttle.applies_when, throttle.prevents.len()), (AppliesWhen::Start, 0));
        assert_eq!(brake.applies_when, AppliesWhen::Parking, "without an order it comes last");
    }

    #[test]
    fn a_bad_row_has_its_reason_and_spoils_its_class_only() {
        for (row, part) in [
            ("E8,,,x,y,,,", "place is blank"),
            ("E8,,Cab,,y,,,", "text is blank"),
            ("E8,,Cab,x,,,,", "right is blank"),
            ("E8,zero,Cab,x,y,,,", "order is"),
            ("E8,,Cab,x,y,parkin,,", "Did you mean parking?"),
            ("E8,,Cab,x,y,,BKX,", "class E8 has no such tag"),
            ("E8,,Cab,x,y,,,stat", "Did you mean start?"),
            ("QZ9,,Cab,x,y,,,", "There is no class QZ9 yet"),
            (",,Cab,x,y,,,", "class is blank"),
        ] {
            let import = read_checks(&format!("E8,1,Cab,Throttle,Idle,,,\n{row}\n"));
            let reasons: Vec<&str> = import.rejects.iter().map(|r| r.reason.as_str()).collect();
            assert!(reasons.iter().any(|r| r.contains(part)), "{row}: {reasons:?}");
            assert_eq!(import.good.len(), usize::from(!row.starts_with("E8")), "{row}");
        }
    }

    #[test]
    fn a_new_list_of_devices_keeps_the_checks_but_not_a_device_that_is_gone() {
        let known = read_checks("E8,1,Cab,Switch,Closed,,BK,start\n").good.remove(0);
        let same = next(&"E8".into()).unwrap().with_checks_of(&known);
        assert!(same.same_content(&known));
        let file = "class,panel,panel_where,tag,kind\nE8,outside,nose,BS,switch\n";
        let other = read(file).good.remove(0).with_checks_of(&known);
        assert_eq!((other.checks[0].text.as_str(), &other.checks[0].device), ("Switch", &None));
    }

    #[test]
    fn starting_figures_of_a_class_are_the_same_on_all_its_rows() {
        let file = "class,panel,panel_where,tag,kind,motors,crank_seconds_max,crank_rest_s,crank_attempts,long_shutdown_h\n\
            E8,outside,nose,A,breaker,both,20,120,3,48.5\nE8,outside,nose,B,breaker,,,,,\n";
        let start = &read(file).good[0].start;
        assert_eq!(start.motors.map(|m| m.as_str()), Some("both"));
        assert_eq!(
            (start.crank_seconds_max, start.crank_rest_s, start.crank_attempts),
            (Some(20), Some(120), Some(3))
        );
        assert_eq!(start.long_shutdown_h, Some(48.5));
        let bad = read(&file.replace("B,breaker,,", "B,breaker,air,"));
        assert!(bad.rejects[1].reason.contains("motors is air here and both further up"), "{bad:?}");
    }
}
