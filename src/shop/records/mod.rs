//! Everything the book holds about one unit, for whoever inspects it: each record as it was filed, each amendment apart.
pub mod store;

use crate::base::Instant;

/// One record, ready to be said: what kind, when, by whom, where in the book.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    pub seq: i64,
    pub at: Instant,
    pub recorded_at: Option<Instant>,
    pub by: String,
    pub what: What,
    pub data: String,
    /// As it stood before an amendment, if it is one.
    pub before: Option<String>,
}

crate::base::words::words! {
    pub enum What {
        Report = "report", Entry = "entry", Amendment = "amendment", Statement = "statement", Handover = "handover_read",
        RepairOpened = "repair_opened", RepairClosed = "repair_closed", Measurement = "measurement", Inspection = "inspection",
        Held = "held", Released = "released",
    }
}

impl What {
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Report => "report",
            Self::Entry => "entry",
            Self::Amendment => "amendment",
            Self::Statement => "statement",
            Self::Handover => "handover read",
            Self::RepairOpened => "repair opened",
            Self::RepairClosed => "repair closed",
            Self::Measurement => "measurement",
            Self::Inspection => "inspection",
            Self::Held => "held",
            Self::Released => "released",
        }
    }
}
