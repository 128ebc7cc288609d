//! `init`: a new book and its first administrator.
use std::{path::PathBuf, process::ExitCode};

use super::{Failed, Outcome, say};
use crate::{
    base::Zone,
    desk::{DeskOptions, begin},
    people::{
        password::{self, Password},
        person,
    },
};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// The new book's file.
    #[arg(long, value_name = "FILE")]
    db: PathBuf,
    /// The railway's name, as pages say it.
    #[arg(long)]
    railway: String,
    /// Its reporting mark.
    #[arg(long)]
    mark: String,
    /// Its time zone by IANA name, as in America/Chicago.
    #[arg(long)]
    zone: String,
    /// Sign-in name of the first administrator.
    #[arg(long, value_name = "SIGN_IN")]
    admin: String,
}

pub async fn run(args: Args) -> Outcome {
    let admin = person::sign_in(&args.admin).ok_or_else(|| {
        Failed::from("a sign-in name is 2 to 40 letters, digits, dots, hyphens or underscores: give another with --admin")
    })?;
    if Zone::named(&args.zone).is_none() {
        return Err(Failed::from(format!(
            "there is no time zone {:?}: give an IANA name such as America/Chicago",
            args.zone
        )));
    }
    let mark = args.mark.trim().to_uppercase();
    if !(1..=4).contains(&mark.len()) || !mark.bytes().all(|b| b.is_ascii_uppercase()) {
        return Err(Failed::from("a reporting mark is 1 to 4 letters, as in QHB: give another with --mark"));
    }
    let book = begin::NewBook { railway: args.railway, mark, time_zone: args.zone, demo: false };
    let one_time = password::one_time()?;
    let hash =
        password::hash_now(&Password::typed(&one_time)).map_err(|why| Failed::from(format!("{why:?}")))?;
    begin::begin(&args.db, &book, &admin, hash, DeskOptions::default()).await?.close().await;
    say(&format!("begun {}", args.db.display()));
    say(&format!("sign-in administrator {admin} {one_time}"));
    say("This password works once, within 7 days, and is shown only here: sign in and choose your own.");
    Ok(ExitCode::SUCCESS)
}
