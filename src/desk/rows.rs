//! Rows on their way to the file: gathered as JSON, one statement for each table and group. A statement through
//! sqlx costs about as much as a commit, so few statements are what counts.
use serde::Serialize;
use sqlx::{AssertSqlSafe, SqliteConnection};

/// One table's waiting rows.
#[derive(Debug)]
pub struct Rows {
    sql: &'static str,
    json: Vec<u8>,
    /// What goes beside the JSON, for a statement that cuts its rows' bytes out of these.
    beside: Vec<Vec<u8>>,
}

/// A column, and how its JSON value becomes SQL. Bytes travel as hex.
#[derive(Clone, Copy)]
pub enum Column {
    Plain(&'static str),
    Bytes(&'static str),
}

impl Rows {
    /// A table's statement. `tail` follows the select: what to do on conflict, say.
    /// `or` says what becomes of a row that is there already.
    pub fn sql_into(or: &str, table: &str, columns: &[Column], tail: &str) -> String {
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
        // jsonb_each: rows as they were parsed. json_each would write each out again and have it parsed again.
        format!("INSERT {or} INTO {table} ({names}) SELECT {values} FROM jsonb_each(?) WHERE true {tail}")
    }

    /// Any statement whose only parameter is the JSON array of rows.
    pub fn running(sql: &'static str) -> Self {
        Self::cutting(sql, 0)
    }

    /// A statement whose first `count` parameters are bytes, of which each row takes its parts; the last is the JSON
    /// array of rows.
    pub fn cutting(sql: &'static str, count: usize) -> Self {
        Self { sql, json: Vec::new(), beside: vec![Vec::new(); count] }
    }

    pub fn is_empty(&self) -> bool {
        self.json.is_empty()
    }

    /// Adds a row: a tuple, a slice, anything that serialises as an array (or a plain value).
    pub fn add(&mut self, row: &impl Serialize) {
        self.json.push(if self.json.is_empty() { b'[' } else { b',' });
        // Writing to a Vec cannot fail, and every row type serialises.
        if serde_json::to_writer(&mut self.json, row).is_err() {
            self.json.extend_from_slice(b"null");
        }
    }

    /// Puts bytes beside the rows, into the parameter of that number: from which place on they stand, counted from 1 as SQL
    /// does, and how many.
    pub fn put_beside(&mut self, parameter: usize, given: &[u8]) -> (usize, usize) {
        let Some(all) = self.beside.get_mut(parameter) else { return (1, 0) };
        let place = all.len() + 1;
        all.extend_from_slice(given);
        (place, given.len())
    }

    /// Writes what waits, and is empty again.
    pub async fn flush(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        Script::of([self])?.run(db).await
    }
}

/// The statements of several tables, run in one go: a call into the database costs more than a small statement.
#[derive(Clone, Debug, Default)]
pub struct Script {
    sql: String,
    values: Vec<Value>,
}

#[derive(Clone, Debug)]
enum Value {
    Rows(String),
    Bytes(Vec<u8>),
}

impl Script {
    /// Takes what waits in each, in this order, and leaves them empty.
    pub fn of<'r>(tables: impl IntoIterator<Item = &'r mut Rows>) -> Result<Self, sqlx::Error> {
        let mut script = Self::default();
        for rows in tables.into_iter().filter(|rows| !rows.is_empty()) {
            rows.json.push(b']');
            let json = String::from_utf8(std::mem::take(&mut rows.json))
                .map_err(|why| sqlx::Error::Encode(Box::new(why)))?;
            script.sql.push_str(rows.sql);
            script.sql.push_str(";\n");
            for bytes in &mut rows.beside {
                script.values.push(Value::Bytes(std::mem::take(bytes)));
            }
            script.values.push(Value::Rows(json));
        }
        Ok(script)
    }

    /// That one's statements after these.
    pub fn then(mut self, next: Self) -> Self {
        self.sql.push_str(&next.sql);
        self.values.extend(next.values);
        self
    }

    pub async fn run(self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        if self.sql.is_empty() {
            return Ok(());
        }
        // The text is put together from this program's own constants only.
        let mut query = sqlx::query(AssertSqlSafe(self.sql.as_str()));
        for value in self.values {
            query = match value {
                Value::Rows(json) => query.bind(json),
                Value::Bytes(bytes) => query.bind(bytes),
            };
        }
        query.execute(db).await.map(drop)
    }
}

/// The rows of a table as a struct: its serde field order is the column order, each field one JSON value.
macro_rules! table_row {
    ($(#[$doc:meta])* $name:ident into $table:literal [$tail:literal] { $($field:ident: $type:ty $(as $bytes:ident)?,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub struct $name { $(pub $field: $type,)* }

        impl $name {
            pub fn columns() -> Vec<$crate::desk::rows::Column> {
                vec![$(table_row!(@column $field $($bytes)?),)*]
            }

            pub fn table() -> $crate::desk::rows::Rows {
                static SQL: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| {
                    // OR FAIL needs no journal of the statement: whatever fails is undone with the whole group.
                    let or = if $tail.is_empty() { "OR FAIL" } else { "" };
                    $crate::desk::rows::Rows::sql_into(or, $table, &$name::columns(), $tail)
                });
                $crate::desk::rows::Rows::running(&SQL)
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
