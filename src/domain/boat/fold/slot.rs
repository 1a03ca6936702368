//! One circuit, or one instance of it, while the log is being folded.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::fitting::Fitting;
use super::naming;
use crate::domain::boat::{Boat, Evidence, Holds, Mark};
use crate::domain::catalogue::{Catalogue, CircuitKind, Reason};
use crate::domain::physics::Solute;

/// Why something is so, kept short until it is put into words.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Note {
    /// Place of the entry in the log as taken; `None` for a rule of its own.
    pub(super) entry: Option<usize>,
    pub(super) say: Say,
}

/// What a note says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Say {
    /// The entry itself.
    Event,
    /// A rule.
    Rule(Reason),
    /// A rule with litres or minutes, and what would be right.
    Figures(Reason, f64, f64),
    /// A rule with the name of an instance.
    Named(Reason, Arc<str>),
    /// A rule about another entry that it undid.
    About(Reason, usize),
}

/// A side of a part that has two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Port,
    Starboard,
}

/// An antifreeze that stood in a circuit before another came on top of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Under {
    pub(super) solute: Option<Solute>,
    pub(super) unknown_fluid: bool,
    pub(super) mixed: bool,
    pub(super) first_ice_c: Option<f64>,
    pub(super) label_weakest_c: Option<f64>,
}

/// The state of one circuit or instance.
#[derive(Debug, Clone)]
pub(super) struct Slot<'a> {
    pub(super) place: u8,
    pub(super) kind: &'a CircuitKind,
    pub(super) instance: Option<Arc<str>>,
    /// On whose word the boat counts as having it.
    pub(super) mark: Mark,
    /// Filled to its vent, by the record.
    pub(super) brimful: bool,
    /// The ones that no entry has named, where others were.
    pub(super) rest: bool,
    pub(super) holds: Holds,
    pub(super) evidence: Evidence,
    pub(super) since: Option<DateTime<Utc>>,
    pub(super) first_ice_c: Option<f64>,
    /// First ice of the weakest under the label, the warmest that an unusable reading may claim.
    pub(super) label_weakest_c: Option<f64>,
    /// First ice of the strongest under the label: no honest reading of it is colder.
    pub(super) label_strongest_c: Option<f64>,
    /// Of a part with two sides, what a sample of one of them showed, C.
    pub(super) side_read: Option<(Side, f64)>,
    pub(super) solute: Option<Solute>,
    /// Two antifreezes stand in it together: until it is drained nothing reads what they make.
    pub(super) mixed: bool,
    /// A product was named that nobody knows.
    pub(super) unknown_fluid: bool,
    pub(super) specific_gravity: Option<f64>,
    pub(super) closed_pocket: bool,
    /// Litres or minutes of its drain were in doubt.
    pub(super) drain_doubt: bool,
    /// Litres that have come out since it was last full, by the entries.
    pub(super) out_l: f64,
    /// An antifreeze that water has pushed out since, of which some may be left until it is drained.
    pub(super) under: Option<Under>,
    /// Of a part with two sides that is full, what a sample of one side showed, C.
    pub(super) full_side_read: Option<(Side, f64)>,
    /// Of a part with two sides, the one that alone has been drained since it was last full, how well, and whether a pocket
    /// was left in it.
    pub(super) side_drained: Option<(Side, Evidence, bool)>,
    /// Antifreeze got in by a way that an outlet can speak for: after a drain, or warm.
    pub(super) path_proven: bool,
    /// Somebody meant to protect it, whether or not that reached it.
    pub(super) attempted: bool,
    pub(super) needs_mixing: bool,
    pub(super) load_on: bool,
    pub(super) read_at: Option<DateTime<Utc>>,
    pub(super) undone_by: Option<usize>,
    /// The entry that last said what it holds.
    pub(super) set_by: Option<usize>,
    /// Ice or damage seen: the entry that says so.
    pub(super) test_first: Option<usize>,
    /// What it was before a remark made it less: that stands again when the remark's question is answered with no.
    pub(super) instead: Option<Box<Self>>,
    pub(super) notes: Vec<Note>,
    pub(super) questions: Vec<Note>,
}

/// The lists are cut here: a reason further back than this tells nobody anything.
const NOTES_MAX: usize = 8;

impl<'a> Slot<'a> {
    pub(super) fn new(place: u8, kind: &'a CircuitKind, instance: Option<Arc<str>>) -> Self {
        Self {
            place,
            kind,
            instance,
            mark: Mark::Stated,
            brimful: false,
            rest: false,
            holds: Holds::Unknown,
            evidence: Evidence::None,
            since: None,
            first_ice_c: None,
            label_weakest_c: None,
            label_strongest_c: None,
            side_read: None,
            solute: None,
            mixed: false,
            unknown_fluid: false,
            specific_gravity: None,
            closed_pocket: false,
            drain_doubt: false,
            out_l: 0.0,
            under: None,
            full_side_read: None,
            side_drained: None,
            path_proven: false,
            attempted: false,
            needs_mixing: false,
            load_on: false,
            read_at: None,
            undone_by: None,
            set_by: None,
            test_first: None,
            instead: None,
            notes: Vec::new(),
            questions: Vec::new(),
        }
    }

    /// Forgets what the liquid was, before something else is put in.
    fn clear(&mut self) {
        self.first_ice_c = None;
        self.label_weakest_c = None;
        self.label_strongest_c = None;
        self.side_read = None;
        self.solute = None;
        self.mixed = false;
        self.unknown_fluid = false;
        self.specific_gravity = None;
        self.closed_pocket = false;
        self.drain_doubt = false;
        self.full_side_read = None;
        self.side_drained = None;
        self.path_proven = false;
        self.read_at = None;
        self.instead = None;
        self.brimful = false;
        self.notes.clear();
        self.questions.clear();
    }

    /// Something was done here against frost.
    pub(super) fn protect(
        &mut self,
        holds: Holds,
        evidence: Evidence,
        entry: usize,
        at: DateTime<Utc>,
    ) {
        if self.holds == Holds::Absent {
            return;
        }
        self.clear();
        if matches!(holds, Holds::Drained | Holds::Dry) {
            self.under = None;
        } else {
            self.out_l = 0.0;
        }
        self.holds = holds;
        self.evidence = evidence;
        self.since = Some(at);
        self.undone_by = None;
        self.set_by = Some(entry);
        self.attempted = true;
        self.event(entry);
    }

    /// Water came in, or what was known is known no more (`holds` unknown).
    pub(super) fn undo(
        &mut self,
        holds: Holds,
        evidence: Evidence,
        entry: usize,
        at: DateTime<Utc>,
    ) {
        if self.holds == Holds::Absent {
            return;
        }
        // What protected it is told first; an attempt that did not reach it is told last.
        let mut told = self.notes.iter().filter(|note| note.say == Say::Event);
        let (undid, reason) = if self.holds.is_protected() {
            (told.next(), Reason::Undone)
        } else {
            (told.next_back(), Reason::NeverProven)
        };
        let undid = undid.and_then(|note| note.entry);
        let protected = self.holds.is_protected() || self.attempted;
        if self.holds != holds || protected {
            self.since = Some(at);
        }
        self.under = self.antifreeze().or(self.under);
        self.out_l = 0.0;
        self.clear();
        self.holds = holds;
        self.evidence = evidence;
        self.set_by = Some(entry);
        self.event(entry);
        if protected {
            self.undone_by = Some(entry);
            if let Some(undid) = undid {
                self.note(Some(entry), Say::About(reason, undid));
            }
        }
        self.attempted = false;
    }

    /// As if the entry `number` had told of water, until its question is answered.
    pub(super) fn wetted_by_remark(
        &mut self,
        number: usize,
        (holds, at): (Holds, DateTime<Utc>),
        (why, ask): (Reason, Reason),
    ) {
        if !self.holds.is_protected() {
            return;
        }
        let before = Box::new(self.clone());
        self.undo(holds, Evidence::Claimed, number, at);
        self.instead = Some(before);
        self.rule(number, why);
        self.ask(number, ask);
    }

    /// Drained, with no pocket left and no figure that does not fit.
    pub(super) fn is_empty(&self) -> bool {
        matches!(self.holds, Holds::Drained | Holds::Dry)
            && !self.closed_pocket
            && !self.drain_doubt
    }

    /// The antifreeze that stands in it, if one does.
    pub(super) fn antifreeze(&self) -> Option<Under> {
        (self.holds == Holds::Blend).then_some(Under {
            solute: self.solute,
            unknown_fluid: self.unknown_fluid,
            mixed: self.mixed,
            first_ice_c: self.first_ice_c,
            label_weakest_c: self.label_weakest_c,
        })
    }

    /// Nothing better than claimed any more, for this reason, and asked about.
    pub(super) fn doubt(&mut self, number: usize, why: Reason, ask: Reason) {
        if self.holds.is_protected() {
            self.evidence = self.evidence.min(Evidence::Claimed);
            self.rule(number, why);
            self.ask(number, ask);
        }
    }

    /// What is no measurement raises nothing, and lowers what it speaks against: `read_c` freezes sooner than was known.
    pub(super) fn lowered_to(&mut self, read_c: f64) {
        let colder = self.first_ice_c.is_some_and(|known| known < read_c);
        if colder && matches!(self.holds, Holds::Blend | Holds::Coolant) {
            self.first_ice_c = Some(read_c);
            self.evidence = self.evidence.min(Evidence::Recorded);
            self.read_at = None;
        }
    }

    /// Whether this is the better protected of two accounts of one moment.
    pub(super) fn is_better_protected_than(&self, other: &Self) -> bool {
        let account = |slot: &Self| (slot.holds.is_protected(), slot.evidence, !slot.closed_pocket);
        let stronger = || {
            // One of which no strength is known is the weaker.
            let colder =
                self.first_ice_c.is_some_and(|own| other.first_ice_c.is_none_or(|of| own < of));
            let fuller =
                self.specific_gravity.zip(other.specific_gravity).is_some_and(|(own, of)| own > of);
            self.holds == other.holds && (colder || fuller)
        };
        account(self) > account(other) || stronger()
    }

    /// Last winter's sheet ends: nothing of it counts any more.
    pub(super) fn end_sheet(&mut self, entry: Option<usize>) {
        if self.holds == Holds::Absent {
            return;
        }
        let protected = self.holds.is_protected();
        self.clear();
        if self.holds != Holds::Unknown || self.attempted {
            self.note(entry, Say::Rule(Reason::SheetEnded));
        }
        self.holds = Holds::Unknown;
        self.evidence = Evidence::None;
        self.since = None;
        self.out_l = 0.0;
        self.attempted = false;
        if entry.is_none() {
            self.undone_by = None;
        } else if protected {
            self.undone_by = entry;
        }
    }

    pub(super) fn event(&mut self, entry: usize) {
        self.note(Some(entry), Say::Event);
    }

    pub(super) fn rule(&mut self, entry: usize, reason: Reason) {
        self.note(Some(entry), Say::Rule(reason));
    }

    pub(super) fn note(&mut self, entry: Option<usize>, say: Say) {
        let note = Note { entry, say };
        if !self.notes.contains(&note) {
            if self.notes.len() >= NOTES_MAX {
                // The first says what it holds; the oldest remark after it goes.
                self.notes.remove(1);
            }
            self.notes.push(note);
        }
    }

    /// A question that has been answered.
    pub(super) fn answered(&mut self, reason: Reason) {
        self.questions.retain(|note| note.say != Say::Rule(reason));
    }

    /// Does this entry ask something about it?
    pub(super) fn is_asked_by(&self, entry: usize) -> bool {
        self.questions.iter().any(|note| note.entry == Some(entry))
    }

    /// Is one of these asked about it?
    pub(super) fn asks_one_of(&self, reasons: &[Reason]) -> bool {
        let is = |note: &Note| reasons.iter().any(|reason| note.say == Say::Rule(*reason));
        self.questions.iter().any(is)
    }

    /// Asks once; asked again, by the later entry.
    pub(super) fn ask(&mut self, entry: usize, reason: Reason) {
        let say = Say::Rule(reason);
        if let Some(note) = self.questions.iter_mut().find(|note| note.say == say) {
            note.entry = Some(entry);
        } else if self.questions.len() < NOTES_MAX {
            self.questions.push(Note { entry: Some(entry), say });
        }
    }
}

/// The circuits of a boat before the first entry, in walk order, with the instances that its list or its engines give.
pub(super) fn slots<'a>(boat: &Boat, fitting: &Fitting, catalogue: &'a Catalogue) -> Vec<Slot<'a>> {
    let engines = naming::engine_names(boat.engines);
    let mut slots = Vec::with_capacity(boat.fitted.len() + 4);
    for (circuit, mark) in &boat.fit_out(fitting.cooling, catalogue) {
        let (Some(place), Some(kind)) = (catalogue.place_of(circuit), catalogue.circuit(circuit))
        else {
            continue;
        };
        let mut names: Vec<&str> = boat
            .instances
            .iter()
            .filter(|(of, _)| of == circuit)
            .map(|(_, name)| name.as_str())
            .collect();
        if names.is_empty() && kind.instance_noun == "engine" {
            names.extend(engines.iter().map(String::as_str));
        }
        let mut slot = Slot { mark: *mark, ..Slot::new(place, kind, None) };
        if fitting.is_denied(place, *mark) {
            (slot.holds, slot.evidence) = (Holds::Absent, Evidence::Claimed);
        }
        let named = |name: &str| Slot { instance: Some(Arc::from(name)), ..slot.clone() };
        slots.extend(names.iter().map(|name| named(name)));
        if names.is_empty() {
            slots.push(slot);
        }
    }
    slots.sort_by_key(|slot| slot.kind.walk_order);
    slots
}
