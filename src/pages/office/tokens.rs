//! What programs file and read with, in somebody's name: made, listed and revoked.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use crate::{
    base::{Day, Instant, SignIn, Zone},
    desk::{keep_codes::TellOfSecret, keep_people::KeepSecret},
    pages::drawn::{form::Field, sent::Sent},
    people::{
        Act, person,
        session::Token,
        tokens_store::{self, Kept},
    },
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

/// In days: a year if nothing else is asked for, two at most.
const USUAL: i32 = 365;
const MOST: i32 = 731;

#[derive(Template)]
#[template(path = "office/tokens.html")]
struct View {
    frame: Frame,
    action: &'static str,
    end: &'static str,
    signer: String,
    on_top: Vec<String>,
    /// A new one: shown this once.
    made: Option<String>,
    lines: Vec<Line>,
    of: Field,
    words: Field,
    until: Field,
    password: Field,
    /// Of the form that revokes.
    end_password: Field,
}

struct Line {
    id: String,
    of: String,
    words: String,
    says: String,
}

impl Line {
    fn of(kept: &Kept, zone: &Zone) -> Self {
        let by = kept.made_by.as_ref().map_or_else(|| "at the machine".to_owned(), |by| format!("by {by}"));
        let until = kept.until.map_or_else(
            || "good until it is revoked".to_owned(),
            |until| format!("good until {}", zone.in_words(until)),
        );
        let used = kept.used_at.map_or_else(
            || "never used".to_owned(),
            |at| format!("last used {} or within an hour of it", zone.in_words(at)),
        );
        Self {
            id: kept.id(),
            of: kept.of.to_string(),
            words: kept.words.clone(),
            says: format!("Made {} {by}, {until}, {used}.", zone.in_words(kept.made_at)),
        }
    }
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    let until = app.world().railway.zone.day_of(app.now()).plus(USUAL);
    let sent = Sent::showing(&[("until", until.to_string())]);
    draw(&app, frame, &me, StatusCode::OK, &sent, None).await
}

pub async fn make(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let mut sent = Sent::of(form);
    let wanted = read(&app, &mut sent);
    if let Some((of, words, _)) = &wanted
        && good(&app).await?.iter().any(|kept| kept.of == *of && kept.words == *words)
    {
        // Pressed twice, too: the first token would be good, and nobody would have seen it.
        let says =
            "There is one for this already. Revoke it first if it is lost, or say what tells the two apart.";
        sent.wrong("words", says);
    }
    let signed = sent.is_signed(&app, &me).await?;
    let Some((of, words, until)) = wanted.filter(|_| signed) else {
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &sent, None).await;
    };
    let (token, now) = (Token::fresh()?, app.now());
    let (hash, by) = (token.hash(), permit.by().clone());
    app.desk().act(KeepSecret::token(&of, hash.0, Some(&by), now)).await?;
    let told = (words, by, until);
    app.desk().aside(move |c| Box::pin(tokens_store::told(c, hash, told.clone()))).await?;
    let again = Sent::showing(&[("until", sent.get("until").to_owned())]);
    draw(&app, frame, &me, StatusCode::OK, &again, Some(token.reveal())).await
}

/// For whom, what for, and the end of the last day.
fn read(app: &App, sent: &mut Sent) -> Option<(SignIn, String, Instant)> {
    let world = app.world();
    let of = person::sign_in(sent.get("of")).filter(|of| world.people.person(of).is_some_and(|p| p.active));
    if of.is_none() {
        sent.wrong("of", "Nobody who is here signs in with that name: look at the list of people.");
    }
    let words =
        sent.words("words", "Say which program it is for: that is how it is known when it has to go.");
    let (zone, until) = (&world.railway.zone, sent.day("until"));
    let today = zone.day_of(app.now());
    let fits = |day: &Day| *day >= today && *day <= today.plus(MOST);
    if until.filter(fits).is_none() {
        sent.wrong("until", "Its last day is today or later, and within two years.");
    }
    Some((of?, words, zone.start_of(until?.plus(1))))
}

pub async fn revoke(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let mut sent = Sent::named("end", form);
    let found = good(&app).await?.into_iter().find(|kept| kept.id() == sent.get("token"));
    if found.is_none() {
        let says = match sent.get("token") {
            "" => "Choose which token is to end.",
            _ => "Choose which token is to end: that one has ended already.",
        };
        sent.on_top.push(says.to_owned());
    }
    let signed = sent.is_signed(&app, &me).await?;
    let Some(kept) = found.filter(|_| signed) else {
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &sent, None).await;
    };
    let now = app.now();
    app.desk().act(TellOfSecret::token_revoked(&kept.of, &permit)).await?;
    app.desk().aside(move |c| Box::pin(tokens_store::revoke(c, kept.hash, now))).await?;
    app.tokens().forget();
    see(&paths::Tokens)
}

async fn good(app: &App) -> Result<Vec<Kept>, Oops> {
    let mut db = app.desk().read().await?;
    Ok(tokens_store::good(&mut db, app.now()).await?)
}

async fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    sent: &Sent,
    made: Option<String>,
) -> Answer {
    let world = app.world();
    let empty = Sent::default();
    let (new, old) = (sent.form("", &empty), sent.form("end", &empty));
    let view = View {
        frame,
        action: paths::Tokens::PATTERN,
        end: paths::TokenRevoke::PATTERN,
        signer: me.sign_in().to_string(),
        on_top: sent.on_top.clone(),
        made,
        lines: good(app).await?.iter().map(|kept| Line::of(kept, &world.railway.zone)).collect(),
        of: new.field("of", "In whose name it files and reads").hint("Their sign-in name."),
        words: new.field("words", "What for").hint("The program, and where it runs."),
        until: new.date("until", "Its last day"),
        password: new.password(),
        end_password: old.password().of("end"),
    };
    page(status, &view)
}
