//! What a tablet has to keep of a unit, read at one moment: see [`crate::rules::situation`].
use sqlx::SqliteConnection;

use super::{World, parts};
use crate::{
    base::{Instant, SignIn, UnitName},
    rules::situation::{self, Beside, UnitSituation},
    shop,
};

/// For the answers about one unit where there is no network, as `me` would get them at `now`.
pub async fn situation_of(
    db: &mut SqliteConnection,
    world: &World,
    unit: &UnitName,
    me: &SignIn,
    now: Instant,
) -> Result<UnitSituation, sqlx::Error> {
    let dossiers: Vec<_> = parts::dossiers_of_units(&mut *db, &[unit.as_str()]).await?.into_iter().collect();
    let in_shop = shop::store::in_shop(db, unit).await?;
    let schedule = world.roster.schedule_at(unit, now);
    let beside = Beside { me, people: &world.people, zone: &world.railway.zone, schedule, now };
    Ok(situation::of(unit, &dossiers, in_shop, &beside))
}
