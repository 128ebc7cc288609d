//! What a page can say. Each kind has one body; reading an old page gives the same body back.
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use super::measure::{IntervalSet, MeasurementTaken, ShopTable};
pub use super::office_bodies::{GrantProposed, ProposalWithdrawn, ScheduleKept, UnitKept};
pub use super::shop_bodies::{CauseListed, ReleaseHow, RepairAmended, RepairWorked};
use crate::{
    base::{
        ClassName, EntryId, Instant, ReportId, SignIn, Stamp, Tag, UnitName, instant::as_text, words::words,
        zone::Day,
    },
    people::{Act, Role},
    reports::{Report, amendment::Amendment},
    roster::{Schedule, UnitCard},
    rules::ClassFigures,
    shop::inspections::InspectionDone,
};

words! {
    /// A supervisor's judgement of one bypass.
    pub enum Judgement { InOrder = "in_order", NotInOrder = "not_in_order", CannotTell = "cannot_tell", }
}
words! {
    /// Why a unit is kept from service.
    pub enum HoldReason { Repair = "repair", Inspection = "inspection", Stored = "stored", Away = "away", }
}

impl HoldReason {
    /// A day on which it was so for the whole of it is no service day. In the shop, under repair or inspection, a unit stays on
    /// the clock.
    pub fn leaves_the_clock(self) -> bool {
        matches!(self, Self::Stored | Self::Away)
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BookOpened {
    pub book_id: uuid::Uuid,
    pub railway: String,
    pub mark: String,
    pub time_zone: String,
    pub demo: bool,
}

/// Names and crafts are not in the book: only a salted digest of them, so that they can be erased.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PersonCard {
    pub sign_in: SignIn,
    pub role: Role,
    pub active: bool,
    pub name_digest: String,
    /// Why, where it was asked: on the page for it, not in a list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SecretChanged {
    pub sign_in: SignIn,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Grant {
    pub sign_in: SignIn,
    /// Empty: all classes.
    pub classes: Vec<ClassName>,
    pub from: Day,
    pub to: Option<Day>,
    pub basis: Option<String>,
    pub granted_by: SignIn,
    pub from_list: bool,
    /// Two people granted it: who proposed it, and by which proposal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proposed_by: Option<SignIn>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub proposal: Option<uuid::Uuid>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Revocation {
    /// The page that granted it.
    pub grant: u64,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Retirement {
    pub unit: UnitName,
    pub day: Day,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Statement {
    pub entry: EntryId,
    pub words: String,
}

/// Somebody signed what was not theirs to do: it was refused and changed nothing, and that it was tried stays.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ActRefused {
    pub act: Act,
    /// The id of what it was about.
    pub about: String,
    /// What the person was told.
    pub says: String,
}

/// The next crew read and understood what stood in the book at that size; `None`: it is not known what they saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandoverRead {
    pub unit: UnitName,
    pub tree_size: Option<u64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    pub unit: UnitName,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub reason: HoldReason,
    pub words: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Release {
    pub unit: UnitName,
    #[serde(with = "as_text")]
    pub at: Instant,
    pub words: Option<String>,
    /// `None`, as pages were before it was asked: into service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<ReleaseHow>,
    /// What the crew must keep to until the shop lifts it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub restrictions: Option<String>,
    /// What the one who signs looked at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub checked: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairOpened {
    pub id: uuid::Uuid,
    pub unit: UnitName,
    pub device: Option<Tag>,
    #[serde(with = "as_text")]
    pub at: Instant,
    /// Keys of the findings it is to answer; none, and no entries: found in shop.
    pub findings: Vec<String>,
    /// What else of the unit it is of; `None` in the list is the unit itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<Option<Tag>>,
    /// The entries it is to answer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub entries: Vec<EntryId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairClosed {
    pub id: uuid::Uuid,
    #[serde(with = "as_text")]
    pub at: Instant,
    /// In the shop's words; `no fault found` and `not known` are causes too.
    pub cause: String,
    pub words: Option<String>,
    /// The device itself was replaced: a new life begins.
    pub new_life: bool,
    /// By the same device of this unit, which got none for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used_from: Option<UnitName>,
    /// By the same device of this unit, which got this one's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub swapped_with: Option<UnitName>,
    /// Those of the other devices it is of that were replaced, too.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also_new: Vec<Tag>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<String>,
}

impl RepairClosed {
    /// What the shop writes for a cause it did not find.
    pub fn no_fault_found(&self) -> bool {
        crate::shop::is_no_fault_found(&self.cause)
    }

    /// The unit that the part now in `unit` came from.
    pub fn came_from(&self, unit: &UnitName) -> Option<&UnitName> {
        self.swapped_with.as_ref().or(self.used_from.as_ref()).filter(|from| *from != unit)
    }
}

/// Settings of the rules, changed: by name, what they were and what they are from here on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ThresholdsChanged {
    pub changes: Vec<Change>,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Change {
    pub setting: String,
    pub old: f64,
    pub new: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    pub rule: crate::rules::Rule,
    pub unit: UnitName,
    pub device: Option<Tag>,
    #[serde(with = "as_text")]
    pub until: Instant,
    pub reason: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Review {
    pub bypass: EntryId,
    pub unit: UnitName,
    /// The highest page the bypass rested on when it was judged.
    pub last_seq: u64,
    pub judgement: Judgement,
    pub words: String,
}

/// A tablet made a signing key for a person, within minutes of their password at an online sign-in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TabletKeyRegistered {
    pub key: uuid::Uuid,
    pub sign_in: SignIn,
    /// P-256, as an uncompressed point of SEC 1 in hexadecimal: whoever has the book can check every signature.
    pub public_key: String,
    #[serde(with = "as_text")]
    pub until: Instant,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TabletKeyRevoked {
    pub key: uuid::Uuid,
    pub reason: String,
}

/// What a tablet's key signed for a report that came without a session: filed together with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TabletSigned {
    pub report: ReportId,
    pub key: uuid::Uuid,
    /// The very bytes that were signed.
    pub signed: String,
    /// ECDSA over their SHA-256: r and s in hexadecimal.
    pub signature: String,
    /// The tablet's clock when it sent them, beside which `recorded_at` is ours.
    pub clock: Option<Stamp>,
}

/// Its author, asked for the password again, says whether a report from a tablet is theirs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TabletAnswered {
    pub report: ReportId,
    pub mine: bool,
    pub words: Option<String>,
}

/// Somebody lost all that their one-time codes came from: an administrator, or whoever has the machine, cleared them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CodesCleared {
    pub sign_in: SignIn,
    pub reason: String,
}

macro_rules! bodies {
    ($($variant:ident($body:ty) = $kind:literal,)*) => {
        #[derive(Clone, Debug, PartialEq)]
        pub enum Body { $($variant(Box<$body>),)* }

        impl Body {
            pub fn kind(&self) -> &'static str {
                match self { $(Self::$variant(_) => $kind,)* }
            }
            pub fn to_raw(&self) -> Result<Box<RawValue>, serde_json::Error> {
                match self { $(Self::$variant(body) => serde_json::value::to_raw_value(body),)* }
            }
            /// Reads the body of a stored page; the error says what does not fit.
            pub fn read(kind: &str, raw: &RawValue) -> Result<Self, String> {
                match kind {
                    $($kind => <$body as FromPage>::from_page(raw).map(|b| Self::$variant(Box::new(b))),)*
                    other => Err(format!("this program knows no page of kind {other:?}")),
                }
            }
        }
    };
}

bodies! {
    BookOpened(BookOpened) = "book_opened",
    PersonAdded(PersonCard) = "person_added",
    PersonChanged(PersonCard) = "person_changed",
    PasswordSet(SecretChanged) = "password_set",
    TokenMade(SecretChanged) = "token_made",
    AuthorisationGranted(Grant) = "authorisation_granted",
    AuthorisationRevoked(Revocation) = "authorisation_revoked",
    ScheduleIssued(Schedule) = "schedule_issued",
    UnitAdded(UnitCard) = "unit_added",
    UnitChanged(UnitCard) = "unit_changed",
    UnitRetired(Retirement) = "unit_retired",
    ReportFiled(Report) = "report_filed",
    EntryAmended(Amendment) = "entry_amended",
    StatementAdded(Statement) = "statement_added",
    HandoverRead(HandoverRead) = "handover_read",
    UnitHeld(Hold) = "unit_held",
    UnitReleased(Release) = "unit_released",
    RepairOpened(RepairOpened) = "repair_opened",
    RepairClosed(RepairClosed) = "repair_closed",
    FindingSetAside(SetAside) = "finding_set_aside",
    BypassReviewed(Review) = "bypass_reviewed",
    ClassFiguresTaken(ClassFigures) = "class_figures_taken",
    ThresholdsChanged(ThresholdsChanged) = "thresholds_changed",
    TabletKeyRegistered(TabletKeyRegistered) = "tablet_key_registered",
    TabletKeyRevoked(TabletKeyRevoked) = "tablet_key_revoked",
    TabletSigned(TabletSigned) = "tablet_signed",
    TabletAnswered(TabletAnswered) = "tablet_answered",
    MeasurementTaken(MeasurementTaken) = "measurement_taken",
    InspectionDone(InspectionDone) = "inspection_done",
    InspectionIntervalSet(IntervalSet) = "inspection_interval_set",
    ShopTableKept(ShopTable) = "shop_table_kept",
    RepairWorked(RepairWorked) = "repair_worked",
    RepairAmended(RepairAmended) = "repair_amended",
    CauseListed(CauseListed) = "cause_listed",
    ActRefused(ActRefused) = "act_refused",
    CodesSet(SecretChanged) = "codes_set",
    TokenRevoked(SecretChanged) = "token_revoked",
    CodesCleared(CodesCleared) = "codes_cleared",
    GrantProposed(GrantProposed) = "authorisation_proposed",
    ProposalWithdrawn(ProposalWithdrawn) = "proposal_withdrawn",
    UnitKept(UnitKept) = "unit_kept",
    ScheduleKept(ScheduleKept) = "schedule_kept",
}

/// How a stored body is read: the contract's own reader for reports and amendments, serde for the rest.
trait FromPage: Sized {
    fn from_page(raw: &RawValue) -> Result<Self, String>;
}

macro_rules! by_serde {
    ($($body:ty)*) => {$(
        impl FromPage for $body {
            fn from_page(raw: &RawValue) -> Result<Self, String> {
                serde_json::from_str(raw.get()).map_err(|why| why.to_string())
            }
        }
    )*};
}
by_serde!(BookOpened PersonCard SecretChanged Grant Revocation Schedule UnitCard Retirement Statement HandoverRead Hold Release
    RepairOpened RepairClosed SetAside Review ClassFigures ThresholdsChanged TabletKeyRegistered TabletKeyRevoked
    TabletSigned TabletAnswered MeasurementTaken InspectionDone IntervalSet ShopTable RepairWorked RepairAmended
    CauseListed ActRefused CodesCleared GrantProposed ProposalWithdrawn UnitKept ScheduleKept);

impl FromPage for Report {
    fn from_page(raw: &RawValue) -> Result<Self, String> {
        crate::reports::stored::report(raw.get())
    }
}
impl FromPage for Amendment {
    fn from_page(raw: &RawValue) -> Result<Self, String> {
        crate::reports::stored::amendment(raw.get())
    }
}
