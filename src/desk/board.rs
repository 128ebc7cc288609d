//! What the board of open lines is made of, kept until the book grows or a line begins or ends: a large railway has
//! thousands of open lines, and reading them took most of a page's time.
use std::{
    borrow::Cow,
    collections::{BTreeSet, HashMap},
    sync::Arc,
};

use sqlx::{Connection, SqliteConnection};

use super::{Desk, World};
use crate::{
    base::{Instant, UnitName},
    db::writer::Trouble,
    rules::{
        Finding, Rule,
        explained::Folded,
        store::{self, Decisions, Wanted},
    },
    shop::{Causes, store::causes},
};

#[derive(Debug)]
pub struct Board {
    /// Pages in the book then.
    size: i64,
    /// It says what is so from here until there.
    from: Instant,
    until: Option<Instant>,
    /// Every line that is open: the certain first, the newest first, then the heaviest.
    open: Vec<Finding>,
    /// The rule of each, close together: what a page asks for is mostly told by the rule.
    rules: Vec<Rule>,
    /// Their places by the units that they are about.
    of_unit: HashMap<UnitName, Vec<usize>>,
    /// Those that are reckoned, as a board has them.
    reckoned: Folded,
    pub decisions: Decisions,
    pub causes: Causes,
}

impl Board {
    /// The open lines that are wanted.
    pub fn open<'a, 'w>(&'a self, wanted: &'w Wanted<'w>) -> impl Iterator<Item = &'a Finding> + use<'a, 'w> {
        let of_unit = wanted.unit.map(|unit| self.of_unit.get(unit).map_or(&[][..], Vec::as_slice));
        let all = 0..of_unit.map_or(self.open.len(), |_| 0);
        let places = of_unit.into_iter().flatten().copied().chain(all);
        let by_rule = places.filter(|n| self.rules.get(*n).is_some_and(|rule| wanted.has_rule(*rule)));
        // Of thousands of lines only the rule is looked at where nothing else was asked for.
        let narrow = wanted.is_narrow();
        by_rule.filter_map(|n| self.open.get(n)).filter(move |finding| !narrow || wanted.has(finding))
    }

    /// The reckoned lines that are wanted, as a board has them.
    pub fn reckoned(&self, wanted: &Wanted<'_>) -> Cow<'_, Folded> {
        if !wanted.is_narrow() {
            return Cow::Borrowed(&self.reckoned);
        }
        let reckoned = Wanted { rules: Some(&Rule::RECKONED), ..wanted.clone() };
        Cow::Owned(Folded::of(self.open(&reckoned).cloned().collect()))
    }

    async fn read(db: &mut SqliteConnection, world: &World, now: Instant) -> Result<Self, sqlx::Error> {
        // One moment of the book for all of it.
        let mut tx = db.begin().await?;
        let size = size(&mut tx).await?;
        let open = store::open_at(&mut tx, &Wanted::default(), now).await?;
        let reckoned = open.iter().filter(|finding| Rule::RECKONED.contains(&finding.rule));
        Ok(Self {
            size,
            from: now,
            until: store::next_change(&mut tx, now).await?,
            reckoned: Folded::of(reckoned.cloned().collect()),
            rules: open.iter().map(|finding| finding.rule).collect(),
            of_unit: by_unit(&open),
            open,
            decisions: store::decisions(&mut tx, None, now).await?,
            causes: causes(&mut tx, &world.roster, now).await?,
        })
    }

    fn is_so(&self, size: i64, now: Instant) -> bool {
        self.size == size && self.from <= now && self.until.is_none_or(|until| now < until)
    }
}

/// A line about several units stands with each.
fn by_unit(open: &[Finding]) -> HashMap<UnitName, Vec<usize>> {
    let mut places: HashMap<UnitName, Vec<usize>> = HashMap::new();
    for (place, finding) in open.iter().enumerate() {
        let units: BTreeSet<&UnitName> = finding.unit.iter().chain(&finding.units).collect();
        units.into_iter().for_each(|unit| places.entry(unit.clone()).or_default().push(place));
    }
    places
}

/// Pages in the book now.
pub(super) async fn size(db: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("SELECT size FROM head").fetch_one(db).await
}

impl Desk {
    /// The board as the book has it now.
    pub async fn board(&self, db: &mut SqliteConnection, now: Instant) -> Result<Arc<Board>, Trouble> {
        let sql = |why: sqlx::Error| Trouble::from(&why);
        let size = size(db).await.map_err(sql)?;
        let kept = self.board.load_full();
        if let Some(board) = kept.filter(|board| board.is_so(size, now)) {
            return Ok(board);
        }
        let world = self.world_now(db).await?;
        let board = Arc::new(Board::read(db, &world, now).await.map_err(sql)?);
        self.board.store(Some(Arc::clone(&board)));
        Ok(board)
    }
}
