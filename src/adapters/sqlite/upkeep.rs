//! Looking after the file: checks, copies, and a text of everything in it.

use std::fmt::Write as _;
use std::path::Path;

use chrono::{DateTime, Utc};
use data_encoding::HEXLOWER;
use rusqlite::backup::Backup;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OpenFlags, params};

use super::cached::Cached as _;
use super::column::Millis;
use super::error::Doing as _;
use super::{Store, migrate};
use crate::app::ports::{StoreError, Upkeep};

/// A forecast is in hand for so long after it was fetched: then it is too old to decide on.
const IN_HAND_MS: i64 = 26 * 3_600_000;

impl Upkeep for Store {
    fn backup(&self, path: &Path) -> Result<(), StoreError> {
        if path.exists() {
            return Err(StoreError::Refused(format!(
                "{} is there already: name another file, or move it away first",
                path.display()
            )));
        }
        let doing = format!("copying the store to {}", path.display());
        // Under another name until it is whole: a half copy never looks like a backup.
        let mut unfinished = path.as_os_str().to_owned();
        unfinished.push(".unfinished");
        let unfinished = Path::new(&unfinished);
        if unfinished.exists() {
            std::fs::remove_file(unfinished).context(&doing)?;
        }
        super::create_private(unfinished).context(&doing)?;
        {
            let flags = OpenFlags::SQLITE_OPEN_READ_WRITE;
            let mut copy = Connection::open_with_flags(unfinished, flags).context(&doing)?;
            copy_all(&self.lock(), &mut copy, &doing)?;
            // One file, without a log beside it.
            copy.query_row("PRAGMA journal_mode=DELETE", [], |row| row.get::<_, String>(0))
                .context(&doing)?;
            check(&copy, "PRAGMA quick_check(1)")?;
        }
        std::fs::File::open(unfinished).and_then(|file| file.sync_all()).context(&doing)?;
        std::fs::rename(unfinished, path).context(&doing)
    }

    fn quick_check(&self) -> Result<(), StoreError> {
        self.read("checking the store", |connection| check(connection, "PRAGMA quick_check(1)"))
    }

    fn full_check(&self) -> Result<(), StoreError> {
        self.read("checking the store", check_fully)
    }

    fn thin_forecasts(&self, before: DateTime<Utc>, most: u32) -> Result<usize, StoreError> {
        let doing = "thinning old forecasts";
        self.write(doing, |tx| {
            let mut gone = 0;
            for (table, key) in [("forecast", "id"), ("observation", "rowid")] {
                let statement = format!(
                    "DELETE FROM {table} WHERE {key} IN (SELECT old.{key} FROM {table} AS old WHERE old.fetched_ms < ?1
                        AND NOT EXISTS (SELECT 1 FROM alert_log JOIN alert ON alert.id = alert_log.alert_id
                            WHERE alert.site = old.site AND alert_log.at_ms >= old.fetched_ms
                                AND alert_log.at_ms < old.fetched_ms + ?2)
                        ORDER BY old.fetched_ms LIMIT ?3)"
                );
                gone += tx.change(&statement, params![Millis(before), IN_HAND_MS, most]).context(doing)?;
            }
            Ok(gone)
        })
    }

    fn dump(&self) -> Result<String, StoreError> {
        let doing = "writing out the store";
        self.read(doing, |connection| {
            let mut text = format!("layout {}\n", migrate::layout(connection)?);
            let mut statement = connection
                .prepare(
                    "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name",
                )
                .context(doing)?;
            let tables: Vec<String> = statement
                .query_map([], |row| row.get(0))
                .context(doing)?
                .collect::<Result<_, _>>()
                .context(doing)?;
            for table in tables {
                dump_table(connection, &table, &mut text).context(doing)?;
            }
            Ok(text)
        })
    }
}

impl Store {
    /// [`Store::full_check`] on a connection of its own, so that nobody waits for it.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] with the first finding.
    pub fn full_check_apart(path: &Path) -> Result<(), StoreError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
        let apart = Connection::open_with_flags(path, flags).context("checking the store")?;
        check_fully(&apart)
    }

    /// The layout of the open store.
    ///
    /// # Errors
    /// Whatever the database answers.
    pub fn layout(&self) -> Result<i64, StoreError> {
        self.read("reading the layout of the store", migrate::layout)
    }

    /// Replaces everything in this store by what stands in the backup at `path`, in one transaction, and brings it
    /// to the newest layout. The backup is checked first and not changed.
    ///
    /// # Errors
    /// [`StoreError::Newer`] or [`StoreError::Damaged`] when the backup is no good: the store is as it was then.
    pub fn restore(&self, path: &Path) -> Result<(), StoreError> {
        let doing = format!("restoring the store from {}", path.display());
        let backup = sound_backup(path, &doing)?;
        let mut connection = self.lock();
        copy_all(&backup, &mut connection, &doing)?;
        migrate::forward(&mut connection, migrate::newest_layout()).map(drop)
    }

    /// Is this a backup that [`Store::restore`] would take?
    ///
    /// # Errors
    /// As there.
    pub fn check_backup(path: &Path) -> Result<(), StoreError> {
        sound_backup(path, &format!("looking at the backup {}", path.display())).map(drop)
    }
}

fn sound_backup(path: &Path, doing: &str) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
    let backup = Connection::open_with_flags(path, flags).context(doing)?;
    check(&backup, "PRAGMA integrity_check(1)")?;
    let (found, known) = (migrate::layout(&backup)?, migrate::newest_layout());
    if found > known {
        return Err(StoreError::Newer { found, known });
    }
    if found == 0 {
        let what = "it holds no store of this service".to_owned();
        return Err(StoreError::Damaged { doing: doing.to_owned(), what });
    }
    Ok(backup)
}

fn copy_all(from: &Connection, to: &mut Connection, doing: &str) -> Result<(), StoreError> {
    let backup = Backup::new(from, to).context(doing)?;
    // All pages in one step: consistent, and short for a store of this kind.
    match backup.step(-1).context(doing)? {
        rusqlite::backup::StepResult::Done => Ok(()),
        _ => Err(StoreError::Locked {
            doing: doing.to_owned(),
            source: rusqlite::Error::SqliteFailure(
                rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY),
                None,
            )
            .into(),
        }),
    }
}

fn check_fully(connection: &Connection) -> Result<(), StoreError> {
    check(connection, "PRAGMA integrity_check(1)")?;
    let doing = "checking the references in the store";
    let mut statement = connection.prepare("PRAGMA foreign_key_check").context(doing)?;
    match statement.query([]).context(doing)?.next().context(doing)? {
        None => Ok(()),
        Some(row) => Err(StoreError::Damaged {
            doing: doing.to_owned(),
            what: format!("a row of {} refers to nothing", row.get::<_, String>(0).context(doing)?),
        }),
    }
}

fn check(connection: &Connection, pragma: &str) -> Result<(), StoreError> {
    let doing = "checking the store";
    let answer: String = connection.query_row(pragma, [], |row| row.get(0)).context(doing)?;
    if answer == "ok" {
        Ok(())
    } else {
        Err(StoreError::Damaged { doing: doing.to_owned(), what: answer })
    }
}

fn dump_table(connection: &Connection, table: &str, text: &mut String) -> rusqlite::Result<()> {
    let mut statement = connection.prepare(&format!("SELECT * FROM \"{table}\""))?;
    let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
    let mut lines = Vec::new();
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let mut line = String::new();
        for (index, column) in columns.iter().enumerate() {
            let value = match row.get_ref(index)? {
                ValueRef::Null => "-".to_owned(),
                ValueRef::Integer(number) => number.to_string(),
                ValueRef::Real(number) => number.to_string(),
                ValueRef::Text(bytes) => format!("{:?}", String::from_utf8_lossy(bytes)),
                ValueRef::Blob(bytes) => HEXLOWER.encode(bytes),
            };
            // Writing to a String cannot go wrong.
            let _ = write!(line, " {column}={value}");
        }
        lines.push((row.get::<_, rusqlite::types::Value>(0)?, line));
    }
    // By number where the first column is one, so that row 10 comes after row 9.
    lines.sort_by(|(a, a_line), (b, b_line)| {
        use rusqlite::types::Value::Integer;
        match (a, b) {
            (Integer(a), Integer(b)) => a.cmp(b).then_with(|| a_line.cmp(b_line)),
            _ => a_line.cmp(b_line),
        }
    });
    for (_, line) in lines {
        let _ = writeln!(text, "{table}:{line}");
    }
    Ok(())
}
