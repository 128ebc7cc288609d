//! Beginning a book: the empty file, page 0, the first administrator.
use std::{collections::HashMap, path::Path, sync::Arc};

use sqlx::Connection;

use super::{
    Desk, DeskOptions, Draft, Page, World,
    body::{Body, BookOpened},
    clerk,
    keep_people::{KeepPeople, KeepSecret, PersonWanted},
    rebuild,
};
use crate::{
    base::{Clock, SignIn},
    book::{Channel, Frontier},
    db::{self, OpenError, Opening},
    people::{Role, codes_store},
};

/// What page 0 says.
#[derive(Clone, Debug)]
pub struct NewBook {
    pub railway: String,
    pub mark: String,
    /// IANA name.
    pub time_zone: String,
    pub demo: bool,
}

/// Creates the file and writes page 0. An existing file is refused untouched.
pub async fn create(path: &Path, book: &NewBook, clock: &Clock) -> Result<(), OpenError> {
    let opened = BookOpened {
        book_id: uuid::Uuid::new_v4(),
        railway: book.railway.clone(),
        mark: book.mark.clone(),
        time_zone: book.time_zone.clone(),
        demo: book.demo,
    };
    let world = World::new(&opened).map_err(OpenError::NotABook)?;
    db::open::create(path).await?;
    let mut connection = db::open::writer(path, &Opening::default()).await?;
    db::migrate::migrate(&mut connection, path).await?;
    rebuild::if_shape_changed(&mut connection).await?;
    let page = Page {
        author: None,
        channel: Channel::Console,
        on_behalf_of: None,
        happened_at: None,
        body: Body::BookOpened(Box::new(opened)),
    };
    let mut draft = Draft::on(Arc::new(world), Frontier::default());
    draft.file(&page, clock.now()).map_err(|why| OpenError::NotABook(why.to_string()))?;
    let mut tx = connection.begin_with("BEGIN IMMEDIATE").await?;
    clerk::write(&mut tx, &mut draft, 0).await?;
    tx.commit().await?;
    connection.close().await?;
    Ok(())
}

/// Creates the book with its first administrator, whose password must be changed at the first sign-in. It asks supervisors
/// and administrators for one-time codes; a demo's book does not.
pub async fn begin(
    path: &Path,
    book: &NewBook,
    admin: &SignIn,
    password_hash: String,
    options: DeskOptions,
) -> Result<Desk, OpenError> {
    let clock = options.clock.clone();
    create(path, book, &clock).await?;
    let desk = Desk::open(path, options).await?;
    let refused = |why: super::Refused| OpenError::NotABook(why.says());
    let person = PersonWanted {
        sign_in: admin.clone(),
        role: Role::Administrator,
        name: admin.to_string(),
        craft: String::new(),
    };
    let people = KeepPeople::of(&[person], &HashMap::new(), None, Channel::Console)
        .map_err(|why| OpenError::NotABook(why.to_string()))?;
    desk.act(people).await.map_err(refused)?;
    desk.act(KeepSecret::password(admin, password_hash, true, None, clock.now())).await.map_err(refused)?;
    let now = clock.now();
    let asking = desk.aside(move |c| Box::pin(async move { codes_store::ask(c, now).await }));
    asking.await.map_err(|why| OpenError::NotABook(why.to_string()))?;
    Ok(desk)
}
