//! Rows on their way to the file: gathered as JSON, one statement for each table and group. A statement through
//! sqlx costs about as much as a commit, so few statements are what counts.
use serde::Serialize;
use sqlx::{AssertSqlSafe, SqliteConnection};

/// One table's waiting rows.
#[derive(Debug)]
pub struct Rows {
    sql: String,
    json: Vec<u8>,
}

/// A column, and how its JSON value becomes SQL. Bytes travel as hex.
#[derive(Clone, Copy)]
pub enum Column {
    Plain(&'static str),
    Bytes(&'static str),
}

impl Rows {
    /// `tail` follows the select: what to do on conflict, say.
    pub fn into_table(table: &str, columns: &[Column], tail: &str) -> Self {
        let (mut names, mut values) = (Vec::new(), Vec::new());
        for (n, column) in columns.iter().enumerate() {
            match column {
                Column::Plain(name) => {
                    names.push(*name);
                    values.push(format!("value->>{n}"));
                }
                Column::Bytes(name) => {
                    names.push(*name);
                    values.push(format!("unhex(value->>{n})"));
                }
            }
        }
        let (names, values) = (names.join(", "), values.join(", "));
        Self::running(format!(
            "INSERT INTO {table} ({names}) SELECT {values} FROM json_each(?1) WHERE true {tail}"
        ))
    }

    /// Any statement whose only parameter is the JSON array of rows.
    pub fn running(sql: String) -> Self {
        Self { sql, json: Vec::new() }
    }

    pub fn is_empty(&self) -> bool {
        self.json.is_empty()
    }

    /// What the next flush will run: the statement, and its rows as JSON without the closing bracket.
    pub fn waiting(&self) -> Option<(&str, &[u8])> {
        (!self.json.is_empty()).then_some((self.sql.as_str(), self.json.as_slice()))
    }

    /// Adds a row: a tuple, a slice, anything that serialises as an array (or a plain value).
    pub fn add(&mut self, row: &impl Serialize) {
        self.json.push(if self.json.is_empty() { b'[' } else { b',' });
        // Writing to a Vec cannot fail, and every row type serialises.
        if serde_json::to_writer(&mut self.json, row).is_err() {
            self.json.extend_from_slice(b"null");
        }
    }

    /// Writes what waits, and is empty again.
    pub async fn flush(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        if self.json.is_empty() {
            return Ok(());
        }
        self.json.push(b']');
        let json = String::from_utf8(std::mem::take(&mut self.json))
            .map_err(|why| sqlx::Error::Encode(Box::new(why)))?;
        // The text is put together from this program's own constants only.
        sqlx::query(AssertSqlSafe(self.sql.as_str())).bind(json).execute(db).await?;
        Ok(())
    }
}

/// The rows of a table as a struct: its serde field order is the column order, each field one JSON value.
macro_rules! table_row {
    ($(#[$doc:meta])* $name:ident into $table:literal [$tail:literal] { $($field:ident: $type:ty $(as $bytes:ident)?,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub struct $name { $(pub $field: $type,)* }

        impl $name {
            pub fn table() -> $crate::desk::rows::Rows {
                $crate::desk::rows::Rows::into_table($table, &[$(table_row!(@column $field $($bytes)?),)*], $tail)
            }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                use serde::ser::SerializeSeq;
                let mut row = to.serialize_seq(None)?;
                $(row.serialize_element(&self.$field)?;)*
                row.end()
            }
        }
    };
    (@column $field:ident bytes) => { $crate::desk::rows::Column::Bytes(stringify!($field)) };
    (@column $field:ident) => { $crate::desk::rows::Column::Plain(stringify!($field)) };
}
pub(crate) use table_row;
