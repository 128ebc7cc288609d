//! Who may do what: one table of roles and acts. Ask for the act, never for the rank.
use super::{Person, Role};
use crate::base::{SignIn, words::words};

words! {
    pub enum Act {
        ReadUnits = "read_units",
        FileReport = "file_report",
        ReadHandover = "read_handover",
        AmendEntry = "amend_entry",
        MakeStatement = "make_statement",
        ReadBoard = "read_board",
        WorkOnUnits = "work_on_units",
        ReadBypasses = "read_bypasses",
        ReviewBypass = "review_bypass",
        GrantAuthorisation = "grant_authorisation",
        KeepRoster = "keep_roster",
        KeepPeople = "keep_people",
        ReadPages = "read_pages",
        SignBook = "sign_book",
        ChangeThresholds = "change_thresholds",
        ImportEntries = "import_entries",
        KeepBackups = "keep_backups",
        KeepCodes = "keep_codes",
        ReadNotices = "read_notices",
        KeepNotices = "keep_notices",
    }
}

impl Act {
    /// The table. A row per act; who holds one of these roles may.
    pub fn roles(self) -> &'static [Role] {
        use Role::{Administrator, Crew, Shop, Supervisor};
        match self {
            Self::ReadUnits | Self::FileReport | Self::ReadHandover | Self::MakeStatement => {
                &[Crew, Shop, Supervisor, Administrator]
            }
            // The author of a report is let through by the desk, for their own entries only.
            Self::AmendEntry => &[Crew, Shop, Supervisor, Administrator],
            Self::ReadBoard => &[Shop, Supervisor, Administrator],
            Self::WorkOnUnits => &[Shop],
            Self::ImportEntries => &[Shop, Administrator],
            Self::ReadBypasses => &[Supervisor, Administrator],
            Self::ReviewBypass | Self::GrantAuthorisation => &[Supervisor],
            Self::KeepRoster | Self::KeepPeople => &[Administrator],
            Self::KeepBackups => &[Administrator],
            Self::KeepCodes => &[Supervisor, Administrator],
            Self::ReadNotices => &[Shop, Supervisor, Administrator],
            Self::KeepNotices => &[Administrator],
            Self::ReadPages | Self::SignBook | Self::ChangeThresholds => &[Supervisor, Administrator],
        }
    }
}

/// Proof that somebody may do an act. Made only here; the desk takes one with everything it does.
#[derive(Clone, Debug)]
pub struct Permit {
    by: SignIn,
    act: Act,
}

impl Permit {
    pub fn by(&self) -> &SignIn {
        &self.by
    }
    pub fn act(&self) -> Act {
        self.act
    }
}

impl Person {
    /// `None`: this person's role may not do that, or the person has left.
    pub fn permit(&self, act: Act) -> Option<Permit> {
        (self.active && act.roles().contains(&self.role)).then(|| Permit { by: self.sign_in.clone(), act })
    }
}
