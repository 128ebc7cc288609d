//! How `serve` carries notices: by which mail server, and where letters lead.
use std::path::PathBuf;

use super::Failed;
use crate::{
    desk::notices::{
        Post,
        hook::is_this_machine,
        mail::{MailServer, PATIENCE, PasswordIn, Tls},
    },
    web::noticed,
};

/// Where the mail server's password may stand instead of in a file.
const PASSWORD: &str = "BREAKERBOOK_SMTP_PASSWORD";

#[derive(clap::Args, Debug, Clone, Default)]
#[command(next_help_heading = "Notices")]
pub struct Carrying {
    /// Send notices by e-mail through this server: its name and port, as in mail.example.com:587.
    #[arg(long, value_name = "HOST:PORT", requires = "smtp_from")]
    smtp: Option<String>,
    /// How it is spoken to: `starttls`, `implicit` (TLS from the first byte, mostly port 465), or `none`, which is for a
    /// server on this machine only.
    #[arg(long, value_name = "HOW", default_value = "starttls", value_parser = tls, requires = "smtp")]
    smtp_tls: Option<Tls>,
    /// The sender's address.
    #[arg(long, value_name = "ADDRESS", requires = "smtp")]
    smtp_from: Option<String>,
    /// The user name there. The password is in --smtp-password-file, or in BREAKERBOOK_SMTP_PASSWORD of the environment;
    /// it is never kept in the book, and no page shows it.
    #[arg(long, value_name = "NAME", requires = "smtp")]
    smtp_user: Option<String>,
    /// The file that holds that user's password and nothing else.
    #[arg(long, value_name = "FILE", requires = "smtp_user")]
    smtp_password_file: Option<PathBuf>,
    /// The address that people open this book by, as in https://book.example.com: letters and webhooks lead there.
    /// Without it they have a page's path alone.
    #[arg(long, value_name = "URL")]
    public_url: Option<String>,
}

fn tls(text: &str) -> Result<Tls, String> {
    Tls::parse(text).ok_or_else(|| format!("one of {} is wanted", Tls::spellings()))
}

impl Carrying {
    /// # Errors
    /// A sentence on what has to be given otherwise; nothing was begun.
    pub fn post(&self) -> Result<Post, Failed> {
        let base = self.public_url.clone().unwrap_or_default();
        let whole = base.starts_with("https://") || base.starts_with("http://");
        if !base.is_empty() && !whole {
            return Err(Failed::from(
                "--public-url wants a whole address, as in https://book.example.com".to_owned(),
            ));
        }
        Ok(Post::new(self.mail()?, noticed::links(&base)))
    }

    fn mail(&self) -> Result<Option<MailServer>, Failed> {
        let (Some(server), Some(from)) = (&self.smtp, &self.smtp_from) else { return Ok(None) };
        let wrong = |says: &str| Failed::from(says.to_owned());
        let parts = server.rsplit_once(':').and_then(|(host, port)| Some((host, port.parse::<u16>().ok()?)));
        let (host, port) = parts
            .ok_or_else(|| wrong("--smtp wants a server's name and port, as in mail.example.com:587"))?;
        let host = host.trim_start_matches('[').trim_end_matches(']').to_owned();
        let tls = self.smtp_tls.unwrap_or(Tls::Starttls);
        if tls == Tls::None && !is_this_machine(&host) {
            return Err(wrong(
                "--smtp-tls none is for a mail server on this machine (localhost): to any other, letters and the password would \
                 be readable on the way. Use starttls or implicit",
            ));
        }
        let from = from.parse().map_err(|_| wrong("--smtp-from is no e-mail address"))?;
        let user = self.smtp_user.clone().map(|user| (user, self.password()));
        if let Some((_, password)) = &user {
            password.read().map_err(Failed::from)?;
        }
        Ok(Some(MailServer { host, port, tls, user, from, patience: PATIENCE }))
    }

    fn password(&self) -> PasswordIn {
        match &self.smtp_password_file {
            Some(path) => PasswordIn::File(path.clone()),
            None => PasswordIn::Environment(PASSWORD),
        }
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        carrying: Carrying,
    }

    fn says(args: &str) -> String {
        let words = std::iter::once("serve").chain(args.split_whitespace());
        match Line::try_parse_from(words) {
            Err(why) => why.to_string(),
            Ok(line) => match line.carrying.post() {
                Err(why) => why.says,
                Ok(post) => post.mail.map(|mail| mail.says()).unwrap_or_default(),
            },
        }
    }

    #[test]
    fn what_is_given_is_said_and_what_would_be_read_on_the_way_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let word = dir.path().join("word");
        std::fs::write(&word, "copper kettle\n").unwrap();
        let at = format!(
            "--smtp mail.example.com:587 --smtp-from book@example.com --smtp-user bb --smtp-password-file {}",
            word.display()
        );
        for (args, want) in [
            ("", ""),
            (
                "--smtp mail.example.com:587 --smtp-from book@example.com",
                "mail.example.com:587, STARTTLS, from book@example.com",
            ),
            (
                "--smtp localhost:25 --smtp-from b@example.com --smtp-tls none",
                "localhost:25, without TLS, to this machine alone, from",
            ),
            (at.as_str(), "mail.example.com:587, STARTTLS, as bb, from"),
            (
                "--smtp mail.example.com:25 --smtp-from b@example.com --smtp-tls none",
                "is for a mail server on this machine",
            ),
            ("--smtp mail.example.com --smtp-from b@example.com", "a server's name and port"),
            ("--smtp mail.example.com:25 --smtp-from nobody", "is no e-mail address"),
            ("--smtp mail.example.com:25", "--smtp-from"),
            (
                "--smtp a:1 --smtp-from b@example.com --smtp-user bb --smtp-password-file /no/such/file",
                "/no/such/file cannot be read",
            ),
            ("--public-url book.example.com", "wants a whole address"),
        ] {
            let said = says(args);
            assert!(said.contains(want) && !said.contains("copper"), "{args}: {said}");
        }
    }
}
