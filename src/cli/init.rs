//! `rimeward init`: asks, or takes flags, for the place, the boat, the relay and the contact; writes an explained
//! configuration and puts place, boat and reader into the store. It never writes over a file.

mod template;

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::intake::{self, ImportProblems, Known};
use crate::adapters::sqlite::Options;
use crate::app::context::AppContext;
use crate::app::salt;
use crate::app::settings::Settings;
use crate::domain::boat::{CoolingKind, LayupEvent};
use crate::domain::catalogue::Catalogue;

/// Free texts of an entry that get a salt of their own, at most.
const TEXTS_PER_EVENT: usize = 3;
/// Where the configuration goes when nothing else is said.
const USUAL_FILE: &str = "rimeward.toml";

/// Arguments of `init`. What is left out is asked for on a terminal.
#[derive(Debug, clap::Args)]
pub struct InitArgs {
    /// Name that readers know, such as "Larch Hollow"
    #[arg(long)]
    name: Option<String>,
    /// IANA time zone of the place, such as America/New_York
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
    /// Your mail address: the weather services ask for one, and messages go there
    #[arg(long, value_name = "ADDRESS")]
    contact: Option<String>,
    /// Degrees north of the place
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    latitude: Option<String>,
    /// Degrees east of the place, negative in America
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    longitude: Option<String>,
    /// How the place stores boats: outdoor, indoor_unheated, indoor_heated, afloat
    #[arg(long, default_value = "outdoor")]
    kind: String,
    /// Name of a boat
    #[arg(long, value_name = "NAME")]
    boat: Option<String>,
    /// Type of the boat, from the list of fit-outs
    #[arg(long, value_name = "TYPE")]
    boat_type: Option<String>,
    /// How its engine is cooled: raw, raw_outboard, closed_half, closed_full or electric (not known: leave it out)
    #[arg(long, value_name = "KIND")]
    cooling: Option<String>,
    /// Host name of your mail relay
    #[arg(long, value_name = "HOST", conflicts_with = "maildir")]
    relay: Option<String>,
    /// Port of the relay: 465 speaks TLS from the start, any other STARTTLS
    #[arg(long, value_name = "PORT", default_value_t = 465)]
    relay_port: u16,
    /// Name to log in to the relay with; needs --password-file
    #[arg(long, value_name = "NAME", requires = "password_file")]
    user: Option<String>,
    /// File that holds the password, readable by the service only
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// Write messages into this folder instead of sending them
    #[arg(long, value_name = "DIR")]
    maildir: Option<PathBuf>,
}

/// Everything that has to be known.
struct Answers {
    name: String,
    time_zone: String,
    contact: String,
    latitude: String,
    longitude: String,
    boat: String,
    boat_type: String,
    cooling: Option<CoolingKind>,
    relay: Option<String>,
    maildir: Option<String>,
}

/// Writes the configuration and the first rows of the store.
///
/// # Errors
/// [`CliError`]: a file that is there, an answer that is missing (without a terminal) or cannot be right.
pub fn init(args: &InitArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let path = around.config.clone().unwrap_or_else(|| PathBuf::from(USUAL_FILE));
    if path.exists() {
        return Err(CliError::bad_input(format!(
            "{} is there already and is left as it is; name another file with --config, or move it away",
            path.display()
        )));
    }
    let catalogue = Catalogue::built_in()
        .map_err(|error| CliError::failed(format!("reading the catalogue: {error}")))?;
    let answers = answers(args, &catalogue)?;
    let text = template::fill(&values(args, &answers));
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let settings = Settings::parse(&text, folder)
        .map_err(|problems| CliError::bad_input(problems.join("\n")))?;
    if settings.store.path.exists() {
        return Err(CliError::bad_input(format!(
            "a store is there already: {}; name a configuration in another folder with --config",
            settings.store.path.display()
        )));
    }
    // Before anything is written: rows that cannot be read change nothing.
    let rows = Rows::read(&answers, &args.kind, &catalogue)?;
    write_new(&path, &text)?;
    let house = AppContext::open(settings, Options::default())?;
    house.store.put_yard(&rows.sites, &rows.people, &rows.boats)?;
    rows.answer(answers.cooling, &house, around.now)?;
    let name = path.display();
    let text = format!(
        "{name}: written, every key explained in it\n{}: place HOME, boat {}, messages to {}\n\nNext:\n  \
         rimeward self-test --config {name}\n  rimeward boat BOAT1 --config {name}       what is in it: nothing is on record yet, so it counts as water\n  \
         rimeward round --config {name}            one pass\n  rimeward run --config {name}              all winter\n",
        house.settings.store.path.display(),
        answers.boat,
        answers.contact,
    );
    Ok(CommandOutput {
        text,
        json: json!({
            "config": name.to_string(),
            "store": house.settings.store.path.display().to_string(),
            "site": "HOME", "boat": "BOAT1", "person": "ME",
        }),
        exit: Exit::Done,
    })
}

fn answers(args: &InitArgs, catalogue: &Catalogue) -> Result<Answers, CliError> {
    let on_terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let mut missing = Vec::new();
    let mut ask = |given: &Option<String>, flag: &str, question: &str| match given {
        Some(given) => given.clone(),
        None if on_terminal => answer(question),
        None => {
            missing.push(format!("{flag} ({question})"));
            String::new()
        }
    };
    let kinds: Vec<&str> = catalogue.fitouts().iter().map(|fitout| fitout.kind.as_str()).collect();
    let name = ask(&args.name, "--name", "Name that readers know");
    let time_zone = ask(&args.time_zone, "--time-zone", "Time zone, such as America/New_York");
    let contact = ask(&args.contact, "--contact", "Your mail address");
    let latitude = ask(&args.latitude, "--latitude", "Where the boat lies, degrees north");
    let longitude = ask(
        &args.longitude,
        "--longitude",
        "Where the boat lies, degrees east (negative in America)",
    );
    let boat = ask(&args.boat, "--boat", "Name of the boat");
    let question = format!("Type of the boat, one of {}", kinds.join(" "));
    let boat_type = ask(&args.boat_type, "--boat-type", &question);
    let asked = "How its engine is cooled: raw, raw_outboard, closed_half, closed_full, electric (not known: leave blank)";
    let cooling = args.cooling.clone().or_else(|| on_terminal.then(|| answer(asked)));
    let maildir = args.maildir.as_ref().map(|folder| folder.display().to_string());
    let relay = match &maildir {
        Some(_) => None,
        None => Some(ask(&args.relay, "--relay or --maildir", "Host name of your mail relay")),
    };
    if !missing.is_empty() {
        return Err(CliError::bad_input(format!(
            "there is no terminal to ask on; give these too:\n  {}",
            missing.join("\n  ")
        )));
    }
    if !kinds.contains(&boat_type.as_str()) {
        return Err(CliError::bad_input(format!(
            "{boat_type:?} is no type of boat; one of {}",
            kinds.join(" ")
        )));
    }
    let cooling = cooling_of(cooling.as_deref().unwrap_or_default(), catalogue)?;
    Ok(Answers {
        name,
        time_zone,
        contact,
        latitude,
        longitude,
        boat,
        boat_type,
        cooling,
        relay,
        maildir,
    })
}

fn cooling_of(words: &str, catalogue: &Catalogue) -> Result<Option<CoolingKind>, CliError> {
    if words.trim().is_empty() {
        return Ok(None);
    }
    let found = catalogue.cooling_in_words(&format!("cooling: {words}"), false);
    found.map(Some).ok_or_else(|| {
        CliError::bad_input(format!(
            "--cooling {words:?} is no way to cool an engine; one of raw raw_outboard closed_half closed_full electric"
        ))
    })
}

fn answer(question: &str) -> String {
    let mut err = std::io::stderr();
    let _ = write!(err, "{question}: ").and_then(|()| err.flush());
    let mut line = String::new();
    // An end of input reads as an empty answer, which the checks refuse.
    let _ = std::io::stdin().lock().read_line(&mut line);
    line.trim().to_owned()
}

fn values(args: &InitArgs, answers: &Answers) -> Vec<(&'static str, &'static str, String)> {
    let text = template::quoted;
    let domain = answers.contact.rsplit_once('@').map_or("example.org", |(_, domain)| domain);
    let mut values = vec![
        ("yard", "name", text(&answers.name)),
        ("yard", "time_zone", text(&answers.time_zone)),
        ("forecast", "contact", text(&answers.contact)),
        ("mail", "from", text(&format!("freeze-desk@{domain}"))),
    ];
    if let Some(maildir) = &answers.maildir {
        values.push(("mail", "maildir", text(maildir)));
    }
    if let Some(relay) = &answers.relay {
        let security = if args.relay_port == 465 { "tls" } else { "starttls" };
        values.push(("mail.smtp", "host", text(relay)));
        values.push(("mail.smtp", "port", args.relay_port.to_string()));
        values.push(("mail.smtp", "security", text(security)));
        if let (Some(user), Some(file)) = (&args.user, &args.password_file) {
            values.push(("mail.smtp", "user", text(user)));
            values.push(("mail.smtp", "password_file", text(&file.display().to_string())));
        }
    }
    values
}

/// The first rows, read by the same door as anybody's tables.
struct Rows {
    sites: Vec<crate::domain::yard::Site>,
    people: Vec<crate::domain::yard::Person>,
    boats: Vec<crate::domain::boat::Boat>,
}

impl Rows {
    /// Keeps what was said of the cooling as an answer of the log.
    fn answer(
        &self,
        cooling: Option<CoolingKind>,
        house: &AppContext,
        now: DateTime<Utc>,
    ) -> Result<(), CliError> {
        let (Some(cooling), Some(boat), Some(site)) =
            (cooling, self.boats.first(), self.sites.first())
        else {
            return Ok(());
        };
        let now_there = now.with_timezone(&site.time_zone).fixed_offset();
        let event = LayupEvent::cooling_answer(&boat.id, cooling, "ME", now_there);
        let mut salt = salt::random(TEXTS_PER_EVENT)?;
        house.store.append_events(&[event], now, &mut salt)?;
        Ok(())
    }

    fn read(answers: &Answers, kind: &str, catalogue: &Catalogue) -> Result<Self, CliError> {
        let words = |problems: ImportProblems| CliError::bad_input(problems.to_string());
        let table = |head: &[&str], row: &[&str]| {
            let mut out = csv::Writer::from_writer(Vec::new());
            let written = out.write_record(head).and_then(|()| out.write_record(row));
            match (written, out.into_inner()) {
                (Ok(()), Ok(bytes)) => Ok(bytes),
                _ => Err(CliError::failed("writing a table in memory")),
            }
        };
        let sites = table(
            &["site_id", "site_name", "kind", "latitude", "longitude", "time_zone"],
            &[
                "HOME",
                &answers.name,
                kind,
                &answers.latitude,
                &answers.longitude,
                &answers.time_zone,
            ],
        )?;
        let sites = intake::csv::sites(&sites, "your place").map_err(words)?.rows;
        let people = table(
            &["person_id", "name", "role", "email", "sites"],
            &["ME", &answers.name, "manager", &answers.contact, "HOME"],
        )?;
        let people = intake::csv::people(&people, "you").map_err(words)?.rows;
        let boats = table(
            &["boat_id", "boat_name", "boat_type", "site_id", "owner_id"],
            &["BOAT1", &answers.boat, &answers.boat_type, "HOME", "ME"],
        )?;
        let known = Known::catalogue(catalogue).with_sites(&sites);
        let boats = intake::csv::boats(&boats, "your boat", &known).map_err(words)?.rows;
        Ok(Self { sites, people, boats })
    }
}

fn write_new(path: &Path, text: &str) -> Result<(), CliError> {
    let written = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|error| CliError::failed(format!("cannot write {}: {error}", path.display())))
}
