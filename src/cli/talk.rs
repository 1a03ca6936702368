//! The log on standard error: plain lines on a terminal, with the priority prefixes of `sd-daemon(3)` under systemd, so
//! that the journal knows a warning from a notice.

use std::fmt;

use tracing::{Event, Level, Subscriber};
use tracing_subscriber::fmt::format::Writer;
use tracing_subscriber::fmt::{FmtContext, FormatEvent, FormatFields};
use tracing_subscriber::registry::LookupSpan;

use super::Environment;

/// Starts the log: `usual` and worse, or what `RIMEWARD_LOG` asks for.
pub(super) fn start(environment: &Environment, usual: &str) {
    let wanted = environment.get("RIMEWARD_LOG").map_or(usual, String::as_str);
    let filter = tracing_subscriber::EnvFilter::try_new(wanted)
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new(usual));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(false);
    if environment.contains_key("JOURNAL_STREAM") {
        let _ = builder.event_format(WithPriority).try_init();
    } else {
        let _ = builder.without_time().with_target(false).try_init();
    }
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
