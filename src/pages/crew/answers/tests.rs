use super::*;

fn read(kind: Kind, about: &About, typed: &mut Typed) -> (Value, Says) {
    let zone = Zone::named("America/Chicago").unwrap();
    let now = Instant::parse("2026-03-02T23:12:40-06:00").unwrap();
    let (me, people) = (SignIn::from("n.okafor"), People::default());
    let scene = Scene { me: &me, people: &people, zone: &zone, now };
    let id = "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11".parse().unwrap();
    settle(typed, &scene);
    entry(kind, id, about, None, typed, &scene)
}

fn typed(pairs: &[(&str, &str)]) -> Typed {
    pairs.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect()
}

#[test]
fn a_trip_with_a_reset_becomes_the_contracts_entry() {
    let mut typed = typed(&[
        ("when", "15"),
        ("signs", "none"),
        ("resets[0].result", "tripped_again"),
        ("resets[0].basis", "looked_no_sign"),
        ("resets[0].told_by", "Ann from the shop"),
        ("resets[1].basis", "examined"),
        ("left", "tripped"),
        ("speed_mph", " 38 "),
        ("load_a", "610,5"),
        ("place", "MP 41.2"),
    ]);
    let (json, says) = read(Kind::BreakerTrip, &About::Device("TC2".into()), &mut typed);
    assert_eq!(says, Says::new());
    let want = json!({
        "id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11", "kind": "breaker_trip", "at": "2026-03-02T22:57:00-06:00",
        "at_how": "about", "device": "TC2", "signs": "none", "left": "tripped", "speed_mph": 38.0, "load_a": 610.5,
        "place": "MP 41.2",
        "resets": [{"result": "tripped_again", "basis": "looked_no_sign", "told_by": {"name": "Ann from the shop"}}]
    });
    assert_eq!(json, want);
    // Settled: read again an hour later, it is the same entry.
    assert_eq!(read(Kind::BreakerTrip, &About::Device("TC2".into()), &mut typed).0, want);
}

/// Four taps from the home page: what, which, reset or not, and down.
#[test]
fn how_a_breaker_is_left_follows_from_its_reset_unless_it_is_tapped() {
    let trip = |pairs: &[(&str, &str)]| {
        let about = About::Device("TC2".into());
        read(Kind::BreakerTrip, &about, &mut typed(pairs)).0["left"].clone()
    };
    assert_eq!(trip(&[("resets[0].result", "held")]), "on");
    assert_eq!(trip(&[("resets[0].result", "none")]), "tripped");
    assert_eq!(trip(&[("resets[0].result", "would_not_latch")]), "tripped");
    assert_eq!(trip(&[("resets[0].result", "held"), ("resets[1].result", "tripped_again")]), "tripped");
    assert_eq!(trip(&[("resets[0].result", "none"), ("left", "off")]), "off");
    assert_eq!(trip(&[]), Value::Null, "it is asked for");
}

#[test]
fn what_is_not_asked_is_not_written_out() {
    let mut answers = typed(&[
        ("when", "now"),
        ("resets[0].result", "none"),
        ("resets[0].basis", "examined"),
        ("left", "off"),
    ]);
    let (json, _) = read(Kind::BreakerTrip, &About::NotListed, &mut answers);
    assert_eq!(json.get("resets"), None);
    answers.set("device.not_listed", "AUX COMPR");
    let (json, says) = read(Kind::BreakerTrip, &About::NotListed, &mut answers);
    assert_eq!((json["device"].clone(), says.len()), (json!({"not_listed": "AUX COMPR"}), 0));
}

#[test]
fn a_cutout_found_open_has_its_own_time_and_one_opened_says_who() {
    let mut found = typed(&[
        ("when", "found"),
        ("by", "not_known"),
        ("authorised_by", "m.ruiz"),
        ("purpose", "none_given"),
    ]);
    let (json, _) = read(Kind::Bypass, &About::Device("GRC".into()), &mut found);
    assert_eq!(json["found_open_at"], "2026-03-02T23:12:00-06:00");
    assert_eq!((json.get("opened_at"), json.get("authorised_by")), (None, None));
    let mut opened = typed(&[
        ("when", "set"),
        ("when.set", "2026-03-02T20:00"),
        ("by", "me"),
        ("closed", "yes"),
        ("closed_by", "other"),
        ("closed_by.name", "A. Lind"),
        ("seal_found.number", "20417"),
        ("seal_applied", "none"),
    ]);
    let (json, _) = read(Kind::Bypass, &About::Device("GRC".into()), &mut opened);
    assert_eq!((&json["by"], &json["closed_by"]), (&json!("n.okafor"), &json!({"name": "A. Lind"})));
    assert_eq!((&json["seal_found"], &json["seal_applied"]), (&json!("20417"), &json!("none")));
    assert_eq!(
        (&json["opened_at"], &json["closed_at"]),
        (&json!("2026-03-02T20:00:00-06:00"), &json!("2026-03-02T23:12:00-06:00"))
    );
}

#[test]
fn what_cannot_be_read_is_said_beside_its_field() {
    let mut odd = typed(&[("when", "set"), ("battery_rest_v", "lots"), ("attempt", "1.5")]);
    let (_, says) = read(Kind::EngineStart, &About::Nothing, &mut odd);
    assert_eq!(says.keys().collect::<Vec<_>>(), ["attempt", "battery_rest_v", "when"]);
}

#[test]
fn problems_go_back_to_their_fields() {
    for (path, field) in [
        ("entries[0].resets[0].basis", "resets[0].basis"),
        ("entries[0].resets[0].told_by.name", "resets[0].told_by"),
        ("entries[0].at", "when"),
        ("entries[0].left", "left"),
        ("entries[0].device", ""),
        ("run.started", ""),
    ] {
        assert_eq!(field_of(Kind::BreakerTrip, None, path), field, "{path}");
    }
    assert_eq!(field_of(Kind::FuseCheck, None, "entries[3].replaced_by.rating_a"), "replaced_by.rating_a");
}
