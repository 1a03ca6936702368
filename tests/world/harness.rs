//! The world: clock, weather, relay, store, and the daemon's loops between them.

use std::path::Path;
use std::sync::{Arc, Mutex};

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::intake::{self, Known};
use rimeward::adapters::sqlite::Store;
use rimeward::app::context::AppContext;
use rimeward::app::settings::Settings;
use rimeward::daemon::{Daemon, Task};
use rimeward::domain::catalogue::Catalogue;
use tokio::runtime::Runtime;

use super::checks::Checks;
use super::faults::{Fault, Faults};
use super::weather::{Manner, Weather, serve};
use crate::forecast::server::Server;
use crate::support::TempDir;
use crate::support::smtp::{Act, At, SmtpServer};

/// So many activations without the clock moving mean that a loop turns on the spot.
const SAME_INSTANT_MOST: u32 = 60;

pub struct World {
    runtime: Runtime,
    pub weather: Arc<Mutex<Weather>>,
    _server: Server,
    /// Holds the key for Message-IDs.
    _home: TempDir,
    pub relay: SmtpServer,
    settings: Settings,
    daemon: Option<Daemon>,
    /// The true time.
    pub now: DateTime<Utc>,
    /// How far the machine's clock is off.
    pub off: TimeDelta,
    poked: Vec<Task>,
    pub checks: Checks,
    pub activations: usize,
}

impl World {
    pub fn new(seed: u64, start: DateTime<Utc>) -> Self {
        Self::with(seed, start, |_| {})
    }

    /// A world whose settings are changed before anything runs.
    pub fn with(seed: u64, start: DateTime<Utc>, change: impl FnOnce(&mut Settings)) -> Self {
        Self::made(Store::open_in_memory().unwrap(), seed, start, change)
    }

    /// A world over a store that is there already.
    pub fn over(store: Store, seed: u64, start: DateTime<Utc>) -> Self {
        Self::made(store, seed, start, |_| {})
    }

    fn made(
        store: Store,
        seed: u64,
        start: DateTime<Utc>,
        change: impl FnOnce(&mut Settings),
    ) -> Self {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let weather = Arc::new(Mutex::new(Weather::new(seed, start)));
        let server = runtime.block_on(serve(Arc::clone(&weather)));
        let relay = SmtpServer::start(&[]);
        let home = TempDir::new("world");
        write_secret(&home.path().join("id.key"), "the same key in every world");
        let mut settings = settings(&server.base, relay.port, home.path());
        change(&mut settings);
        let catalogue = Catalogue::built_in().unwrap();
        let house = AppContext::over(settings.clone(), catalogue, Box::new(store));
        load_yard(&house);
        let guard = runtime.enter();
        let daemon = Daemon::over(house).unwrap();
        drop(guard);
        daemon.begin(start).unwrap();
        Self {
            runtime,
            weather,
            _server: server,
            _home: home,
            relay,
            settings,
            daemon: Some(daemon),
            now: start,
            off: TimeDelta::zero(),
            poked: Task::ALL.to_vec(),
            checks: Checks::default(),
            activations: 0,
        }
    }

    pub fn house(&self) -> &AppContext {
        &self.daemon.as_ref().unwrap().house
    }

    /// What the machine's clock shows.
    pub fn clock(&self) -> DateTime<Utc> {
        self.now + self.off
    }

    pub fn set_manner(&self, manner: Manner) {
        self.weather.lock().unwrap().manner = manner;
    }

    /// The daemon dies between two activations; another one starts on what the store holds.
    pub fn crash(&mut self) {
        let daemon = self.daemon.take().unwrap();
        drop(daemon.loops);
        let old = Arc::try_unwrap(daemon.house).expect("nobody else holds the house");
        let house = AppContext::over(self.settings.clone(), old.catalogue, old.store);
        let guard = self.runtime.enter();
        let daemon = Daemon::over(house).unwrap();
        drop(guard);
        daemon.begin(self.clock()).unwrap();
        self.daemon = Some(daemon);
        self.poked = Task::ALL.to_vec();
    }

    /// The machine sleeps: time passes and nothing runs.
    pub fn sleep(&mut self, time: TimeDelta) {
        self.now += time;
        self.checks.was_away(self.now);
    }

    /// The clock is set so far off the true time.
    pub fn set_clock_off(&mut self, off: TimeDelta) {
        self.off = off;
        self.checks.was_away(self.now);
    }

    fn do_fault(&mut self, fault: &Fault) {
        match *fault {
            Fault::Weather(manner) => self.set_manner(manner),
            Fault::Relay(manner) => self.relay.always(manner),
            Fault::LostReply => {
                self.relay.add(At::Dot, Act::Drop);
                self.checks.lost_replies += 1;
            }
            Fault::Crash => self.crash(),
            Fault::Sleep(time) => self.sleep(time),
            Fault::ClockOff(off) => self.set_clock_off(off),
        }
    }

    pub fn run(&mut self, time: TimeDelta) {
        self.run_until(self.now + time, &mut Faults::none());
    }

    /// Activates whatever is due, in the order of time, until the true time is `end`; faults strike at theirs.
    pub fn run_until(&mut self, end: DateTime<Utc>, faults: &mut Faults) {
        let mut on_the_spot = 0;
        loop {
            let (task, due) = self.next();
            let fault_at = faults.next_at().filter(|at| *at < end);
            let due = due.max(self.now);
            if let Some(at) = fault_at
                && at <= due
            {
                self.now = self.now.max(at);
                if let Some(fault) = faults.take() {
                    self.do_fault(&fault);
                }
                continue;
            }
            if due >= end {
                self.now = self.now.max(end);
                return;
            }
            on_the_spot = if due == self.now { on_the_spot + 1 } else { 0 };
            assert!(on_the_spot < SAME_INSTANT_MOST, "{} turns on the spot at {due}", task.name());
            self.now = due;
            self.activate(task);
        }
    }

    /// The loop that is due first, and when, in true time.
    fn next(&mut self) -> (Task, DateTime<Utc>) {
        if let Some(task) = self.poked.pop() {
            return (task, self.now);
        }
        let clock = self.clock();
        let daemon = self.daemon.as_ref().unwrap();
        let due = daemon.loops.iter().map(|one| (one.next_due(clock).unwrap(), one.task())).min();
        let (due, task) = due.unwrap();
        (task, due - self.off)
    }

    fn activate(&mut self, task: Task) {
        let clock = self.clock();
        self.weather.lock().unwrap().now = self.now;
        let daemon = self.daemon.as_mut().unwrap();
        let one = daemon.loops.iter_mut().find(|one| one.task() == task).unwrap();
        let done = self.runtime.block_on(one.activate(clock, &|| true)).unwrap();
        self.activations += 1;
        // In the order in which they are to run; the list is taken from its end.
        for poked in done.poke.iter().copied().rev() {
            if !self.poked.contains(&poked) {
                self.poked.push(poked);
            }
        }
        let house = &daemon.house;
        // A look that found nothing new judged up to three hours ago: the check is about evaluations.
        let judged = task == Task::Judge && done.text.contains("boats judged");
        self.checks.after(judged, house, &self.relay, self.now, clock);
    }

    /// Faults have ended: everything due goes out within a retry period and more.
    pub fn settle(&mut self) {
        self.set_manner(Manner::Well);
        self.relay.always(None);
        self.off = TimeDelta::zero();
        self.checks.was_away(self.now);
        self.run(TimeDelta::hours(26));
        self.checks.at_the_end(&self.daemon.as_ref().unwrap().house, &self.relay, self.now);
    }
}

fn write_secret(path: &Path, text: &str) {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut options = std::fs::OpenOptions::new();
    let mut file = options.write(true).create(true).mode(0o600).open(path).unwrap();
    file.write_all(text.as_bytes()).unwrap();
}

fn settings(base: &str, port: u16, home: &Path) -> Settings {
    let text = format!(
        r#"
[yard]
name = "Larch Hollow"
time_zone = "America/New_York"
worklist = "30 6 * * *"
[store]
path = "in-memory-only.sqlite"
[forecast]
contact = "office@example.org"
[forecast.nws]
base = "{base}"
[judge]
members = 32
horizon_h = 48
past_days = 3
[mail]
from = "freeze-desk@example.org"
id_key_file = "id.key"
[mail.smtp]
host = "127.0.0.1"
port = {port}
security = "plaintext-loopback"
"#
    );
    Settings::parse(&text, home).unwrap()
}

/// One place, two boats of which nothing is on record, their owner, a manager, the operator.
fn load_yard(house: &AppContext) {
    let pick = |text: &str, ids: &[&str]| {
        let mut lines = text.lines();
        let head = lines.next().unwrap().to_owned();
        let own = lines.filter(|line| ids.contains(&line.split(',').next().unwrap()));
        std::iter::once(head).chain(own.map(str::to_owned)).collect::<Vec<_>>().join("\n")
    };
    let sites = pick(include_str!("../../config/demo/sites.csv"), &["UPPER"]);
    let people = pick(include_str!("../../config/demo/people.csv"), &["P02", "P51", "P54"]);
    let boats = pick(include_str!("../../config/demo/boats.csv"), &["B02"]);
    let sites = intake::csv::sites(sites.as_bytes(), "sites.csv").unwrap().rows;
    let people = intake::csv::people(people.as_bytes(), "people.csv").unwrap().rows;
    let known = Known::catalogue(&house.catalogue).with_sites(&sites);
    let boats = intake::csv::boats(boats.as_bytes(), "boats.csv", &known).unwrap().rows;
    assert_eq!((sites.len(), people.len(), boats.len()), (1, 3, 1));
    house.store.put_yard(&sites, &people, &boats).unwrap();
}
