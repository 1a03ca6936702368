//! The log on standard error: plain lines on a terminal, with the priority prefixes of `sd-daemon(3)` under systemd, so
//! that the journal knows a warning from a notice.

use std::fmt;

use tracing::{Event, Level, Subscriber};
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::fmt::format::Writer;
use tracing_subscriber::fmt::{FmtContext, FormatEvent, FormatFields};
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt as _;

use super::Environment;

/// Starts the log: `usual` and worse, or what `RIMEWARD_LOG` asks for.
pub(super) fn start(environment: &Environment, usual: &str) {
    let wanted = environment.get("RIMEWARD_LOG").map_or(usual, String::as_str);
    let filter: Targets = wanted
        .parse()
        .or_else(|_| usual.parse())
        .unwrap_or_else(|_| Targets::new().with_default(LevelFilter::WARN));
    let lines = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .without_time();
    let all = tracing_subscriber::registry().with(filter);
    let _ = if environment.contains_key("JOURNAL_STREAM") {
        all.with(lines.event_format(WithPriority)).try_init()
    } else {
        all.with(lines.with_target(false)).try_init()
    };
}

/// One line: the priority, the message, the fields.
struct WithPriority;

impl<S, N> FormatEvent<S, N> for WithPriority
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        context: &FmtContext<'_, S, N>,
        mut writer: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        write!(writer, "<{}>", priority(*event.metadata().level()))?;
        context.format_fields(writer.by_ref(), event)?;
        writeln!(writer)
    }
}

/// The syslog priority of a level (RFC 5424, table 2).
fn priority(level: Level) -> u8 {
    match level {
        Level::ERROR => 3,
        Level::WARN => 4,
        Level::INFO => 6,
        Level::DEBUG | Level::TRACE => 7,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worse_levels_have_lower_numbers() {
        let numbers = [Level::ERROR, Level::WARN, Level::INFO, Level::DEBUG].map(priority);
        assert_eq!(numbers, [3, 4, 6, 7]);
    }
}
