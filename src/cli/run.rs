//! `rimeward run`: the daemon, until it is asked to stop.

use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::app::settings::Settings;
use crate::daemon::run::{Stopped, run as run_daemon};

/// Threads: one for each loop, so that none waits while another one computes, and one for signals.
const THREADS: usize = 5;

/// Arguments of `run`.
#[derive(Debug, clap::Args)]
pub struct RunArgs {}

/// Runs the daemon.
///
/// # Errors
/// [`CliError`]: the configuration, the store, a secret file.
pub fn run(_args: &RunArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let path = around.config_path();
    let settings = Settings::load(&path)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(THREADS)
        .enable_all()
        .build()
        .map_err(|error| CliError::failed(format!("starting the runtime: {error}")))?;
    let stopped = runtime.block_on(run_daemon(settings, || Settings::load(&path)));
    // What still computes is left: it writes in one transaction or not at all.
    runtime.shutdown_timeout(std::time::Duration::from_millis(500));
    match stopped? {
        Stopped::Asked => {
            Ok(CommandOutput { text: String::new(), json: json!({}), exit: Exit::Done })
        }
        Stopped::LoopDied(task) => {
            Err(CliError::failed(format!("the loop {} came to a sudden end", task.name())))
        }
    }
}
