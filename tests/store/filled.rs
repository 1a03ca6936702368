//! Stores as earlier layouts left them, filled: they open, and life goes on without a second letter.

use std::io::Read as _;
use std::path::Path;

use rimeward::adapters::settings::Settings;
use rimeward::adapters::sqlite::{Options, Store, newest_layout};
use rimeward::app::context::AppContext;
use rimeward::app::notify::Composer;
use rimeward::app::ports::{OutboxState, Posted};
use rimeward::app::round::{Memory, RoundDeps, judge_pass, round};
use rimeward::daemon::post::channel;
use rusqlite::Connection;

use crate::support::{TempDir, at};

/// Two boats on the evening of 10 November of the demonstration, written by the version of layout 12: open alerts, a letter that
/// the yard may hold until the next morning, and one that had not left yet.
fn layout_12(path: &Path) {
    let mut sql = String::new();
    let packed: &[u8] = include_bytes!("layout_12.sql.gz");
    flate2::read::GzDecoder::new(packed).read_to_string(&mut sql).unwrap();
    Connection::open(path).unwrap().execute_batch(&sql).unwrap();
}

fn context(folder: &Path) -> AppContext {
    let text = r#"
[yard]
name = "Quillback Cove"
time_zone = "America/New_York"
[store]
path = "old.sqlite"
[forecast]
contact = "office@example.org"
[mail]
from = "freeze-desk@example.org"
maildir = "Maildir"
"#;
    let settings = Settings::parse(text, folder).unwrap();
    AppContext::open(settings, Options::default()).unwrap()
}

fn waiting(app: &AppContext) -> Vec<Posted> {
    let letters = app.store.letters(None).unwrap();
    letters.into_iter().filter(|letter| letter.state == OutboxState::Queued).collect()
}

#[test]
fn a_filled_store_of_layout_12_goes_on_without_a_second_letter() {
    let folder = TempDir::new("layout12");
    layout_12(&folder.path().join("old.sqlite"));
    let path = folder.path().join("old.sqlite");
    let store = Store::open(&path, Options::default()).unwrap();
    assert_eq!(store.layout().unwrap(), newest_layout());
    drop(store);
    let app = context(folder.path());
    let alerts = app.store.open_alerts().unwrap().len();
    assert_eq!(alerts, 2, "B02 and B12");
    let queued = waiting(&app);
    assert_eq!(queued.len(), 2, "one held, one not yet sent");
    assert_eq!(app.store.held_letters(at("2022-11-11T04:20:00Z")).unwrap().len(), 1);

    let composer = Composer::of(&app.settings, &*app.mailer).unwrap();
    let (before, night) = (app.store.letters(None).unwrap().len(), at("2022-11-11T04:20:00Z"));
    let judged = judge_pass(&app, &composer, &mut Memory::default(), night).unwrap().unwrap();
    assert_eq!((judged.queued, judged.unsendable), (0, 0), "{:?}", judged.changes);
    assert_eq!(app.store.letters(None).unwrap().len(), before);
    assert_eq!(app.store.open_alerts().unwrap().len(), alerts);

    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let mut way_out = channel(&app.settings.mail, false).unwrap();
    let mut deps = RoundDeps {
        house: &app,
        composer: &composer,
        client: None,
        channel: Some(&mut way_out),
        endpoints: None,
        clock: None,
    };
    for time in ["2022-11-11T04:30:00Z", "2022-11-11T04:40:00Z", "2022-11-11T15:05:00Z"] {
        runtime.block_on(round(&mut deps, &mut Memory::default(), at(time))).unwrap();
    }
    for letter in queued {
        let (to, id) = (&letter.row.recipient, &letter.row.message_id);
        let new = folder.path().join("Maildir").join(to.as_str()).join("new");
        let got: Vec<Vec<u8>> = std::fs::read_dir(new)
            .unwrap()
            .map(|e| std::fs::read(e.unwrap().path()).unwrap())
            .collect();
        let same = |bytes: &&Vec<u8>| String::from_utf8_lossy(bytes).contains(id.as_str());
        let copies: Vec<&Vec<u8>> = got.iter().filter(same).collect();
        assert_eq!(copies.len(), 1, "{to}: {} once", letter.row.subject);
        assert!(copies[0].ends_with(&letter.row.bytes), "the bytes stay what they were");
    }
}
