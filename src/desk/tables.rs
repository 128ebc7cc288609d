//! The projections' rows, a struct for each table of `projections.sql`.
use std::sync::LazyLock;

use serde::Serialize;

use super::rows::{Rows, Script, table_row};
use crate::{
    base::{ClassName, EntryId, Instant, ReportId, SignIn, Tag, UnitName},
    book::Channel,
    reports::{
        kinds::Kind,
        vocabulary::{Occasion, RunPosition, Throttle, Weather},
    },
    rules::Rule,
};

table_row! {
    HeadRow into "head" ["ON CONFLICT (one) DO UPDATE SET size = excluded.size, root = excluded.root,
        frontier = excluded.frontier, world_seq = excluded.world_seq"] {
        one: u8, size: u64, root: String as bytes, frontier: String as bytes, world_seq: u64,
    }
}
table_row! { PageRow into "page" [""] { seq: u64, blob: String, leaf: String as bytes, } }
table_row! {
    ReportRow into "report" [""] {
        seq: u64, id: ReportId, unit: UnitName, class: Option<ClassName>, author: SignIn, channel: Channel,
        entered_by: Option<SignIn>, occasion: Occasion, is_final: bool, symbol: Option<String>, run_from: Option<String>,
        run_to: Option<String>, started: Instant, ended: Option<Instant>, position: Option<RunPosition>,
        weather: Option<Weather>, consist: Option<String>, remarks: Option<String>, entries: usize, signed_at: Instant, recorded_at: Instant,
        sha256: String, root: String,
    }
}
table_row! {
    EntryRow into "entry" [""] {
        id: EntryId, seq: u64, report: ReportId, place_in: usize, unit: UnitName, class: Option<ClassName>, kind: Kind,
        at: Instant, found: bool, device: Option<String>, place: Option<String>, throttle: Option<Throttle>, author: SignIn,
        channel: Channel, recorded_at: Instant, amended: Option<String>, withdrawn: bool, detail: String,
    }
}

impl EntryRow {
    /// For entries as an amendment left them. New ones go in by the plain statement, which needs no journal.
    pub fn again() -> Rows {
        static SQL: LazyLock<String> = LazyLock::new(|| {
            let tail = "ON CONFLICT (id) DO UPDATE SET class = excluded.class, kind = excluded.kind, at = excluded.at,
                found = excluded.found, device = excluded.device, place = excluded.place, throttle = excluded.throttle,
                amended = excluded.amended, withdrawn = excluded.withdrawn, detail = excluded.detail";
            Rows::sql_into("", "entry", &EntryRow::columns(), tail)
        });
        Rows::running(&SQL)
    }
}

table_row! {
    AmendmentRow into "amendment" [""] {
        seq: u64, id: uuid::Uuid, entry: EntryId, report: ReportId, author: SignIn, at: Instant, reason: String,
        before: String, replacement: Option<String>,
    }
}
table_row! { StatementRow into "statement" [""] { seq: u64, entry: EntryId, author: SignIn, at: Instant, words: String, } }
table_row! { HandoverRow into "handover_read" [""] { seq: u64, unit: UnitName, by: SignIn, at: Instant, } }
table_row! { PersonRow into "person" ["ON CONFLICT (sign_in) DO UPDATE SET card = excluded.card"] { sign_in: SignIn, card: String, } }
table_row! { AuthorisationRow into "authorisation" ["ON CONFLICT (seq) DO UPDATE SET card = excluded.card"] { seq: u64, card: String, } }
table_row! { ScheduleRow into "class_schedule" [""] { class: ClassName, seq: u64, effective: Instant, schedule: String, } }
table_row! { UnitRow into "unit_card" ["ON CONFLICT (unit) DO UPDATE SET card = excluded.card"] { unit: UnitName, card: String, } }
table_row! { FiguresRow into "class_figures" ["ON CONFLICT (one) DO UPDATE SET seq = excluded.seq, figures = excluded.figures"] { one: u8, seq: u64, figures: String, } }
table_row! { UnitHistoryRow into "unit_history" ["ON CONFLICT (unit) DO UPDATE SET days = excluded.days, weather = excluded.weather,
holds = excluded.holds"] { unit: UnitName, days: String as bytes, weather: String as bytes, holds: String, } }
table_row! { ThresholdsRow into "thresholds" [""] { seq: u64, by: SignIn, at: Instant, reason: String, changes: String, settings: String, } }
table_row! {
    DossierRow into "dossier" ["ON CONFLICT (unit, subject) DO UPDATE SET rests_before = excluded.rests_before,
        waits_for = excluded.waits_for, on_weather = excluded.on_weather,
        findings = excluded.findings, reckoned = excluded.reckoned, bypasses = excluded.bypasses, idle = excluded.idle,
        watched_until = excluded.watched_until, left_until = excluded.left_until, again_until = excluded.again_until"] {
        unit: UnitName, subject: String, rests_before: Option<Instant>, waits_for: Option<i64>, on_weather: bool, findings: String as bytes, reckoned: String as bytes,
        bypasses: i64, idle: bool, watched_until: Option<Instant>, left_until: Option<Instant>, again_until: Option<Instant>,
    }
}
table_row! {
    FindingRow into "finding" [""] {
        key: String, unit: UnitName, subject: String, rule: Rule, device: Option<Tag>, class: Option<ClassName>,
        since: Instant, until: Option<Instant>, severity: f64, rank: Option<f64>, print: i64, data: String,
    }
}
table_row! { BypassRow into "bypass" [""] { id: EntryId, unit: UnitName, device: Tag, begins: Instant, closed_at: Option<Instant>, data: String, } }
table_row! {
    ReviewRow into "review" [""] {
        seq: u64, bypass: EntryId, unit: UnitName, by: SignIn, at: Instant, last_seq: u64, judgement: super::body::Judgement,
        words: String,
    }
}
table_row! {
    RefusedRow into "act_refused" [""] {
        seq: u64, act: crate::people::Act, about: String, by: SignIn, at: Instant, says: String,
    }
}
table_row! {
    RepairRow into "repair" ["ON CONFLICT (id) DO UPDATE SET closed_at = excluded.closed_at, closed_by = excluded.closed_by,
        data = excluded.data"] {
        id: uuid::Uuid, unit: UnitName, device: Option<Tag>, opened_at: Instant, opened_by: SignIn, closed_at: Option<Instant>,
        closed_by: Option<SignIn>, data: String,
    }
}
table_row! {
    SetAsideRow into "set_aside" [""] {
        seq: u64, rule: Rule, unit: UnitName, device: Option<Tag>, by: SignIn, at: Instant, until: Instant, reason: String,
    }
}
table_row! {
    HoldRow into "unit_hold" [""] {
        seq: u64, unit: UnitName, at: Instant, reason: super::body::HoldReason, by: SignIn, words: Option<String>,
    }
}
table_row! {
    ReleaseRow into "unit_release" [""] {
        seq: u64, unit: UnitName, at: Instant, how: super::body::ReleaseHow, by: SignIn, restrictions: Option<String>,
        checked: Option<String>, words: Option<String>,
    }
}
table_row! {
    CauseRow into "cause" ["ON CONFLICT (key) DO UPDATE SET cause = excluded.cause, listed = excluded.listed, by = excluded.by,
        at = excluded.at"] {
        key: String, cause: String, listed: bool, by: SignIn, at: Instant,
    }
}
table_row! {
    TabletKeyRow into "tablet_key" ["ON CONFLICT (id) DO UPDATE SET revoked_at = excluded.revoked_at, card = excluded.card"] {
        id: uuid::Uuid, sign_in: SignIn, until: Instant, revoked_at: Option<Instant>, card: String,
    }
}
table_row! {
    TabletReportRow into "tablet_report" ["ON CONFLICT (report) DO UPDATE SET answered_at = excluded.answered_at, card = excluded.card"] {
        report: ReportId, author: SignIn, received_at: Instant, answered_at: Option<Instant>, card: String,
    }
}
table_row! {
    MeasurementRow into "measurement" [""] {
        id: uuid::Uuid, seq: u64, unit: UnitName, repair: Option<uuid::Uuid>, kind: &'static str, subject: Option<String>,
        taken_at: Instant, by: SignIn, verdict: &'static str, data: String,
    }
}
table_row! {
    InspectionRow into "inspection" [""] {
        id: uuid::Uuid, seq: u64, unit: UnitName, kind: &'static str, done_at: Instant, by: SignIn, data: String,
    }
}
table_row! {
    IntervalRow into "inspection_interval" ["ON CONFLICT (what, name) DO UPDATE SET seq = excluded.seq, by = excluded.by,
        at = excluded.at, days = excluded.days, reason = excluded.reason"] {
        what: &'static str, name: String, seq: u64, by: SignIn, at: Instant, days: i32, reason: String,
    }
}
table_row! {
    ShopTableRow into "shop_table" ["ON CONFLICT (name) DO UPDATE SET seq = excluded.seq, by = excluded.by, at = excluded.at,
        data = excluded.data"] { name: String, seq: u64, by: SignIn, at: Instant, data: String, }
}
table_row! { ProposalRow into "authorisation_proposal" ["ON CONFLICT (id) DO UPDATE SET card = excluded.card"] { id: uuid::Uuid, card: String, } }

/// Whoever leaves is signed out everywhere, in the same transaction: rows are a sign-in name and the moment.
pub struct Ended;

impl Ended {
    pub fn sessions() -> Rows {
        Rows::running(
            "UPDATE session SET ended_at = gone.value->>1 FROM jsonb_each(?) gone
            WHERE session.sign_in = gone.value->>0 AND session.ended_at IS NULL",
        )
    }

    pub fn tokens() -> Rows {
        Rows::running(
            "UPDATE token SET revoked_at = gone.value->>1 FROM jsonb_each(?) gone
            WHERE token.sign_in = gone.value->>0 AND token.revoked_at IS NULL",
        )
    }
}
table_row! { PersonNameRow into "person_name" ["ON CONFLICT (sign_in) DO UPDATE SET name = excluded.name, craft = excluded.craft, salt = excluded.salt"] { sign_in: SignIn, name: String, craft: String, salt: String as bytes, } }
table_row! { PasswordRow into "password" ["ON CONFLICT (sign_in) DO UPDATE SET hash = excluded.hash, set_at = excluded.set_at, one_time = excluded.one_time"] { sign_in: SignIn, hash: String, set_at: Instant, one_time: bool, } }
table_row! { TokenRow into "token" [""] { token_hash: String as bytes, sign_in: SignIn, created_at: Instant, } }

macro_rules! waiting {
    (@ $row:ident) => { $row::table() };
    (@ $row:ident $made:ident) => { $row::$made() };
    ($($field:ident: $row:ident $(by $made:ident)?,)*) => {
        /// What waits to be written, a list for each table, in the order in which it is written.
        #[derive(Debug)]
        pub struct Waiting { $(pub $field: Rows,)* }

        impl Default for Waiting {
            fn default() -> Self {
                Self { $($field: waiting!(@ $row $($made)?),)* }
            }
        }
        impl Waiting {
            /// What waits, in the order in which it is written.
            pub fn script(&mut self) -> Result<Script, sqlx::Error> {
                Script::of([$(&mut self.$field,)*])
            }
        }
    };
}
waiting! {
    pages: PageRow, reports: ReportRow, entries: EntryRow, entries_again: EntryRow by again, amendments: AmendmentRow, statements: StatementRow,
    handovers: HandoverRow, persons: PersonRow, authorisations: AuthorisationRow, schedules: ScheduleRow, units: UnitRow,
    figures: FiguresRow, thresholds: ThresholdsRow, reviews: ReviewRow, refusals: RefusedRow, repairs: RepairRow, set_asides: SetAsideRow,
    tablet_keys: TabletKeyRow, tablet_reports: TabletReportRow, names: PersonNameRow,
    measurements: MeasurementRow, inspections: InspectionRow, intervals: IntervalRow, shop_tables: ShopTableRow,
    passwords: PasswordRow, tokens: TokenRow,
    holds: HoldRow, releases: ReleaseRow, causes: CauseRow, proposals: ProposalRow,
    sessions_ended: Ended by sessions, tokens_ended: Ended by tokens,
}

/// What judging writes, after the rows it may have to read are in.
#[derive(Debug)]
pub struct Judged {
    pub histories: Rows,
    pub dossiers: Rows,
    /// Dossiers of which nothing is left.
    pub no_ends: Rows,
    pub ends: Rows,
    /// Dossiers with fewer parts than before, and from which part on there are none but the end.
    pub surplus_parts: Rows,
    pub parts: Rows,
    /// The same of chunks of outlines.
    pub surplus_outlines: Rows,
    pub outlines: Rows,
    /// Subjects of which every finding goes before the new ones come.
    pub cleared: Rows,
    /// Single findings that go, by print.
    pub gone: Rows,
    pub findings: Rows,
    /// Units whose bypasses go before the new ones come.
    pub cleared_bypasses: Rows,
    pub bypasses: Rows,
}

const NO_ENDS: &str =
    "DELETE FROM dossier_end WHERE (unit, subject) IN (SELECT value->>0, value->>1 FROM jsonb_each(?))";
const ENDS: &str = "INSERT OR FAIL INTO dossier_end (unit, subject, part, chunk, packed, facts)
    SELECT value->>0, value->>1, value->>2, value->>3, iif(value->>3 IS NULL, NULL, substr(?, value->>4, value->>5)),
        substr(?, value->>6, value->>7)
    FROM jsonb_each(?) WHERE true
    ON CONFLICT (unit, subject) DO UPDATE SET part = excluded.part, chunk = excluded.chunk, packed = excluded.packed,
        facts = excluded.facts";
const SURPLUS_PARTS: &str = "DELETE FROM dossier_part WHERE rowid IN (SELECT p.rowid FROM jsonb_each(?) g
    JOIN dossier_part p ON p.unit = g.value->>0 AND p.subject = g.value->>1 AND p.part >= g.value->>2)";
const PARTS: &str = "INSERT OR FAIL INTO dossier_part (unit, subject, part, facts)
    SELECT value->>0, value->>1, value->>2, substr(?, value->>3, value->>4) FROM jsonb_each(?) WHERE true
    ON CONFLICT (unit, subject, part) DO UPDATE SET facts = excluded.facts";
const SURPLUS_OUTLINES: &str =
    "DELETE FROM dossier_outline WHERE rowid IN (SELECT o.rowid FROM jsonb_each(?) g
    JOIN dossier_outline o ON o.unit = g.value->>0 AND o.subject = g.value->>1 AND o.chunk >= g.value->>2)";
const OUTLINES: &str = "INSERT OR FAIL INTO dossier_outline (unit, subject, chunk, packed)
    SELECT value->>0, value->>1, value->>2, substr(?, value->>3, value->>4) FROM jsonb_each(?) WHERE true
    ON CONFLICT (unit, subject, chunk) DO UPDATE SET packed = excluded.packed";
const CLEARED: &str =
    "DELETE FROM finding WHERE (unit, subject) IN (SELECT value->>0, value->>1 FROM jsonb_each(?))";
const GONE: &str = "DELETE FROM finding WHERE rowid IN (SELECT f.rowid FROM jsonb_each(?) g
    JOIN finding f ON f.unit = g.value->>0 AND f.subject = g.value->>1 AND f.print = g.value->>2)";
const CLEARED_BYPASSES: &str = "DELETE FROM bypass WHERE unit IN (SELECT value FROM jsonb_each(?))";

impl Default for Judged {
    fn default() -> Self {
        Self {
            histories: UnitHistoryRow::table(),
            dossiers: DossierRow::table(),
            no_ends: Rows::running(NO_ENDS),
            ends: Rows::cutting(ENDS, 2),
            surplus_parts: Rows::running(SURPLUS_PARTS),
            parts: Rows::cutting(PARTS, 1),
            surplus_outlines: Rows::running(SURPLUS_OUTLINES),
            outlines: Rows::cutting(OUTLINES, 1),
            cleared: Rows::running(CLEARED),
            gone: Rows::running(GONE),
            findings: FindingRow::table(),
            cleared_bypasses: Rows::running(CLEARED_BYPASSES),
            bypasses: BypassRow::table(),
        }
    }
}

impl Judged {
    /// What waits, in the order in which it is written.
    pub fn script(&mut self) -> Result<Script, sqlx::Error> {
        Script::of([
            &mut self.histories,
            &mut self.dossiers,
            &mut self.no_ends,
            &mut self.ends,
            &mut self.surplus_parts,
            &mut self.parts,
            &mut self.surplus_outlines,
            &mut self.outlines,
            &mut self.cleared,
            &mut self.gone,
            &mut self.findings,
            &mut self.cleared_bypasses,
            &mut self.bypasses,
        ])
    }
}

/// JSON as it is kept in a text column.
pub fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).unwrap_or_else(|_| "null".to_owned())
}
