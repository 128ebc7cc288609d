//! 'May I close it again?', before the question is asked: from the schedule, from what all crews wrote, and from
//! what lies in this person's own draft.
use super::{checking::Sheet, draft::Kept, store, unit_of::UnitHere};
use crate::{
    base::{EntryId, SignIn},
    reports::{kinds::Kind, stored, vocabulary::Signs},
    roster::Device,
    rules::{
        Dossier, DossierKey, Fact,
        dossier::Subject,
        reset_answer::{Asked, ResetAnswer, reset_answer},
        routing::{Source, route},
    },
    web::{App, Me, Oops},
};

/// The answer in lines; none where nothing can be closed again.
pub async fn answer(app: &App, me: &Me, here: &UnitHere, sheet: &Sheet) -> Result<Vec<String>, Oops> {
    let (Kind::BreakerTrip, Some(device)) = (sheet.kind, sheet.device(here)) else { return Ok(Vec::new()) };
    let mut db = app.desk().read().await?;
    let dossiers = store::dossiers_of(&mut db, &here.unit).await?;
    let draft = store::draft_of(&mut db, me.sign_in(), &here.unit).await?;
    Ok(lines(&reckon(here, me.sign_in(), device, &dossiers, draft.as_ref(), sheet)))
}

fn reckon(
    here: &UnitHere,
    me: &SignIn,
    device: &Device,
    dossiers: &[(DossierKey, Dossier)],
    draft: Option<&Kept>,
    sheet: &Sheet,
) -> ResetAnswer {
    let subject = Subject::Device(device.tag.clone());
    let of_it = dossiers.iter().filter(|(key, _)| key.subject == subject);
    let mut facts: Vec<Fact> = of_it.flat_map(|(_, dossier)| dossier.facts()).cloned().collect();
    let drafted = drafted(here, me, draft, Some(sheet.entry));
    facts.extend(drafted.into_iter().filter(|(of, _)| *of == subject).map(|(_, fact)| fact));
    let all = Dossier::of(facts);
    let ticked: Vec<Signs> =
        sheet.typed.stated("signs").as_deref().and_then(Signs::parse).into_iter().collect();
    reset_answer(&Asked {
        device: Some(device),
        facts: all.facts(),
        me,
        people: &here.world.people,
        ticked: &ticked,
        tripped_at: Some(here.now),
        picture_from: here.now,
        now: here.now,
        zone: &here.world.railway.zone,
    })
}

/// What is written down but not signed yet counts as well; the entry on the form itself does not.
pub fn drafted(
    here: &UnitHere,
    me: &SignIn,
    kept: Option<&Kept>,
    but: Option<EntryId>,
) -> Vec<(Subject, Fact)> {
    let Some(kept) = kept else { return Vec::new() };
    let source = Source {
        report: kept.id,
        seq: 0,
        author: me.clone(),
        recorded_at: here.now,
        run: None,
        position: None,
    };
    let others = kept.draft.unsent().filter(|entry| Some(entry.id) != but);
    let read = others.filter_map(|entry| stored::entry(&Sheet::of(entry).json(here, me).0.to_string()).ok());
    read.flat_map(|entry| route(&source, &entry, here.schedule())).collect()
}

fn lines(answer: &ResetAnswer) -> Vec<String> {
    let named = |name: &str, line: &Option<String>| line.as_ref().map(|line| format!("{name}: {line}"));
    let all = [
        Some(answer.says.clone()),
        named("Before closing", &answer.before),
        named("After closing", &answer.after),
        named("If it is left off", &answer.if_left_off),
        Some(answer.defers.to_owned()),
    ];
    all.into_iter().flatten().collect()
}
