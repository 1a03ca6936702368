//! The whole chain as a user runs it: the program as a process, a real HTTP server, a real SMTP server, files.

mod by_hand;
mod cases;
mod cold_start;
mod demo;
mod lint;
mod receive;
mod replay;
mod round;
mod shapes;
mod texts;
mod webhooks;

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

/// Runs the program with a configuration; the environment of the test does not reach it.
pub fn rimeward(config: Option<&Path>, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rimeward"));
    command.env_clear().args(args);
    if let Some(config) = config {
        command.arg("--config").arg(config);
    }
    command.output().unwrap()
}

pub fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

pub fn text(output: &Output) -> String {
    let err = String::from_utf8_lossy(&output.stderr);
    format!("{}{err}", String::from_utf8_lossy(&output.stdout))
}

pub fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", text(output)))
}
