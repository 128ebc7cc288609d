//! Carries what waits, in rounds that a server repeats until it stops. A round takes what is due, and says of each what
//! became of it; letters and every single webhook have rounds of their own, so that none waits for another.
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
    time::Duration,
};

use lettre::Address;
use tokio::{sync::watch, task::JoinSet};

use super::{
    Notice, hook,
    hooks::{self, Hook, HookSecret},
    letter::{self, Links},
    look::{Looking, Stand, look},
    mail::{Line, MailServer, NotTaken},
    outbox::{self, Due},
    wishes::{self, Wishes},
};
use crate::{
    base::{Instant, SignIn, instant::MINUTE},
    db::writer::Trouble,
    desk::{Desk, World},
};

/// How often a server looks.
const EVERY: Duration = Duration::from_secs(5);
/// How often it looks at what changes by the day.
const THOROUGH_EVERY: i64 = 10 * MINUTE;

/// How this server carries notices.
pub struct Post {
    pub mail: Option<MailServer>,
    pub links: Links,
    /// How long a webhook may take to answer.
    pub patience: Duration,
    client: hook::Client,
}

/// What is due to one person as one letter.
struct Packed {
    address: Address,
    /// What it was already called, if it may have arrived.
    letter: Option<String>,
    of: Vec<Due>,
}

impl Post {
    pub fn new(mail: Option<MailServer>, links: Links) -> Self {
        Self { mail, links, patience: hook::PATIENCE, client: hook::Client::default() }
    }

    /// Looks, and carries, until `stop` says so; what is under way then is finished.
    pub async fn run(self: Arc<Self>, desk: Desk, stop: watch::Receiver<bool>) {
        let (looking, mailing, hooking) = (stop.clone(), stop.clone(), stop);
        tokio::join!(self.keep_looking(&desk, looking), self.keep_mailing(&desk, mailing), async {
            Arc::clone(&self).keep_hooking(&desk, hooking).await;
        });
    }

    async fn keep_looking(&self, desk: &Desk, mut stop: watch::Receiver<bool>) {
        let (mut thorough_at, mut stood) = (None, None);
        while !*stop.borrow() {
            let now = desk.clock().now();
            let thorough = thorough_at.is_none_or(|at| now.since(at) >= THOROUGH_EVERY || now < at);
            match self.look_once(desk, (thorough, stood), now).await {
                Ok(stands) => {
                    stood = Some(stands);
                    thorough_at = if thorough { Some(now) } else { thorough_at };
                }
                Err(why) => tracing::warn!(%why, "it could not be looked up what there is to tell"),
            }
            rest(&mut stop).await;
        }
    }

    /// Given how the book stood when it was looked at last.
    async fn look_once(
        &self,
        desk: &Desk,
        (thorough, stood): (bool, Option<Stand>),
        now: Instant,
    ) -> Result<Stand, Trouble> {
        let stands = Stand::of(desk, now).await?;
        let book = thorough || !stood.is_some_and(|stood| stood.is_still(&stands));
        look(desk, Looking { book, thorough, mail: self.mail.is_some(), from: now }, now).await?;
        Ok(stands)
    }

    async fn keep_mailing(&self, desk: &Desk, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow() {
            if let Err(why) = self.mail_round(desk, &stop).await {
                tracing::warn!(%why, "what became of letters could not be kept");
            }
            rest(&mut stop).await;
        }
    }

    /// One webhook that hangs holds up its own messages only.
    async fn keep_hooking(self: Arc<Self>, desk: &Desk, mut stop: watch::Receiver<bool>) {
        let (mut rounds, mut busy) = (JoinSet::new(), BTreeSet::new());
        while !*stop.borrow() {
            match due_hooks(desk).await {
                Ok(due) => {
                    for (hook, due) in
                        due.into_iter().filter(|(hook, _)| !busy.contains(hook)).collect::<Vec<_>>()
                    {
                        busy.insert(hook.clone());
                        let (post, desk, stop) = (Arc::clone(&self), desk.clone(), stop.clone());
                        rounds.spawn(async move {
                            (hook.clone(), post.hook_round(&desk, &hook, due, &stop).await)
                        });
                    }
                }
                Err(why) => tracing::warn!(%why, "it could not be looked up what webhooks wait for"),
            }
            rest(&mut stop).await;
            while let Some(ended) = rounds.try_join_next() {
                note(ended, &mut busy);
            }
        }
        while let Some(ended) = rounds.join_next().await {
            note(ended, &mut busy);
        }
    }

    /// Carries every letter that is due. Returns how many went.
    ///
    /// # Errors
    /// Trouble with the file: what is not known to have gone is tried again, under the name it had.
    pub async fn mail_round(&self, desk: &Desk, stop: &watch::Receiver<bool>) -> Result<usize, Trouble> {
        let Some(server) = &self.mail else { return Ok(0) };
        let (letters, world) = self.pack(desk).await?;
        let (mut went, mut line) = (0, None);
        let mut letters = letters.into_iter();
        while let Some(packed) = letters.next().filter(|_| !*stop.borrow()) {
            let mut open = match line.take() {
                Some(open) => open,
                None => match server.connect().await {
                    Ok(open) => open,
                    Err(says) => {
                        let all = std::iter::once(packed).chain(letters).map(|packed| packed.of).collect();
                        failed(desk, "mail", all, says, false).await?;
                        return Ok(went);
                    }
                },
            };
            if self.send(desk, &world, &mut open, packed).await? {
                went += 1;
                line = Some(open);
            }
        }
        if let Some(line) = line {
            line.end().await;
        }
        Ok(went)
    }

    /// `false`: the connection is of no use any more.
    async fn send(
        &self,
        desk: &Desk,
        world: &World,
        line: &mut Line<'_>,
        packed: Packed,
    ) -> Result<bool, Trouble> {
        let id = packed.letter.unwrap_or_else(|| uuid::Uuid::new_v4().to_string());
        let (name, of) = (id.clone(), packed.of.clone());
        desk.aside(move |db| Box::pin(async move { outbox::compose(db, &of, &name).await })).await?;
        let notices: Vec<Notice> = packed.of.iter().map(|due| due.notice.clone()).collect();
        let letter = letter::letter(&notices, &world.railway, &self.links);
        let now = desk.clock().now();
        match line.send(&packed.address, &id, &letter, now).await {
            Ok(()) => {
                let of = packed.of;
                desk.aside(move |db| Box::pin(async move { outbox::sent(db, "mail", &of, now).await }))
                    .await?;
                Ok(true)
            }
            Err(NotTaken { says, may_have_arrived }) => {
                failed(desk, "mail", vec![packed.of], says, may_have_arrived).await?;
                Ok(false)
            }
        }
    }

    /// What is due, by person and letter. What is nobody's any more is dropped here, however long it waited.
    async fn pack(&self, desk: &Desk) -> Result<(Vec<Packed>, Arc<World>), Trouble> {
        let sql = |why: sqlx::Error| Trouble::from(&why);
        let mut db = desk.read().await?;
        let world = desk.world_now(&mut db).await?;
        let due = outbox::due(&mut db, "mail", desk.clock().now()).await.map_err(sql)?;
        let wishes =
            if due.is_empty() { BTreeMap::new() } else { wishes::all(&mut db).await.map_err(sql)? };
        drop(db);
        let mut letters: BTreeMap<(String, Option<String>), Packed> = BTreeMap::new();
        for due in due {
            match address(&due, &world, &wishes) {
                Ok(address) => {
                    let key = (due.to.clone(), due.letter.clone());
                    let empty = || Packed { address, letter: due.letter.clone(), of: Vec::new() };
                    letters.entry(key).or_insert_with(empty).of.push(due);
                }
                Err(says) => drop_one(desk, "mail", due, says).await?,
            }
        }
        Ok((letters.into_values().collect(), world))
    }

    /// Carries what is due to one webhook, in order, up to the first that is not taken.
    ///
    /// # Errors
    /// Trouble with the file.
    pub async fn hook_round(
        &self,
        desk: &Desk,
        id: &str,
        due: Vec<Due>,
        stop: &watch::Receiver<bool>,
    ) -> Result<usize, Trouble> {
        let mut db = desk.read().await?;
        let live = hooks::live(&mut db).await.map_err(|why| Trouble::from(&why))?;
        drop(db);
        let Some(hook) = live.into_iter().find(|hook| hook.id == id) else { return Ok(0) };
        let mut rest = due.into_iter();
        let mut went = 0;
        while let Some(one) = rest.next().filter(|_| !*stop.borrow()) {
            match self.message(desk, &hook, &one.notice).await {
                Ok(()) => {
                    let now = desk.clock().now();
                    desk.aside(move |db| {
                        Box::pin(async move { outbox::sent(db, "hook", &[one], now).await })
                    })
                    .await?;
                    went += 1;
                }
                Err(says) => {
                    failed(desk, "hook", vec![std::iter::once(one).chain(rest).collect()], says, false)
                        .await?;
                    break;
                }
            }
        }
        Ok(went)
    }

    async fn message(&self, desk: &Desk, hook: &Hook, notice: &Notice) -> Result<(), String> {
        let key = desk.signer().map_err(|why| format!("its secret cannot be reckoned: {why}"))?;
        let secret = HookSecret::of(&key, &hook.id);
        if secret.print() != hook.print {
            return Err(
                "the key beside the book is another than when it was made: make this webhook anew".into()
            );
        }
        let (target, world) = (hook::Target::parse(&hook.url)?, desk.world());
        let id = format!("notice_{}_{}", world.railway.book_id.simple(), notice.id);
        let body = letter::message(notice, &world.railway, &self.links);
        let message = hook::Message { id: &id, body, secret: &secret, now: desk.clock().now() };
        self.client.post(&target, &message, self.patience).await
    }
}

/// What waits for each webhook.
///
/// # Errors
/// Trouble with the file.
pub async fn due_hooks(desk: &Desk) -> Result<BTreeMap<String, Vec<Due>>, Trouble> {
    let mut db = desk.read().await?;
    let due = outbox::due(&mut db, "hook", desk.clock().now()).await.map_err(|why| Trouble::from(&why))?;
    let mut of: BTreeMap<String, Vec<Due>> = BTreeMap::new();
    due.into_iter().for_each(|due| of.entry(due.to.clone()).or_default().push(due));
    Ok(of)
}

fn note(
    ended: Result<(String, Result<usize, Trouble>), tokio::task::JoinError>,
    busy: &mut BTreeSet<String>,
) {
    match ended {
        Ok((hook, outcome)) => {
            busy.remove(&hook);
            if let Err(why) = outcome {
                tracing::warn!(%why, "what became of messages could not be kept");
            }
        }
        // A panic, told in the log already: which one it was is not known, so all may go again.
        Err(_) => busy.clear(),
    }
}

/// Where somebody's letters go, if they may still read what is in this one.
fn address(due: &Due, world: &World, wishes: &BTreeMap<SignIn, Wishes>) -> Result<Address, &'static str> {
    let name = SignIn::from(due.to.as_str());
    let person = world.people.persons.get(&name).filter(|person| person.active);
    let person = person.ok_or("they have left")?;
    if !wishes::may_be_told(person, due.notice.what) {
        return Err("it is not theirs to read any more");
    }
    let email = wishes.get(&name).and_then(|wishes| wishes.email.as_deref());
    email.and_then(|email| email.parse().ok()).ok_or("they have no e-mail address here any more")
}

async fn drop_one(desk: &Desk, channel: &'static str, due: Due, says: &'static str) -> Result<(), Trouble> {
    desk.aside(move |db| Box::pin(async move { outbox::dropped(db, channel, &[due], says).await })).await
}

async fn failed(
    desk: &Desk,
    channel: &'static str,
    all: Vec<Vec<Due>>,
    says: String,
    may_have_arrived: bool,
) -> Result<(), Trouble> {
    tracing::info!(channel, says, "notices wait for another try");
    let now = desk.clock().now();
    desk.aside(move |db| {
        Box::pin(async move {
            for of in &all {
                outbox::failed(db, channel, of, (&says, may_have_arrived), now).await?;
            }
            Ok(())
        })
    })
    .await
}

async fn rest(stop: &mut watch::Receiver<bool>) {
    let told = tokio::time::timeout(EVERY, async { stop.wait_for(|stop| *stop).await.is_ok() }).await;
    // Whoever could say stop is gone: the rounds go on at their pace until they are ended.
    if told == Ok(false) {
        tokio::time::sleep(EVERY).await;
    }
}
