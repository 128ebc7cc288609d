//! The eight kinds of entry and what each holds.
use serde::{Serialize, ser::SerializeMap};

use super::{
    entry::{DeviceRef, Seal, Who},
    reading::fields::Fields,
    vocabulary::{
        After, AuthorisedHow, Basis, Circuit, FuseResult, FuseSpeed, GroundReset, Handling, Left, MayGoOn,
        Mode, Motors, Outcome, Protection, Purpose, ResetResult, Seen, ShutdownCause, TestCock, TestedWith,
        YesNo,
    },
};
use crate::base::{Stamp, words::words};

words! {
    pub enum Kind {
        BreakerTrip = "breaker_trip", GroundRelay = "ground_relay", Bypass = "bypass", FuseCheck = "fuse_check",
        EngineStart = "engine_start", Shutdown = "shutdown", Defect = "defect", Position = "position",
    }
}

impl Kind {
    /// The names of the two time fields, of which an entry has exactly one.
    pub fn time_fields(self) -> (&'static str, &'static str) {
        if self == Self::Bypass { ("opened_at", "found_open_at") } else { ("at", "found_at") }
    }

    /// The fields that this kind has beside those of every entry.
    pub(super) fn own_fields(self) -> &'static [&'static str] {
        match self {
            Self::BreakerTrip => BreakerTrip::FIELDS,
            Self::GroundRelay => GroundRelay::FIELDS,
            Self::Bypass => Bypass::FIELDS,
            Self::FuseCheck => FuseCheck::FIELDS,
            Self::EngineStart => EngineStart::FIELDS,
            Self::Shutdown => Shutdown::FIELDS,
            Self::Defect => Defect::FIELDS,
            Self::Position => Position::FIELDS,
        }
    }

    /// As pages say it: `ground-relay operation`.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::BreakerTrip => "breaker trip",
            Self::GroundRelay => "ground-relay operation",
            Self::Bypass => "ground-relay cutout opened",
            Self::FuseCheck => "fuse check",
            Self::EngineStart => "engine start",
            Self::Shutdown => "shutdown",
            Self::Defect => "defect",
            Self::Position => "position",
        }
    }
}

#[derive(Clone, Debug, PartialEq)]
pub enum What {
    BreakerTrip(BreakerTrip),
    GroundRelay(GroundRelay),
    Bypass(Bypass),
    FuseCheck(FuseCheck),
    EngineStart(EngineStart),
    Shutdown(Shutdown),
    Defect(Defect),
    Position(Position),
}

/// One struct for each kind, read and written field by field, so that neither can forget one. `None` and an
/// empty list are 'not stated' and are not written out.
macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident { $($field:ident: $type:ty,)* })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $name { $(pub $field: $type,)* }

        impl $name {
            pub(super) const FIELDS: &'static [&'static str] = &[$(stringify!($field),)*];

            /// Every field is read before the first bad one is given up on, so that all problems are found.
            pub(super) fn read(fields: &mut Fields) -> Option<Self> {
                $(let $field = fields.take(stringify!($field));)*
                Some(Self { $($field: $field?,)* })
            }

            /// How an entry of this kind is sent.
            fn schema(all: &mut schemars::SchemaGenerator) -> schemars::Schema {
                let own = vec![$(<$type as super::schemas::Held>::field(stringify!($field), all),)*];
                super::schemas::entry(Kind::$name, own, all)
            }

            fn serialize_into<M: SerializeMap>(&self, map: &mut M) -> Result<(), M::Error> {
                $(Stated::put(&self.$field, stringify!($field), map)?;)*
                Ok(())
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(all: &mut schemars::SchemaGenerator) -> schemars::Schema {
                Self::schema(all)
            }
        }
    )*};
}

/// How a field is written out: optional ones only when stated.
trait Stated {
    fn put<M: SerializeMap>(&self, name: &'static str, map: &mut M) -> Result<(), M::Error>;
}
impl<T: Serialize> Stated for Option<T> {
    fn put<M: SerializeMap>(&self, name: &'static str, map: &mut M) -> Result<(), M::Error> {
        self.as_ref().map_or(Ok(()), |value| map.serialize_entry(name, value))
    }
}
impl<T: Serialize> Stated for Vec<T> {
    fn put<M: SerializeMap>(&self, name: &'static str, map: &mut M) -> Result<(), M::Error> {
        if self.is_empty() { Ok(()) } else { map.serialize_entry(name, self) }
    }
}
macro_rules! always_stated {
    ($($type:ty)*) => {$(
        impl Stated for $type {
            fn put<M: SerializeMap>(&self, name: &'static str, map: &mut M) -> Result<(), M::Error> {
                map.serialize_entry(name, self)
            }
        }
    )*};
}
always_stated!(DeviceRef Left FuseResult Outcome Seen String u32 Basis);

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reset {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<Stamp>,
    /// Not stated is stored as `not_determined`, with a warning.
    pub basis: Basis,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub told_by: Option<Who>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub result: Option<ResetResult>,
}

/// The four figures by which one fuse may stand in for another.
#[derive(Clone, Debug, PartialEq, Serialize, Default)]
pub struct Fuse {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rating_a: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rating_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed: Option<FuseSpeed>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body: Option<String>,
}

kinds! {
    /// A breaker opened by itself.
    BreakerTrip { device: DeviceRef, resets: Vec<Reset>, left: Left, }
    /// `device` may be null: most crews know that it operated, not which relay it was.
    GroundRelay {
        device: Option<DeviceRef>, operations: Option<u32>, last_at: Option<Stamp>, mode: Option<Mode>, circuit: Option<Circuit>,
        reset: Option<GroundReset>, after: Option<After>, motors_cut_out: Vec<String>,
    }
    /// The ground-relay cutout switch opened, or found open.
    Bypass {
        device: DeviceRef, by: Option<Who>, authorised_by: Option<Who>, authorised_how: Option<AuthorisedHow>,
        authorised_at: Option<Stamp>, reference: Option<String>, purpose: Option<Purpose>, engine_running: Option<YesNo>,
        power_taken: Option<YesNo>, protection: Option<Protection>, seal_found: Option<Seal>, closed_at: Option<Stamp>,
        closed_by: Option<Who>, seal_applied: Option<Seal>,
    }
    FuseCheck {
        device: DeviceRef, result: FuseResult, tested_with: Option<TestedWith>, fitted: Option<Fuse>, replaced_by: Option<Fuse>,
        basis: Option<Basis>, handling: Option<Handling>,
    }
    EngineStart {
        attempt: Option<u32>, after_long_shutdown: Option<YesNo>, test_cock_result: Option<TestCock>, motors: Option<Motors>,
        battery_rest_v: Option<f64>, battery_cranking_v: Option<f64>, main_reservoir_psi: Option<f64>, outcome: Outcome,
    }
    Shutdown { cause: Option<ShutdownCause>, water_drained: Option<YesNo>, warning_notice: Option<String>, }
    Defect {
        system: Option<String>, text: Option<String>, may_go_on: Option<MayGoOn>, restriction: Option<String>,
        warning_notice: Option<String>,
    }
    /// A device as somebody found or moved it.
    Position {
        device: DeviceRef, seen: Seen, moved_to: Option<Seen>, by: Option<Who>, why: Option<String>, reference: Option<String>,
        seal: Option<Seal>,
    }
}

impl What {
    pub fn kind(&self) -> Kind {
        match self {
            Self::BreakerTrip(_) => Kind::BreakerTrip,
            Self::GroundRelay(_) => Kind::GroundRelay,
            Self::Bypass(_) => Kind::Bypass,
            Self::FuseCheck(_) => Kind::FuseCheck,
            Self::EngineStart(_) => Kind::EngineStart,
            Self::Shutdown(_) => Kind::Shutdown,
            Self::Defect(_) => Kind::Defect,
            Self::Position(_) => Kind::Position,
        }
    }

    pub fn device(&self) -> Option<&DeviceRef> {
        match self {
            Self::BreakerTrip(BreakerTrip { device, .. })
            | Self::Bypass(Bypass { device, .. })
            | Self::FuseCheck(FuseCheck { device, .. })
            | Self::Position(Position { device, .. }) => Some(device),
            Self::GroundRelay(GroundRelay { device, .. }) => device.as_ref(),
            Self::EngineStart(_) | Self::Shutdown(_) | Self::Defect(_) => None,
        }
    }

    pub(super) fn read(kind: Kind, fields: &mut Fields) -> Option<Self> {
        match kind {
            Kind::BreakerTrip => BreakerTrip::read(fields).map(Self::BreakerTrip),
            Kind::GroundRelay => GroundRelay::read(fields).map(Self::GroundRelay),
            Kind::Bypass => Bypass::read(fields).map(Self::Bypass),
            Kind::FuseCheck => FuseCheck::read(fields).map(Self::FuseCheck),
            Kind::EngineStart => EngineStart::read(fields).map(Self::EngineStart),
            Kind::Shutdown => Shutdown::read(fields).map(Self::Shutdown),
            Kind::Defect => Defect::read(fields).map(Self::Defect),
            Kind::Position => Position::read(fields).map(Self::Position),
        }
    }

    pub(super) fn serialize_into<M: SerializeMap>(&self, map: &mut M) -> Result<(), M::Error> {
        match self {
            Self::BreakerTrip(x) => x.serialize_into(map),
            Self::GroundRelay(x) => x.serialize_into(map),
            Self::Bypass(x) => x.serialize_into(map),
            Self::FuseCheck(x) => x.serialize_into(map),
            Self::EngineStart(x) => x.serialize_into(map),
            Self::Shutdown(x) => x.serialize_into(map),
            Self::Defect(x) => x.serialize_into(map),
            Self::Position(x) => x.serialize_into(map),
        }
    }
}
