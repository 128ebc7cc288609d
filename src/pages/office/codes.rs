//! One's own one-time codes: setting them up, another telephone, new recovery codes.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use crate::{
    base::SignIn,
    desk::keep_codes::TellOfSecret,
    pages::drawn::form::Field,
    people::{
        Act,
        codes::{self, RecoveryHash, Seed, Typed},
        codes_store::{self, Kept},
        secrets,
    },
    web::{
        Answer, App, Frame, Me, Oops,
        forms::Fields,
        page, paths,
        qr::{Square, square},
        see,
        signature::{self, NOT_THE_CODE},
    },
};

#[derive(Template)]
#[template(path = "office/codes.html")]
struct View {
    frame: Frame,
    action: &'static str,
    /// Nothing is asked for in a demonstration, whose passwords are printed.
    demo: bool,
    /// The book asks for them.
    asked: bool,
    /// Since when they have codes, and how many recovery codes are left.
    set: Option<(String, String)>,
    few_left: bool,
    setting_up: Option<SettingUp>,
    /// Just made, shown once.
    fresh: Vec<String>,
    renew_password: Field,
}

struct SettingUp {
    square: Option<Square>,
    secret: String,
    sign_in: String,
    code: Field,
    password: Field,
}

/// Sentences beside fields.
#[derive(Default)]
struct Says {
    code: Option<String>,
    password: Option<String>,
    renew: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    draw(&app, frame, &me, StatusCode::OK, Says::default(), Vec::new()).await
}

pub async fn send(State(app): State<App>, frame: Frame, me: Me, typed: Fields) -> Answer {
    match typed.get("then") {
        "begin" => begin(&app, &me).await,
        "confirm" => confirm(&app, frame, &me, &typed).await,
        "renew" => renew(&app, frame, &me, typed.get("password")).await,
        _ => Err(Oops::Unreadable("Press one of the buttons of the page of your codes.".into())),
    }
}

async fn begin(app: &App, me: &Me) -> Answer {
    let (seed, who, now) = (Seed::fresh()?, me.sign_in().clone(), app.now());
    app.desk().aside(move |c| Box::pin(async move { codes_store::show(c, who, seed, now).await })).await?;
    see(&paths::Codes)
}

/// The password first: only who knows it learns whether the code was right.
async fn confirm(app: &App, frame: Frame, me: &Me, typed: &Fields) -> Answer {
    let permit = me.permit(Act::KeepCodes)?;
    if let Err(says) = signature::sign_by_password(app, me, typed.get("password")).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return draw(app, frame, me, StatusCode::UNPROCESSABLE_ENTITY, says, Vec::new()).await;
    }
    let (shown, hashes) = fresh()?;
    let right = match Typed::read(typed.get("one_time_code")) {
        Some(code) => take_into_force(app, me, code, hashes).await?,
        None => false,
    };
    if !right {
        let says = Says { code: Some(NOT_THE_CODE.into()), ..Says::default() };
        return draw(app, frame, me, StatusCode::UNPROCESSABLE_ENTITY, says, Vec::new()).await;
    }
    app.desk().act(TellOfSecret::set(&permit)).await?;
    draw(app, frame, me, StatusCode::OK, Says::default(), shown).await
}

/// As they are shown, and as they are kept.
fn fresh() -> Result<(Vec<String>, Vec<RecoveryHash>), Oops> {
    Ok(codes::recovery_codes()?.into_iter().unzip())
}

/// Whatever was open elsewhere was opened without them: it ends.
async fn take_into_force(app: &App, me: &Me, code: Typed, fresh: Vec<RecoveryHash>) -> Result<bool, Oops> {
    let (who, here, now) = (me.sign_in().clone(), me.session(), app.now());
    let confirm = app.desk().aside(move |c| {
        Box::pin(async move {
            let right = codes_store::confirm(c, who.clone(), code, fresh, now).await?;
            if right {
                secrets::end_all(c, &who, here, now).await?;
            }
            Ok(right)
        })
    });
    Ok(confirm.await?)
}

async fn renew(app: &App, frame: Frame, me: &Me, password: &str) -> Answer {
    if kept(app, me.sign_in()).await?.set_at.is_none() {
        return see(&paths::Codes);
    }
    if let Err(says) = signature::sign_by_password(app, me, password).await? {
        let says = Says { renew: Some(says), ..Says::default() };
        return draw(app, frame, me, StatusCode::UNPROCESSABLE_ENTITY, says, Vec::new()).await;
    }
    let (shown, hashes) = fresh()?;
    let who = me.sign_in().clone();
    app.desk().aside(move |c| Box::pin(async move { codes_store::renew(c, who, hashes).await })).await?;
    draw(app, frame, me, StatusCode::OK, Says::default(), shown).await
}

async fn kept(app: &App, who: &SignIn) -> Result<Kept, Oops> {
    let mut c = app.desk().read().await?;
    Ok(codes_store::kept(&mut c, who, app.now()).await?)
}

async fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    says: Says,
    fresh: Vec<String>,
) -> Answer {
    let kept = kept(app, me.sign_in()).await?;
    let mut db = app.desk().read().await?;
    let asked = codes_store::asked_since(&mut db).await?.is_some();
    drop(db);
    let world = app.world();
    let zone = &world.railway.zone;
    let set = kept.set_at.map(|at| (zone.in_words(at), left(kept.left)));
    let mut frame = frame;
    if kept.set_at.is_some() {
        // What asked for them was drawn before they came into force.
        frame.notices.retain(|link| link.href != paths::Codes::PATTERN);
    }
    let view = View {
        frame,
        action: paths::Codes::PATTERN,
        demo: world.railway.demo,
        asked,
        set,
        few_left: kept.set_at.is_some() && kept.left < 3,
        setting_up: kept.shown.map(|seed| setting_up(seed, &world.railway.name, me, &says)),
        fresh,
        renew_password: Field::password("password", "Your password").says(says.renew).of("renew"),
    };
    page(status, &view)
}

fn left(codes: u32) -> String {
    match codes {
        0 => "no recovery code is left".into(),
        1 => "1 recovery code is left".into(),
        n => format!("{n} recovery codes are left"),
    }
}

fn setting_up(seed: Seed, railway: &str, me: &Me, says: &Says) -> SettingUp {
    let uri =
        seed.uri(&paths::encoded(&format!("Breakerbook {railway}")), &paths::encoded(me.sign_in().as_str()));
    let code = Field {
        autocomplete: "one-time-code",
        mode: "numeric",
        ..Field::text("one_time_code", "The code that it shows now", "").says(says.code.clone())
    };
    SettingUp {
        square: square(&uri),
        secret: seed.in_fours(),
        sign_in: me.sign_in().to_string(),
        code,
        password: Field::password("password", "Your password").says(says.password.clone()),
    }
}
