//! What the pages of notices share: where they lead to each other, and one delivery in a sentence.
use crate::{
    base::{Zone, text},
    desk::notices::{
        letter,
        shown::{Channel, Delivery, State},
    },
    people::Act,
    web::{Me, noticed, paths},
};

/// Links between these pages, this one left out.
pub fn tabs(me: &Me, here: &str) -> Vec<(String, &'static str)> {
    let all = [
        (Act::ReadNotices, paths::Notices.to_string(), "Inbox"),
        (Act::ReadNotices, paths::NoticesMine.to_string(), "What I am told of"),
        (Act::ReadNotices, paths::NoticesSent.to_string(), "What was sent to me"),
        (Act::KeepNotices, paths::NoticesAll.to_string(), "Who is told of what"),
        (Act::KeepNotices, paths::Webhooks.to_string(), "Webhooks"),
    ];
    let others = all.into_iter().filter(|(act, href, _)| me.may(*act) && href != here);
    others.map(|(_, href, says)| (href, says)).collect()
}

/// One delivery, ready to print.
pub struct Sent {
    pub title: String,
    pub href: String,
    pub when: String,
    pub to: String,
    pub state: &'static str,
    /// It needs looking at.
    pub loud: bool,
    pub says: String,
}

/// `to` is how whoever gets it is called on the page.
pub fn sent(delivery: &Delivery, to: String, zone: &Zone) -> Sent {
    let by = match delivery.channel {
        Channel::Mail => "By e-mail",
        Channel::Hook => "To the webhook",
        Channel::Inbox => "Into the inbox",
    };
    let tried = match delivery.tries {
        0 => "not tried yet".to_owned(),
        n => text::count(u64::try_from(n).unwrap_or(0), "try", "tries"),
    };
    let why = delivery.says.as_ref().map(|says| format!(": {says}")).unwrap_or_default();
    let (state, says) = match (delivery.state, delivery.sent_at) {
        (State::Sent, Some(at)) => ("sent", format!("{}, {tried}.", zone.in_words(at))),
        (State::Sent, None) => ("sent", format!("{tried}.")),
        (State::Waiting, _) if delivery.tries == 0 => {
            ("waiting", format!("Goes {}.", zone.in_words(delivery.due_at)))
        }
        (State::Waiting, _) => ("tried", format!("{tried}{why}. Next {}.", zone.in_words(delivery.due_at))),
        (State::GivenUp, _) => {
            ("given up", format!("{tried}{why}. It stands in the inbox, if that was chosen."))
        }
        (State::Dropped, _) => ("not sent", format!("{tried}{why}.")),
    };
    Sent {
        title: letter::title(&delivery.notice),
        href: noticed::path(&delivery.notice.about),
        when: zone.in_words(delivery.notice.at),
        to: format!("{by} {to}").trim_end().to_owned(),
        state,
        loud: matches!(delivery.state, State::GivenUp)
            || delivery.state == State::Waiting && delivery.tries > 0,
        says,
    }
}
