//! `codes`: whether one-time codes are asked for, and clearing somebody's who lost everything, on the machine itself.
use std::process::ExitCode;

use clap::ValueEnum;

use super::{Book, Failed, Outcome, open, say};
use crate::{
    base::SignIn,
    desk::{Desk, keep_codes::TellOfSecret},
    people::{Act, codes_store, person},
};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    book: Book,
    /// Whether supervisors and administrators have to set up codes before they sign anything.
    #[arg(long, value_enum)]
    ask: Option<Ask>,
    /// Clear the codes of somebody who lost telephone and recovery codes, the last administrator among them.
    #[arg(long, value_name = "SIGN_IN", requires = "reason")]
    clear: Option<String>,
    /// Why they are cleared: it goes into the book.
    #[arg(long)]
    reason: Option<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Ask {
    Yes,
    No,
}

pub async fn run(args: Args) -> Outcome {
    let desk = open(&args.book).await?;
    if let Some(ask) = args.ask {
        set(&desk, ask).await?;
    }
    if let Some(of) = &args.clear {
        clear(&desk, of, args.reason.unwrap_or_default()).await?;
    }
    tell(&desk).await?;
    desk.close().await;
    Ok(ExitCode::SUCCESS)
}

async fn set(desk: &Desk, ask: Ask) -> Result<(), Failed> {
    let now = desk.clock().now();
    let change = desk.aside(move |c| {
        Box::pin(async move {
            match ask {
                Ask::Yes => codes_store::ask(c, now).await,
                Ask::No => codes_store::ask_not(c).await,
            }
        })
    });
    Ok(change.await?)
}

async fn clear(desk: &Desk, of: &str, reason: String) -> Result<(), Failed> {
    let of: SignIn = person::sign_in(of).ok_or_else(|| Failed::from(format!("{of:?} is no sign-in name")))?;
    if reason.trim().is_empty() {
        return Err(Failed::from("say why with --reason: it goes into the book"));
    }
    let told = TellOfSecret::cleared(&of, reason.trim().to_owned(), None);
    desk.act(told).await.map_err(|why| Failed::from(why.says()))?;
    let (who, now) = (of.clone(), desk.clock().now());
    desk.aside(move |c| Box::pin(codes_store::clear(c, who, now))).await?;
    say(&format!("cleared the codes of {of}: they sign in with the password and set up new ones"));
    Ok(())
}

/// How it stands, a line each.
async fn tell(desk: &Desk) -> Result<(), Failed> {
    let mut db = desk.read().await?;
    let asked = codes_store::asked_since(&mut db).await?;
    say(match asked {
        Some(_) => "one-time codes are asked of supervisors and administrators",
        None => "one-time codes are not asked for",
    });
    let (world, now) = (desk.world(), desk.clock().now());
    for person in world.people.persons.values().filter(|p| p.permit(Act::KeepCodes).is_some()) {
        let kept = codes_store::kept(&mut db, &person.sign_in, now).await?;
        let since = kept.set_at.map_or_else(|| "none".to_owned(), |at| format!("since {}", at.to_z()));
        say(&format!("codes {} {} {since}", person.role, person.sign_in));
    }
    Ok(())
}
