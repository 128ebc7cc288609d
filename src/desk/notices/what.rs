//! What can be told, to whom by default, and where more is written. Pure.
use serde::{Deserialize, Serialize};

use crate::{
    base::{EntryId, UnitName, words::words},
    people::{Act, Role},
    rules::Rule,
};

words! {
    pub enum What {
        CutoutOpened = "cutout_opened",
        CutoutStillOpen = "cutout_still_open",
        WithoutAuthority = "without_authority",
        GroundTrouble = "ground_trouble",
        NotReviewed = "not_reviewed",
        RightEnds = "right_ends",
        GrantWaits = "grant_waits",
        CertainLine = "certain_line",
        ReckonedLine = "reckoned_line",
        InspectionDue = "inspection_due",
        BackupFailed = "backup_failed",
        /// Asked for on the page, to see whether the way works.
        Trial = "trial",
    }
}

words! {
    /// E-mail about one sort of matter.
    pub enum Mail { No = "no", AtOnce = "at_once", Morning = "morning", }
}

/// How somebody is told of one sort of matter.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Wish {
    pub inbox: bool,
    pub mail: Mail,
}

impl What {
    /// Everything that somebody can choose; a trial is asked for.
    pub fn choosable() -> impl Iterator<Item = Self> {
        Self::ALL.iter().copied().filter(|what| *what != Self::Trial)
    }

    /// Who may not do this is not told.
    pub fn act(self) -> Act {
        match self {
            Self::CutoutOpened
            | Self::CutoutStillOpen
            | Self::WithoutAuthority
            | Self::GroundTrouble
            | Self::NotReviewed
            | Self::RightEnds => Act::ReadBypasses,
            Self::GrantWaits => Act::GrantAuthorisation,
            Self::CertainLine | Self::ReckonedLine | Self::InspectionDue => Act::ReadBoard,
            Self::BackupFailed => Act::KeepBackups,
            Self::Trial => Act::ReadNotices,
        }
    }

    /// After the unit, in lists and letters.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::CutoutOpened => "ground-relay cutout opened",
            Self::CutoutStillOpen => "ground-relay cutout still open",
            Self::WithoutAuthority => "ground-relay cutout opened without a right on record",
            Self::GroundTrouble => "ground protection: to be looked at",
            Self::NotReviewed => "opening of a ground-relay cutout not reviewed",
            Self::RightEnds => "an authorisation to open ground-relay cutouts ends soon",
            Self::GrantWaits => "an authorisation was proposed and waits for another supervisor",
            Self::CertainLine => "new on the board: written down, and certain",
            Self::ReckonedLine => "new on the board: more often than chance explains",
            Self::InspectionDue => "inspection due",
            Self::BackupFailed => "back-up failed",
            Self::Trial => "trial notice",
        }
    }

    /// What it takes in, for whoever chooses.
    pub fn spelled(self) -> &'static str {
        match self {
            Self::CutoutOpened => {
                "Every opening, and every cutout found open, as soon as a report of it is in the book."
            }
            Self::CutoutStillOpen => "Open past the time after which the book asks.",
            Self::WithoutAuthority => {
                "The opener held no authorisation for the class, named nobody who did, or is not known."
            }
            Self::GroundTrouble => {
                "A ground while a cutout stood open or right after, a position that cannot be so, no purpose, wrong order, a seal, a review by one with a hand in it."
            }
            Self::NotReviewed => {
                "Seven days without a review, or since something was written about it after one."
            }
            Self::RightEnds => "Sixty days before its last day.",
            Self::GrantWaits => "As soon as it is proposed: it lapses 14 days later.",
            Self::CertainLine => {
                "Reported by a crew, wrong fuse, closed again, must stay on, kept tripping, safety device cut out."
            }
            Self::ReckonedLine => {
                "Burst, often, worsening, did not hold, whole class, one cause for several, wet, starting weakens."
            }
            Self::InspectionDue => {
                "Periodic and annual: 14 days before the last lawful day, and when it has passed."
            }
            Self::BackupFailed => "Once a day while none is good.",
            Self::Trial => "To see that the way works.",
        }
    }

    /// What whoever chose nothing is told.
    pub fn default_of(self, role: Role) -> Wish {
        use Mail::{AtOnce, Morning, No};
        let (inbox, mail) = match (role, self) {
            (
                Role::Supervisor,
                Self::CutoutOpened | Self::CutoutStillOpen | Self::WithoutAuthority | Self::GroundTrouble,
            ) => (true, AtOnce),
            (Role::Supervisor, Self::GrantWaits) => (true, AtOnce),
            (Role::Supervisor, Self::NotReviewed | Self::RightEnds) => (true, Morning),
            (Role::Shop, Self::CertainLine | Self::ReckonedLine | Self::InspectionDue) => (true, Morning),
            (Role::Administrator, Self::BackupFailed) => (true, AtOnce),
            (_, Self::Trial) => (true, AtOnce),
            _ => (false, No),
        };
        Wish { inbox, mail }
    }

    /// Which notice a finding makes; `None`: nobody is told of it by itself.
    pub fn of_rule(rule: Rule) -> Option<Self> {
        match rule {
            Rule::StillOpen => Some(Self::CutoutStillOpen),
            Rule::NotAuthorised | Rule::NoAuthority | Rule::NobodyNamed => Some(Self::WithoutAuthority),
            Rule::NotReviewed => Some(Self::NotReviewed),
            Rule::Expiring => Some(Self::RightEnds),
            Rule::SecondGround
            | Rule::PositionDoubtful
            | Rule::NoPurpose
            | Rule::WrongOrder
            | Rule::Seal
            | Rule::SameHand => Some(Self::GroundTrouble),
            rule if Rule::CERTAIN.contains(&rule) => Some(Self::CertainLine),
            rule if Rule::RECKONED.contains(&rule) => Some(Self::ReckonedLine),
            _ => None,
        }
    }
}

/// Which page tells more. Its address is made by whoever shows it; there are no names in it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum About {
    Bypass(EntryId),
    Finding(String),
    Unit(UnitName),
    UnitInspections(UnitName),
    Bypasses,
    Proposal(uuid::Uuid),
    Backups,
    Notices,
}

impl About {
    pub fn text(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// What an older program wrote and this one does not know leads to the list of notices.
    pub fn read(text: &str) -> Self {
        serde_json::from_str(text).unwrap_or(Self::Notices)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_told_by_default_what_their_role_may_not_read() {
        for (role, what) in Role::ALL.iter().flat_map(|role| What::ALL.iter().map(move |what| (*role, *what)))
        {
            let wish = what.default_of(role);
            let told = wish.inbox || wish.mail != Mail::No;
            assert!(!told || what == What::Trial || what.act().roles().contains(&role), "{role} {what}");
        }
    }

    #[test]
    fn every_sort_can_come_from_somewhere_and_somebody_is_told_of_it() {
        for what in What::choosable() {
            let by_rule = Rule::ALL.iter().any(|rule| What::of_rule(*rule) == Some(what));
            let by_itself = matches!(
                what,
                What::CutoutOpened | What::GrantWaits | What::InspectionDue | What::BackupFailed
            );
            assert!(by_rule || by_itself, "{what}");
            assert!(Role::ALL.iter().any(|role| what.default_of(*role).inbox), "{what}");
        }
        for notes in Rule::NOTES {
            assert_eq!(What::of_rule(notes), None, "{notes}");
        }
    }

    #[test]
    fn where_more_is_written_comes_back_as_it_went() {
        let id: EntryId = "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11".parse().unwrap();
        for about in [
            About::Bypass(id),
            About::Finding("burst:QHB 412:TC2:2026-03-03".into()),
            About::Unit("QHB 412".into()),
            About::UnitInspections("QHB 412".into()),
            About::Bypasses,
            About::Proposal(uuid::Uuid::nil()),
            About::Backups,
            About::Notices,
        ] {
            assert_eq!(About::read(&about.text()), about);
        }
        assert_eq!(About::read("{\"moon\":1}"), About::Notices);
    }
}
