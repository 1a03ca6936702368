//! The life of an alert: one episode that asks a named person for a timely act.
//!
//! An alert has three independent regions and an input flag, after ANSI/ISA-18.2-2016 and IEC 62682: is the condition
//! there ([`Condition`]), has somebody answered ([`Response`]), may it speak ([`Annunciation`]), and can we see at all
//! ([`Input`]). The flat name for people is [`Flat`]. [`decide()`] is pure: it returns the changed documents, the rows of
//! the log and what is to be told to whom; somebody else stores and sends them, in one transaction.
//!
//! Invariants, tested by fuzzing: unknown is never read as harmless (nothing is cleared or eased while blind); whoever was
//! told of a raise gets exactly one closing message for it; a closed id is never opened again.

pub mod action;
mod advice;
pub mod aging;
pub mod answer;
pub mod blend;
mod blind;
pub mod bundle;
pub mod chance;
pub mod deadline;
pub mod decide;
mod draft;
pub mod facts;
mod freeze;
pub mod heat;
pub mod known;
pub mod opening;
mod plain;
pub mod quiet;
pub mod settings;
pub mod shelve;
pub mod situation;
pub mod table;
pub mod told;
mod taken_out;
pub mod thread;
mod transition;
pub mod unreachable;
pub mod worklist;
pub mod worse;
pub mod yard_first;
mod closing;
mod document;
mod gather;
mod subject;
mod system;

pub use action::{Action, Content, Decision, Notification};
pub use advice::{Act, Advice, RecordLine, RollUp};
pub use answer::AnswerError;
pub use chance::ChanceClass;
pub use closing::{CloseReason, Closing};
pub use decide::{DecisionInput, decide};
pub use document::{Alert, Annunciation, Condition, FirstSeen, Input, Listed, PassedOn, Response};
pub use facts::{Facts, Low};
pub use known::Known;
pub use plain::Concerned;
pub use settings::AlertSettings;
pub use shelve::ShelveError;
pub use situation::{Situation, Target, WorklistTimes};
pub use subject::{AlertId, Kind, Subject};
pub use system::{Member, System, is_wet};
pub use table::{Flat, TRANSITIONS, TransitionRow};
pub use taken_out::TakeOutError;
pub use told::{Heard, LastNotified, Ledger, Sent, Standing};
pub use transition::Transition;
pub use worse::Worse;
