//! The daemon as a process: started, told, killed, against servers of our own.

mod commands;
mod kill;
mod neighbours;
mod relays;
mod signals;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rimeward::adapters::sqlite::{Options, Store};

use crate::flow::{code, rimeward, text};
use crate::support::TempDir;

/// A folder with a configuration and the demo's yard; nobody answers for the weather.
pub struct Home {
    pub folder: TempDir,
}

impl Home {
    pub fn new(name: &str, mail: &str) -> Self {
        let home = Self { folder: TempDir::new(name) };
        home.configure(mail);
        let tables = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
        let folder = home.folder.path();
        std::fs::write(folder.join("people.csv"), awake(&tables.join("people.csv"))).unwrap();
        for table in ["sites", "people", "boats"] {
            let own = folder.join(format!("{table}.csv"));
            let file = if own.exists() { own } else { tables.join(format!("{table}.csv")) };
            let output = rimeward(Some(&home.config()), &["import", table, file.to_str().unwrap()]);
            assert_eq!(code(&output), 0, "{}", text(&output));
        }
        home
    }

    pub fn configure(&self, mail: &str) {
        let text = format!(
            r#"
[yard]
name = "Quillback Cove"
time_zone = "America/New_York"
[store]
path = "store.sqlite"
[forecast]
contact = "office@example.org"
[forecast.nws]
base = "http://127.0.0.1:9"
[judge]
members = 32
[mail]
from = "freeze-desk@example.org"
{mail}
"#
        );
        fs::write(self.config(), text).unwrap();
    }

    pub fn config(&self) -> PathBuf {
        self.folder.path().join("rimeward.toml")
    }

    pub fn path(&self) -> PathBuf {
        self.folder.path().join("store.sqlite")
    }

    pub fn store(&self) -> Store {
        Store::open(&self.path(), Options::default()).unwrap()
    }

    /// Starts the daemon; its log goes to `log` in the folder.
    pub fn start(&self, environment: &[(&str, &str)]) -> Child {
        let log = fs::File::create(self.folder.path().join("log")).unwrap();
        Command::new(env!("CARGO_BIN_EXE_rimeward"))
            .env_clear()
            .envs(environment.iter().copied())
            .args(["run", "--config"])
            .arg(self.config())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap()
    }

    pub fn log(&self) -> String {
        fs::read_to_string(self.folder.path().join("log")).unwrap()
    }
}

pub fn relay_on(port: u16) -> String {
    format!("[mail.smtp]\nhost = \"127.0.0.1\"\nport = {port}\nsecurity = \"plaintext-loopback\"\n")
}

/// Waits for a state, not for a time.
pub fn until(what: &str, mut reached: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !reached() {
        assert!(begun.elapsed() < Duration::from_secs(60), "waited a minute until {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Sends a signal by its name.
pub fn signal(child: &Child, name: &str) {
    let sent = Command::new("/bin/sh")
        .args(["-c", &format!("kill -{name} {}", child.id())])
        .status()
        .unwrap();
    assert!(sent.success());
}

/// The people of the demonstration without quiet hours: these tests run by the clock on the wall, at night too.
fn awake(table: &Path) -> String {
    let mut reader = csv::Reader::from_path(table).unwrap();
    let heads = reader.headers().unwrap().clone();
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(&heads).unwrap();
    for row in reader.records().map(Result::unwrap) {
        let quiet = |head: &str| head == "quiet_from" || head == "quiet_to";
        let cells =
            heads.iter().zip(&row).map(|(head, cell)| if quiet(head) { "12:00" } else { cell });
        writer.write_record(cells).unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}
