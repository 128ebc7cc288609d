use super::*;

fn says(json: &str) -> String {
    told(&crate::reports::stored::entry(json).unwrap(), None, &Zone::named("America/Chicago").unwrap())
}

#[test]
fn entries_are_told_in_sentences() {
    let id = r#""id": "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11""#;
    let at = r#""at": "2026-03-02T23:12:00-06:00""#;
    for (json, want) in [
        (
            format!(
                r#"{{{id}, "kind": "breaker_trip", {at}, "signs": "heat", "device": "TC2", "resets": [{{"basis": "looked_no_sign", "result": "tripped_again"}}], "left": "tripped", "note": "wet"}}"#
            ),
            "TC2 tripped. Closed again (looked, no sign): tripped again. Left tripped. Signs of heat. “wet”",
        ),
        (
            format!(
                r#"{{{id}, "kind": "ground_relay", {at}, "device": null, "operations": 2, "mode": "motoring", "reset": "by_hand", "after": "loads_again"}}"#
            ),
            "Ground relay operated 2 times, motoring. Reset: by hand. After it: loads again.",
        ),
        (
            format!(
                r#"{{{id}, "kind": "bypass", "found_open_at": "2026-03-02T23:12:00-06:00", "device": "GRC", "by": "not_known", "purpose": "none_given"}}"#
            ),
            "GRC found open, opened by: not known. Purpose: none given. Still open when written.",
        ),
        (
            format!(
                r#"{{{id}, "kind": "fuse_check", {at}, "device": "SF", "result": "blown", "replaced_by": {{"rating_a": 400, "speed": "slow"}}, "basis": "examined"}}"#
            ),
            "SF: blown. Replaced by 400 A, slow. Put in because: examined.",
        ),
        (
            format!(
                r#"{{{id}, "kind": "defect", {at}, "system": "cab_signal", "text": "no aspect.", "may_go_on": "restricted", "restriction": "trail only"}}"#
            ),
            "Defect, cab signal: no aspect. May go on with a restriction: trail only.",
        ),
    ] {
        assert_eq!(says(&json), want);
    }
}
