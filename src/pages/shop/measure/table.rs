//! The railway's own table of most seconds at 300 %: typed in by whoever keeps the roster, with where it is from.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use crate::{
    base::text,
    desk::measure::{ShopPage, ShopTable},
    pages::drawn::form::Field,
    people::Act,
    shop::measurements::{breaker, store},
    web::{Answer, App, Frame, Me, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/measure_table.html")]
struct View {
    frame: Frame,
    rows: Vec<(String, String, String)>,
    from: String,
    form: Option<Form>,
}

struct Form {
    action: &'static str,
    signer: String,
    rows: Field,
    from: Field,
    password: Field,
}

#[derive(Default)]
struct Says {
    rows: Option<String>,
    from: Option<String>,
    password: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    page(StatusCode::OK, &view(&app, frame, &me, None, Says::default()).await?)
}

async fn view(
    app: &App,
    frame: Frame,
    me: &Me,
    typed: Option<&Fields>,
    says: Says,
) -> Result<View, crate::web::Oops> {
    let (kept, from) = store::breaker_table(&mut *app.desk().read().await?).await?.unwrap_or_default();
    let volts = |row: &breaker::Row| row.up_to_v.map(|v| v.to_string()).unwrap_or_default();
    let lines: Vec<String> =
        kept.iter().map(|row| format!("{}, {}, {}", row.up_to_a, volts(row), row.most_s)).collect();
    let typed_or = |name: &str, kept: String| typed.map_or(kept, |typed| typed.get(name).to_owned());
    let form = me.may(Act::KeepRoster).then(|| Form {
        action: paths::BreakerTable::PATTERN,
        signer: me.sign_in().to_string(),
        rows: Field::text("rows", "Rows", &typed_or("rows", lines.join("\n")))
            .hint("One a line: up to so many amperes, up to so many volts (or blank), most seconds.")
            .says(says.rows),
        from: Field::text("from", "Where it is from", &typed_or("from", from.clone()))
            .hint("Named beside every result.")
            .says(says.from),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    });
    let rows = kept.iter().map(|row| (row.up_to_a.to_string(), volts(row), row.most_s.to_string())).collect();
    Ok(View { frame, rows, from, form })
}

pub async fn keep(State(app): State<App>, frame: Frame, me: Me, fields: Fields) -> Answer {
    let permit = me.permit(Act::KeepRoster)?;
    let (rows, from) = (breaker::read_rows(fields.get("rows")), text::tidy(fields.get("from")));
    let mut says = Says {
        rows: rows.as_ref().err().cloned(),
        from: from.is_none().then(|| "Say where it is from: it is named beside every result.".to_owned()),
        password: None,
    };
    if let (Ok(rows), Some(from)) = (rows, from) {
        match signature::sign(&app, &me, fields.get("password")).await? {
            Ok(()) => {
                let table = serde_json::json!({"rows": rows, "from": from});
                let act = ShopPage::table(ShopTable { name: "breaker".into(), table }, &permit, app.now());
                app.desk().act(act).await?;
                return see(&paths::BreakerTable);
            }
            Err(wrong) => says.password = Some(wrong),
        }
    }
    let view = view(&app, frame, &me, Some(&fields), says).await?;
    page(StatusCode::UNPROCESSABLE_ENTITY, &view)
}
