//! `token` and `password`: secrets that are shown once.
use std::process::ExitCode;

use super::{Book, Failed, Outcome, open, say};
use crate::{
    base::SignIn,
    desk::{Refused, keep_people::KeepSecret},
    people::{
        password::{self, Password},
        person, secrets,
        session::Token,
    },
};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    book: Book,
    /// Whose: a sign-in name of this book.
    #[arg(long = "for", value_name = "SIGN_IN")]
    of: String,
}

pub async fn token(args: Args) -> Outcome {
    let (of, desk) = (whose(&args)?, open(&args.book).await?);
    let token = Token::fresh()?;
    desk.act(KeepSecret::token(&of, token.hash().0, None, desk.clock().now())).await.map_err(refused)?;
    desk.close().await;
    say(&token.reveal());
    Ok(ExitCode::SUCCESS)
}

pub async fn password(args: Args) -> Outcome {
    let (of, desk) = (whose(&args)?, open(&args.book).await?);
    let one_time = password::one_time()?;
    let hash =
        password::hash_now(&Password::typed(&one_time)).map_err(|why| Failed::from(format!("{why:?}")))?;
    let now = desk.clock().now();
    desk.act(KeepSecret::password(&of, hash, true, None, now)).await.map_err(refused)?;
    // Without this a name that was shut after a hundred wrong passwords would stay so.
    desk.aside(move |c| Box::pin(secrets::password_was_set(c, of, now))).await?;
    desk.close().await;
    say(&one_time);
    Ok(ExitCode::SUCCESS)
}

fn whose(args: &Args) -> Result<SignIn, Failed> {
    person::sign_in(&args.of).ok_or_else(|| Failed::from(format!("{:?} is no sign-in name", args.of)))
}

fn refused(why: Refused) -> Failed {
    Failed::from(why.says())
}
