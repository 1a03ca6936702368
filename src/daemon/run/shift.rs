//! One set of loops at work, from their start until they are told to end.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Notify, watch};
use tokio::task::JoinSet;

use crate::app::context::AppContext;
use crate::app::context::with_causes;
use crate::app::ports::{AppStore, Clock as _};
use crate::daemon::clock::SystemClock;
use crate::daemon::{Daemon, Done, Loop, Task};

/// How long the loops may take to end: what still runs then is left, and taken up by the next start. The service manager
/// gives us ten seconds in all.
const GRACE: Duration = Duration::from_secs(8);
/// How long they may take to give back what they hold, once they are dropped.
const DROPPED_WITHIN: Duration = Duration::from_secs(1);
/// A loop without a sign of progress for so long hangs. The longest step is one place of a weather service: five calls
/// of thirty seconds.
const PATIENCE: Duration = Duration::from_secs(300);

/// What the loops have in common.
struct Common {
    stop: AtomicBool,
    wake: [Notify; 4],
    progress: [Mutex<Instant>; 4],
    /// Loops whose last turn failed.
    failing: [AtomicBool; 4],
}

impl Common {
    fn progress_of(&self, task: Task) -> Option<&Mutex<Instant>> {
        self.progress.get(index(task))
    }

    /// Notes progress; the answer is whether to go on.
    fn should_continue(&self, task: Task) -> bool {
        if let Some(progress) = self.progress_of(task) {
            *progress.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
        }
        !self.stop.load(Ordering::SeqCst)
    }

    fn wake(&self, task: Task) {
        if let Some(wake) = self.wake.get(index(task)) {
            wake.notify_one();
        }
    }
}

const fn index(task: Task) -> usize {
    match task {
        Task::Fetch => 0,
        Task::Judge => 1,
        Task::Deliver => 2,
        Task::Housekeep => 3,
    }
}

/// How the loops ended.
pub(crate) struct Ended {
    /// Loops that were still at work when their time was up.
    pub(crate) left: Vec<Task>,
}

/// Loops at work.
pub(crate) struct Shift {
    house: Arc<AppContext>,
    common: Arc<Common>,
    stop: watch::Sender<bool>,
    tasks: JoinSet<Task>,
}

impl Shift {
    /// Starts them.
    pub(crate) fn start(daemon: Daemon, clock: SystemClock) -> Self {
        let now = Instant::now();
        let common = Arc::new(Common {
            stop: AtomicBool::new(false),
            wake: Default::default(),
            progress: [(); 4].map(|()| Mutex::new(now)),
            failing: Default::default(),
        });
        let (stop, stopped) = watch::channel(false);
        let mut tasks = JoinSet::new();
        for one in daemon.loops {
            tasks.spawn(turn(one, Arc::clone(&common), stopped.clone(), clock));
        }
        Self { house: daemon.house, common, stop, tasks }
    }

    /// What they work on.
    pub(crate) fn house(&self) -> Arc<AppContext> {
        Arc::clone(&self.house)
    }

    /// The store that they work on.
    pub(crate) fn store(&self) -> &dyn AppStore {
        &*self.house.store
    }

    /// Names of the loops whose last turn failed.
    pub(crate) fn failing(&self) -> impl Iterator<Item = &'static str> {
        let fails = |task: &&Task| {
            self.common.failing.get(index(**task)).is_some_and(|one| one.load(Ordering::SeqCst))
        };
        Task::ALL.iter().filter(fails).map(|task| task.name())
    }

    /// Has every loop shown progress lately?
    pub(crate) fn is_moving(&self) -> bool {
        Task::ALL.iter().filter_map(|task| self.common.progress_of(*task)).all(|progress| {
            progress.lock().unwrap_or_else(PoisonError::into_inner).elapsed() < PATIENCE
        })
    }

    /// Waits until a loop ends by itself, which none should.
    pub(crate) async fn died(&mut self) -> Task {
        match self.tasks.join_next().await {
            Some(Ok(task)) => task,
            Some(Err(error)) => {
                tracing::error!("a loop came to a sudden end: {error}");
                Task::Judge
            }
            None => std::future::pending().await,
        }
    }

    /// Asks them to end and waits as long as they may take.
    pub(crate) async fn end(mut self) -> Ended {
        self.common.stop.store(true, Ordering::SeqCst);
        let _ = self.stop.send(true);
        let mut left = Task::ALL.to_vec();
        let all = async {
            while let Some(ended) = self.tasks.join_next().await {
                if let Ok(task) = ended {
                    left.retain(|one| *one != task);
                }
            }
        };
        let _ = tokio::time::timeout(GRACE, all).await;
        self.tasks.abort_all();
        // What is dropped gives back what it holds; that takes no waiting for anybody outside.
        let dropped = async { while self.tasks.join_next().await.is_some() {} };
        let _ = tokio::time::timeout(DROPPED_WITHIN, dropped).await;
        Ended { left }
    }
}

/// One loop: activate what is due, sleep towards the next time, be woken before.
async fn turn(
    mut one: Loop,
    common: Arc<Common>,
    mut stopped: watch::Receiver<bool>,
    clock: SystemClock,
) -> Task {
    let task = one.task();
    let mut woken = true;
    while common.should_continue(task) {
        let now = clock.now();
        let due = match one.next_due(now) {
            Ok(due) => due,
            Err(error) => {
                tracing::error!(
                    error = with_causes(&error),
                    "{}: {}",
                    task.name(),
                    with_causes(&error)
                );
                now + chrono::TimeDelta::seconds(30)
            }
        };
        if woken || due <= now {
            woken = false;
            let should_continue = || common.should_continue(task);
            let activation = one.activate(now, &should_continue);
            // A call to a weather service may be dropped at any time; a letter in hand is finished.
            let outcome = if task == Task::Fetch {
                tokio::select! {
                    outcome = activation => Some(outcome),
                    _ = stopped.changed() => None,
                }
            } else {
                Some(activation.await)
            };
            if let (Some(failing), Some(outcome)) = (common.failing.get(index(task)), &outcome) {
                failing.store(outcome.is_err(), Ordering::SeqCst);
            }
            match outcome {
                Some(Ok(done)) => note(task, &done, &common),
                Some(Err(error)) => {
                    tracing::error!(
                        error = with_causes(&error),
                        "{}: {}",
                        task.name(),
                        with_causes(&error)
                    );
                }
                None => break,
            }
            continue;
        }
        let Some(wake) = common.wake.get(index(task)) else { break };
        tokio::select! {
            () = clock.sleep_towards(due) => {}
            () = wake.notified() => woken = true,
            _ = stopped.changed() => {}
        }
    }
    task
}

fn note(task: Task, done: &Done, common: &Common) {
    if !done.ok {
        tracing::warn!("{}: {}", task.name(), done.text);
    } else if done.news {
        tracing::info!("{}: {}", task.name(), done.text);
    } else {
        tracing::debug!("{}: {}", task.name(), done.text);
    }
    for poked in &done.poke {
        common.wake(*poked);
    }
}
