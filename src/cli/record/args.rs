//! What is typed behind `record`.

/// Arguments of `record`.
#[derive(Debug, clap::Args)]
pub struct RecordArgs {
    /// The boat by number or name, or a place for what concerns all its boats (power_lost, heat_on) or for its thermometer
    /// (reading low=-6.5C)
    pub(super) boat: String,
    /// What happened, by its name or in the yard's words, such as drained or "drop plugs"
    pub(super) event: String,
    /// What is known of it: circuits=block_raw minutes=5 litres_out=16 reading=-31C scale=PG point=...
    #[arg(value_name = "KEY=VALUE")]
    pub(super) facts: Vec<String>,
    /// When: 2022-11-12T10:00, 2022-11-12 (hour not known), 14:30, today, yesterday (default: now)
    #[arg(long, value_name = "TIME")]
    pub(super) happened: Option<String>,
    /// claimed, recorded, probed, measured or witnessed (default: what the entry itself bears out)
    #[arg(long, value_name = "GRADE")]
    pub(super) evidence: Option<String>,
    /// Who did it, by id or name from the list of people
    #[arg(long, value_name = "WHO")]
    pub(super) by: Option<String>,
    /// Append without asking
    #[arg(long)]
    pub(super) yes: bool,
    /// Show what would change and append nothing
    #[arg(long)]
    pub(super) dry_run: bool,
}
