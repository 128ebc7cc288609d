//! Pages of every version stay readable for ever: one stored page of each kind, as version 1 wrote it. Never change a
//! line of `pages_v1.jsonl`; a new version gets a file of its own.
use std::collections::BTreeSet;

use breakerbook::{book::Envelope, desk::rebuild::read_page};

const V1: &str = include_str!("pages_v1.jsonl");

#[test]
fn pages_of_version_1_say_what_they_said() {
    let mut kinds = BTreeSet::new();
    for line in V1.lines() {
        let envelope = Envelope::read(line).unwrap();
        let (_, body) = read_page(i64::try_from(envelope.seq).unwrap(), line)
            .unwrap_or_else(|why| panic!("page {}: {why}", envelope.seq));
        assert_eq!(body.kind(), envelope.kind);
        // Nothing that was written is lost in reading.
        assert_eq!(body.to_raw().unwrap().get(), envelope.body.get(), "page {}", envelope.seq);
        kinds.insert(body.kind());
    }
    assert_eq!(kinds.len(), 38, "a kind of page has no example here: {kinds:?}");
}
