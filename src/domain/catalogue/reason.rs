//! The words in which the fold gives its rules and asks its questions.

use serde::Deserialize;

use super::CatalogueError;
use super::table::rows;

const TABLE: &str = "reasons.csv";

#[derive(Deserialize)]
struct Row {
    id: String,
    kind: String,
    words: String,
    #[serde(rename = "source")]
    _source: String,
}

macro_rules! reasons {
    ($($variant:ident = $key:literal : $doc:literal),+ $(,)?) => {
        /// A rule of the fold or a question that it leaves open; the words stand in `reasons.csv`.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Reason {
            $(#[doc = $doc] $variant,)+
        }

        impl Reason {
            const ALL: &[(Self, &str)] = &[$((Self::$variant, $key),)+];

            /// The key in the table.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self {
                    $(Self::$variant => $key,)+
                }
            }

            /// The reason with this key.
            #[must_use]
            pub fn from_key(key: &str) -> Option<Self> {
                Self::ALL.iter().find(|(_, known)| *known == key).map(|(reason, _)| *reason)
            }
        }
    };
}

reasons!(
    NoEntry = "no_entry": "Nothing in the log.",
    NotNamed = "not_named": "Another one was named.",
    ColdRunStays = "cold_run_stays": "A cold run leaves it as it was.",
    ColdRunClaimed = "cold_run_claimed": "A cold run counts as claimed.",
    BlockNotProven = "block_not_proven": "The block is as it was.",
    OutletNotBlock = "outlet_not_block": "An outlet does not speak for the block.",
    WrongScale = "wrong_scale": "Read on another scale.",
    NoScale = "no_scale": "No scale stated.",
    NoPoint = "no_point": "No sample point stated.",
    NotReadable = "not_readable": "No instrument reads the product.",
    NoUnit = "no_unit": "No unit stated.",
    WarmerStands = "warmer_stands": "Two readings in one minute.",
    NotMixed = "not_mixed": "Tested before it was mixed.",
    SeveralUnnamed = "several_unnamed": "Several and none named.",
    UnderOpenTime = "under_open_time": "Drains open too short a time.",
    LitresLow = "litres_low": "Too little came out.",
    LitresHigh = "litres_high": "More came out than can be in it.",
    NotProbed = "not_probed": "Not probed.",
    HeaterFirst = "heater_first": "The heater was not bypassed first.",
    NotEmptied = "not_emptied": "The tank was not emptied first.",
    NotDrainedFirst = "not_drained_first": "Leftover water thins the blend.",
    FillWithoutDrain = "fill_without_drain": "Said to be drained first, without an entry.",
    Undone = "undone": "What was undone.",
    NeverProven = "never_proven": "What was tried before was never shown to have got in.",
    SheetEnded = "sheet_ended": "Last winter's sheet ended.",
    LoadOn = "load_on": "Volts under load.",
    NoVolts = "no_volts": "No volts.",
    Milky = "milky": "Water in the oil.",
    LoopOf = "loop_of": "Follows the engine's loop.",
    IceProtected = "ice_protected": "Ice in what is called protected.",
    DrainedIce = "drained_ice": "Ice in what is called drained.",
    Diluted = "diluted": "Water that stayed weakens it.",
    LitresShort = "litres_short": "Too little was run through.",
    Mixture = "mixture": "Two antifreezes stand in it together.",
    NotRested = "not_rested": "Volts of a battery on charge.",
    NoLabel = "no_label": "No known label.",
    Retest = "retest": "Measure it.",
    ProveBlock = "prove_block": "Drain or sample the block.",
    WhichOne = "which_one": "Which one?",
    Others = "others": "The others?",
    PlugIn = "plug_in": "Rain with the plug in?",
    DrainClosed = "drain_closed": "Refilled since?",
    Impeller = "impeller": "A new impeller?",
    LoopRetest = "loop_retest": "Test the loop again.",
    Separator = "separator": "Water in the bowl?",
    Outlets = "outlets": "Which outlets were not reached?",
    BallValve = "ball_valve": "What is in the valve?",
    RainDilutes = "rain_dilutes": "Has rain thinned it?",
    VoltsLoadOff = "volts_load_off": "Volts with the load off?",
    Declined = "declined": "Who does it now?",
    OpenTime = "open_time": "How long open?",
    Probe = "probe": "Probed?",
    GearOilLook = "gear_oil_look": "Clear or milky?",
    HaulNotEntered = "haul_not_entered": "Is she ashore?",
    TestBeforeRunning = "test_before_running": "Damaged?",
    OldReading = "old_reading": "The reading is old.",
    SheetsDisagree = "sheets_disagree": "Two sheets speak of one moment.",
    WhichSheet = "which_sheet": "Which sheet is right?",
    OrderStrainer = "order_strainer": "The strainer opened afloat.",
    OrderFogged = "order_fogged": "A run after fogging.",
    OrderBattery = "order_battery": "The battery taken off afloat.",
    OrderLoop = "order_loop": "A closed loop drained.",
    OrderSpring = "order_spring": "House water before the last frost.",
    TooCold = "too_cold": "Colder than this fluid can be.",
    FillShort = "fill_short": "Too little was put in.",
    FillHigh = "fill_high": "More was put in than can be right.",
    OfTheJug = "of_the_jug": "What was read is not what is in it.",
    PartNotNamed = "part_not_named": "The point names other parts.",
    RemarkDenies = "remark_denies": "The remark says otherwise.",
    DoesItHold = "does_it_hold": "What holds?",
    RunInRemark = "run_in_remark": "A run that stands in a remark alone.",
    WasItRun = "was_it_run": "Was it run after the lay-up?",
    NoLitres = "no_litres": "Nobody said how much.",
    HowMuch = "how_much": "How much went in?",
    OpenTimeUntold = "open_time_untold": "Nobody says how long.",
    FlushUntold = "flush_untold": "Nobody says how many litres were put in.",
    OneBank = "one_bank": "The litres of one side are missing.",
    WhichBank = "which_bank": "Which side was not emptied?",
    SpringOpened = "spring_opened": "Used since.",
    SpringState = "spring_state": "What else has been undone?",
    TankAgain = "tank_again": "Is the tank filled again?",
    WentAfloat = "went_afloat": "Launched or moved afloat since.",
    OwnPower = "own_power": "Under her own power?",
    RemarkUnclear = "remark_unclear": "A remark that is not understood.",
    RemarkHalf = "remark_half": "A remark says half done.",
    RemarkWet = "remark_wet": "A remark tells of water.",
    RemarkRun = "remark_run": "A remark tells of a run.",
    RemarkMeans = "remark_means": "What does it mean?",
    WasItUsed = "was_it_used": "Is there water in it?",
    RunWhen = "run_when": "When was it run?",
    AnsweredRun = "answered_run": "It was run, by the answer.",
    IceTooWarm = "ice_too_warm": "Ice where there should be none yet.",
    SameJug = "same_jug": "Out of the same jug.",
    NoNumber = "no_number": "A reading without a number.",
    OutletAside = "outlet_aside": "A reading where nothing shows antifreeze.",
    SideSampled = "side_sampled": "A sample of one side.",
    OneOutlet = "one_outlet": "One outlet of several.",
    LoopDrained = "loop_drained": "Drained with its loop.",
    Blown = "blown": "How was it blown?",
    DeclinedAfter = "declined_after": "Declined after it was done.",
    NoPart = "no_part": "The boat has no such part listed.",
    OnlyWinterized = "only_winterized": "A word without a meaning.",
    CutOnSite = "cut_on_site": "A concentrate.",
    NoPartNamed = "no_part_named": "Which part?",
    OrderAired = "order_aired": "A start without a word of airing.",
    OrderPowered = "order_powered": "A heater or charger where petrol vapour gathers.",
    OrderBreaker = "order_breaker": "A water heater emptied: is it off?",
    Unanswered = "unanswered": "A question without an answer.",
    NotFitted = "not_fitted": "Is it fitted?",
    NotByThis = "not_by_this": "Such an entry shows nothing of this part.",
    WhatWasDone = "what_was_done": "What was done to it?",
    OneSide = "one_side": "One side of two.",
    OutletNotHere = "outlet_not_here": "The antifreeze was not shown to get here.",
    OnlyClaimed = "only_claimed": "Only said to be done.",
    ReadLater = "read_later": "Read on another day than the run.",
    FluidNotSaid = "fluid_not_said": "Which fluid?",
    WayToLift = "way_to_lift": "How did she get to the lift?",
    CrankPump = "crank_pump": "Was the pump cranked empty?",
    HeatStillOn = "heat_still_on": "Is the heat still on?",
    Along = "along": "Reached along with another part.",
    NotOnList = "not_on_list": "Implied by the cooling and not listed.",
    CoolingUnknown = "cooling_unknown": "How is the engine cooled?",
    CoolingAdds = "cooling_adds": "Parts that the list lacks.",
    CoolingExcludes = "cooling_excludes": "Parts that such an engine has not.",
    NotAboard = "not_aboard": "Not aboard.",
);

/// The words of every reason.
#[derive(Debug, Clone, PartialEq)]
pub struct Reasons(Vec<(Reason, String)>);

impl Reasons {
    /// The words of one reason, with `{name}` still in them where a number or a name goes.
    #[must_use]
    pub fn words(&self, reason: Reason) -> &str {
        self.0
            .binary_search_by_key(&reason, |(known, _)| *known)
            .ok()
            .and_then(|place| self.0.get(place))
            .map_or(reason.key(), |(_, words)| words)
    }
}

/// Reads the table of reasons; each must be there.
pub(crate) fn parse(text: &str) -> Result<Reasons, CatalogueError> {
    let rows = rows::<Row>(TABLE, text)?;
    let mut words = Vec::new();
    for (reason, key) in Reason::ALL {
        let row = rows.iter().find(|(_, row)| row.id == *key);
        let Some((_, row)) = row.filter(|(_, row)| !row.words.is_empty() && !row.kind.is_empty())
        else {
            return Err(CatalogueError::Row {
                table: TABLE,
                line: 0,
                what: format!("{key} has no words"),
            });
        };
        words.push((*reason, row.words.clone()));
    }
    words.sort_by_key(|(reason, _)| *reason);
    Ok(Reasons(words))
}
