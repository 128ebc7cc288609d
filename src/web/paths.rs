//! Every address of this site. Links are values, so a page that moves takes its links with it.
use std::fmt;

use crate::base::{EntryId, ReportId, UnitName};

/// What can stand for `{name}` in a pattern.
pub trait Segment {
    fn text(&self) -> String;
}
impl Segment for UnitName {
    fn text(&self) -> String {
        self.slug()
    }
}
impl Segment for String {
    fn text(&self) -> String {
        self.clone()
    }
}
impl Segment for EntryId {
    fn text(&self) -> String {
        self.to_string()
    }
}
impl Segment for ReportId {
    fn text(&self) -> String {
        self.to_string()
    }
}

impl Segment for u64 {
    fn text(&self) -> String {
        self.to_string()
    }
}

macro_rules! paths {
    ($($(#[$doc:meta])* $name:ident $(($($part:ty),+))? = $pattern:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub struct $name $(($(pub $part),+))?;

        impl $name {
            /// As the routes table has it.
            pub const PATTERN: &'static str = $pattern;

            /// The same address with a query, `?unit=QHB-412&page=2`; empty values are left out.
            pub fn with(&self, query: &[(&str, &str)]) -> String {
                with_query(self.to_string(), query)
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                paths!(@write self f $pattern $(($($part),+))?)
            }
        }
    )*};
    (@write $me:ident $f:ident $pattern:literal) => { $f.write_str($pattern) };
    (@write $me:ident $f:ident $pattern:literal ($one:ty)) => { write_pattern($f, $pattern, &[&$me.0]) };
    (@write $me:ident $f:ident $pattern:literal ($one:ty, $two:ty)) => {
        write_pattern($f, $pattern, &[&$me.0, &$me.1])
    };
}

paths! {
    /// Sends everybody to where their work begins.
    Home = "/";
    SignIn = "/sign-in";
    /// The code after the password.
    SignInCode = "/sign-in/code";
    SignOut = "/sign-out";
    Password = "/password";
    /// One's own one-time codes, and where one is signed in.
    Codes = "/codes";
    Sessions = "/sessions";
    /// How others sign in: their first password, their codes, their sessions.
    SignIns = "/sign-ins";
    SignInsOf(String) = "/sign-ins/{sign_in}";
    /// What programs file and read with.
    Tokens = "/tokens";
    TokenRevoke = "/tokens/revoke";
    Palette = "/palette";
    /// Forms that were typed before a session ended.
    Kept = "/kept";
    KeptDrop(String) = "/kept/{id}/drop";

    Triage = "/triage";
    Finding(String) = "/findings/{key}";
    /// The numbers of a page's pictures, as CSV.
    FindingData(String, String) = "/findings/{key}/data/{what}";
    Unit(UnitName) = "/units/{unit}/timeline";
    UnitData(UnitName, String) = "/units/{unit}/data/{what}";
    Class(String) = "/classes/{class}";
    ClassData(String, String) = "/classes/{class}/data/{what}";
    /// 'I have looked at these.'
    TriageLooked = "/triage/looked";
    /// The rule of thumb 'k in T'.
    Watch = "/watch";
    /// What is held, in repair, restricted or set aside.
    InShop = "/in-shop";
    /// One unit as the shop knows it: holds, repairs, releases, corrections.
    UnitShop(UnitName) = "/units/{unit}/shop";
    RepairNew(UnitName) = "/units/{unit}/repairs/new";
    Hold(UnitName) = "/units/{unit}/hold";
    Release(UnitName) = "/units/{unit}/release";
    Repair(String) = "/repairs/{id}";
    RepairWork(String) = "/repairs/{id}/work";
    RepairClose(String) = "/repairs/{id}/close";
    RepairAmend(String) = "/repairs/{id}/amend";
    /// The list of causes that the shop keeps.
    Causes = "/causes";
    FindingAside(String) = "/findings/{key}/aside";
    /// One entry with everything that was ever said of it.
    Entry(EntryId) = "/entries/{id}";
    EntryAmend(EntryId) = "/entries/{id}/amend";
    EntryStatement(EntryId) = "/entries/{id}/statement";
    Thresholds = "/thresholds";
    /// Everybody of the book, by hand.
    People = "/people";
    PersonNew = "/people/new";
    Person(String) = "/people/{sign_in}";
    PersonChange(String) = "/people/{sign_in}/change";
    PersonEnd(String) = "/people/{sign_in}/end";
    PersonReturn(String) = "/people/{sign_in}/return";
    PersonPassword(String) = "/people/{sign_in}/password";
    /// Units, and the schedules of their classes, by hand.
    Fleet = "/fleet";
    FleetNew = "/fleet/new";
    FleetUnit(UnitName) = "/fleet/units/{unit}";
    FleetRetire(UnitName) = "/fleet/units/{unit}/retire";
    FleetReturn(UnitName) = "/fleet/units/{unit}/return";
    Schedule = "/fleet/schedule";
    /// When the book was last copied, and 'back up now'.
    Backups = "/backups";
    /// What somebody was told, what they are told of and how, and what left.
    Notices = "/notices";
    NoticesRead = "/notices/read";
    NoticesMine = "/notices/mine";
    NoticesTrial = "/notices/trial";
    NoticesSent = "/notices/sent";
    /// Everybody's, for administrators.
    NoticesAll = "/notices/all";
    Webhooks = "/notices/webhooks";
    WebhookEnd(String) = "/notices/webhooks/{id}/end";
    WebhookTrial(String) = "/notices/webhooks/{id}/trial";
    Bypasses = "/bypasses";
    Bypass(EntryId) = "/bypasses/{id}";
    BypassReview(EntryId) = "/bypasses/{id}/review";
    BypassData(EntryId, String) = "/bypasses/{id}/data/{what}";
    /// The chain of seals of a unit's cutouts.
    BypassSeals(UnitName) = "/register/seals/{unit}";
    /// The register by the month.
    BypassMonths = "/register/months";
    BypassMonth(String) = "/register/months/{month}";
    /// One person's rights and openings, and nothing else of them.
    BypassPerson(String) = "/register/people/{sign_in}";

    /// Rights to open cutouts: who holds what until when, proposals, one right.
    Authorisations = "/authorisations";
    AuthorisationNew = "/authorisations/new";
    Proposal(String) = "/authorisations/proposals/{proposal}";
    ProposalConfirm(String) = "/authorisations/proposals/{proposal}/confirm";
    ProposalWithdraw(String) = "/authorisations/proposals/{proposal}/withdraw";
    Authorisation(u64) = "/authorisations/{grant}";
    AuthorisationRevoke(u64) = "/authorisations/{grant}/revoke";

    /// The book itself: its pages, checkpoints, and packs to hand on.
    Book = "/book";
    BookPage(u64) = "/book/pages/{seq}";
    BookVerify = "/book/verify";
    Checkpoints = "/book/checkpoints";
    Checkpoint(u64) = "/book/checkpoints/{size}";
    Pack = "/book/pack";

    Units = "/units";
    Handover(UnitName) = "/units/{unit}";
    HandoverRead(UnitName) = "/units/{unit}/read";
    StartCheck(UnitName) = "/units/{unit}/start-check";
    Write(UnitName) = "/units/{unit}/write";
    WriteKind(UnitName, String) = "/units/{unit}/write/{kind}";
    /// The end-of-trip report while it is not signed.
    Report(UnitName) = "/units/{unit}/report";
    /// One entry of it: changed, taken out, or sent at once.
    EntryChange(UnitName, EntryId) = "/units/{unit}/report/{entry}/change";
    EntryOut(UnitName, EntryId) = "/units/{unit}/report/{entry}/out";
    EntrySend(UnitName, EntryId) = "/units/{unit}/report/{entry}/send";
    Receipt(ReportId) = "/reports/{id}";
    /// The run somebody is on, and its end: one signature for all its units.
    Run = "/run";
    RunClose = "/run/close";
    /// What one filed, and what became of it.
    Runs = "/runs";

    /// Keys that tablets sign with, and what they signed.
    Tablets = "/tablets";
    TabletRevoke(String) = "/tablets/keys/{id}/revoke";
    TabletAnswer(ReportId) = "/tablets/reports/{id}/answer";
    /// The page that works without network, and what it works with.
    Offline = "/offline";
    OfflineClass(String) = "/offline/classes/{class}";
    OfflineUnit(UnitName) = "/offline/units/{unit}";
    OfflineRun = "/offline/run";
    OfflineArea(UnitName) = "/offline/area/{unit}";
    Worker = "/worker.js";
    Manifest = "/manifest.webmanifest";

    /// What the shop measures.
    Measurements(UnitName) = "/units/{unit}/measurements";
    MeasurementNew(UnitName) = "/units/{unit}/measurements/new";
    Measurement(UnitName, String) = "/units/{unit}/measurements/{id}";
    Battery(String) = "/batteries/{name}";
    BreakerTable = "/breaker-table";
    /// What is inspected, what happened since, and what is printed of it.
    Inspections = "/inspections";
    UnitInspections(UnitName) = "/units/{unit}/inspections";
    SinceInspection(UnitName) = "/units/{unit}/since-inspection";
    Tag(UnitName) = "/units/{unit}/tag";
    Records(UnitName) = "/units/{unit}/records";
    /// Lists as files, and files into the book.
    Lists = "/lists";
    List(String) = "/lists/{name}";
    Import = "/import";
    ImportRows = "/import/rows";

    Health = "/health";
    ApiReports = "/api/v1/reports";
    ApiSignedReports = "/api/v1/signed-reports";
    ApiTabletKeys = "/api/v1/tablet-keys";
    ApiFindings = "/api/v1/findings";
    ApiBypasses = "/api/v1/bypasses";
    ApiEntries = "/api/v1/entries";
    ApiDocument = "/api/v1/openapi.json";
    /// The same to read.
    ApiPage = "/api";
}

fn write_pattern(f: &mut fmt::Formatter<'_>, pattern: &str, parts: &[&dyn Segment]) -> fmt::Result {
    let mut parts = parts.iter();
    for piece in pattern.split('/').skip(1) {
        f.write_str("/")?;
        match parts.as_slice().first() {
            Some(part) if piece.starts_with('{') => {
                f.write_str(&encoded(&part.text()))?;
                parts.next();
            }
            _ => f.write_str(piece)?,
        }
    }
    Ok(())
}

/// Percent-encoded but for what RFC 3986 leaves unreserved.
pub fn encoded(text: &str) -> String {
    use fmt::Write as _;
    text.bytes().fold(String::with_capacity(text.len()), |mut out, b| {
        if b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.' | b'_' | b'~') {
            out.push(char::from(b));
        } else {
            let _ = write!(out, "%{b:02X}");
        }
        out
    })
}

fn with_query(mut path: String, query: &[(&str, &str)]) -> String {
    let stated = query.iter().filter(|(_, value)| !value.is_empty());
    for (i, (name, value)) in stated.enumerate() {
        path.push(if i == 0 { '?' } else { '&' });
        path.push_str(&encoded(name));
        path.push('=');
        path.push_str(&encoded(value));
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_encoded_and_queries_leave_out_what_is_empty() {
        assert_eq!(Handover(UnitName::from("QHB 412")).to_string(), "/units/QHB-412");
        assert_eq!(Finding("burst:QHB 412:TC/2".into()).to_string(), "/findings/burst%3AQHB%20412%3ATC%2F2");
        assert_eq!(
            Triage.with(&[("unit", "QHB 412"), ("rule", ""), ("page", "2")]),
            "/triage?unit=QHB%20412&page=2"
        );
        assert_eq!(KeptDrop("7".into()).to_string(), "/kept/7/drop");
    }
}
