//! Letters: one connection to the mail server for all that are due, over TLS unless that server is this machine's own.
use std::{
    path::PathBuf,
    time::{Duration, UNIX_EPOCH},
};

use lettre::{
    Address, Message,
    message::{
        Mailbox,
        header::{ContentType, HeaderName, HeaderValue},
    },
    transport::smtp::{
        authentication::{Credentials, Mechanism},
        client::{AsyncSmtpConnection, TlsParameters},
        extension::ClientId,
    },
};

use super::letter::Letter;
use crate::base::{Instant, words::words};

/// Longer than this no step waits for the mail server.
pub const PATIENCE: Duration = Duration::from_secs(10);

words! {
    pub enum Tls { Starttls = "starttls", Implicit = "implicit", None = "none", }
}

/// Where the password lies: never in the book, and read anew for each connection.
#[derive(Clone)]
pub enum PasswordIn {
    File(PathBuf),
    Environment(&'static str),
}

/// How this server sends e-mail.
#[derive(Clone)]
pub struct MailServer {
    pub host: String,
    pub port: u16,
    pub tls: Tls,
    pub user: Option<(String, PasswordIn)>,
    pub from: Address,
    pub patience: Duration,
}

impl MailServer {
    /// For pages: `mail.example.com:587, STARTTLS, as breakerbook, from book@example.com`.
    pub fn says(&self) -> String {
        let tls = match self.tls {
            Tls::Starttls => "STARTTLS",
            Tls::Implicit => "TLS from the first byte",
            Tls::None => "without TLS, to this machine alone",
        };
        let user = self.user.as_ref().map(|(user, _)| format!(", as {user}")).unwrap_or_default();
        format!("{}:{}, {tls}{user}, from {}", self.host, self.port, self.from)
    }

    fn hello(&self) -> ClientId {
        ClientId::Domain(self.from.domain().to_owned())
    }

    /// # Errors
    /// A sentence: nothing was sent.
    pub async fn connect(&self) -> Result<Line<'_>, String> {
        let reach = async {
            let mut smtp = self.reach().await.map_err(|why| self.not_reached(&why))?;
            if let Some((user, password)) = &self.user {
                let credentials = Credentials::new(user.clone(), password.read()?);
                let signed = smtp.auth(&[Mechanism::Plain, Mechanism::Login], &credentials).await;
                signed.map_err(|why| {
                    short(&format!("the mail server did not take user name and password ({why})"))
                })?;
            }
            Ok::<_, String>(smtp)
        };
        let smtp = tokio::time::timeout(self.patience, reach).await;
        let smtp = smtp.map_err(|_| self.not_reached(&"it does not answer"))??;
        Ok(Line { server: self, smtp })
    }

    async fn reach(&self) -> Result<AsyncSmtpConnection, lettre::transport::smtp::Error> {
        let (to, hello, patience) = ((self.host.as_str(), self.port), self.hello(), Some(self.patience));
        let tls = || TlsParameters::builder(self.host.clone()).build_rustls();
        let implicit = if self.tls == Tls::Implicit { Some(tls()?) } else { None };
        let mut smtp = AsyncSmtpConnection::connect_tokio1(to, patience, &hello, implicit, None).await?;
        if self.tls == Tls::Starttls {
            // A server that offers none is an error here: nothing ever goes without.
            smtp.starttls(tls()?, &hello).await?;
        }
        Ok(smtp)
    }

    fn not_reached(&self, why: &dyn std::fmt::Display) -> String {
        short(&format!("the mail server {}:{} could not be reached ({why})", self.host, self.port))
    }

    fn message(&self, to: &Address, id: &str, letter: &Letter, now: Instant) -> Result<Message, String> {
        let micros = u64::try_from(now.0).unwrap_or(0);
        let from = Mailbox::new(Some("Breakerbook".to_owned()), self.from.clone());
        // Nobody's machine answers that they are away (RFC 3834).
        let automatic =
            HeaderValue::new(HeaderName::new_from_ascii_str("Auto-Submitted"), "auto-generated".to_owned());
        Message::builder()
            .from(from)
            .to(Mailbox::new(None, to.clone()))
            .subject(&letter.subject)
            .message_id(Some(format!("<{id}@{}>", self.from.domain())))
            .date(UNIX_EPOCH + Duration::from_micros(micros))
            .raw_header(automatic)
            .header(ContentType::TEXT_PLAIN)
            .body(letter.body.clone())
            .map_err(|why| short(&format!("the letter could not be put together ({why})")))
    }
}

impl PasswordIn {
    /// # Errors
    /// A sentence that names the place, never what is in it.
    pub fn read(&self) -> Result<String, String> {
        let read = match self {
            Self::File(path) => std::fs::read_to_string(path).map_err(|why| {
                format!("the mail server's password in {} cannot be read ({why})", path.display())
            }),
            Self::Environment(name) => {
                std::env::var(name).map_err(|_| format!("the mail server's password is not in {name}"))
            }
        };
        Ok(read?.trim_end_matches(['\r', '\n']).to_owned())
    }
}

/// An open connection to the mail server.
pub struct Line<'a> {
    server: &'a MailServer,
    smtp: AsyncSmtpConnection,
}

/// A letter that was not taken, as far as is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotTaken {
    pub says: String,
    /// The connection was lost after the letter had begun: the server may have it.
    pub may_have_arrived: bool,
}

impl Line<'_> {
    /// Sends one letter. The same `id` for the same letter: whoever gets it twice can tell.
    ///
    /// # Errors
    /// After one the connection is of no use any more.
    pub async fn send(
        &mut self,
        to: &Address,
        id: &str,
        letter: &Letter,
        now: Instant,
    ) -> Result<(), NotTaken> {
        let not_sent = |says| NotTaken { says, may_have_arrived: false };
        let message = self.server.message(to, id, letter, now).map_err(not_sent)?;
        let whole = message.formatted();
        let sending = self.smtp.send(message.envelope(), &whole);
        let Ok(sent) = tokio::time::timeout(self.server.patience, sending).await else {
            let says = "the mail server did not say in time whether it took the letter".to_owned();
            return Err(NotTaken { says, may_have_arrived: true });
        };
        sent.map(drop).map_err(|why| NotTaken {
            says: short(&format!("the mail server did not take the letter ({why})")),
            may_have_arrived: !(why.is_permanent() || why.is_transient() || why.is_client()),
        })
    }

    pub async fn end(mut self) {
        let _ = tokio::time::timeout(self.server.patience, self.smtp.quit()).await;
    }
}

/// What another machine says goes onto a page: one line, and not without end.
pub(super) fn short(says: &str) -> String {
    let tidy: String = says.chars().map(|c| if c.is_control() { ' ' } else { c }).take(200).collect();
    tidy.trim().to_owned()
}
