//! Whether a part is one that somebody is called away for.

use crate::domain::boat::{CircuitState, Holds};
use crate::domain::catalogue::{Alarms, CircuitKind, Confinement};

/// May ice in this circuit ask a person to act? Open tanks and bilges are listed, hoses usually survive, and a drained
/// part has room; afloat, whatever keeps the sea out counts.
pub fn interrupts(circuit: &CircuitState, kind: &CircuitKind, afloat: bool) -> bool {
    let sinks = afloat && kind.consequence_when(true) > kind.consequence_when(false);
    let enclosed = circuit.confinement(kind);
    let closed = matches!(enclosed, Confinement::Hard | Confinement::Brittle) || sinks;
    let wet = match circuit.holds {
        Holds::Fresh | Holds::Sea | Holds::LubeWet | Holds::Blend | Holds::Coolant => true,
        Holds::Unknown => kind.alarms == Alarms::Wet,
        Holds::Drained => circuit.closed_pocket,
        Holds::Charged | Holds::Dry | Holds::LubeClean | Holds::Absent => false,
    };
    closed && wet && kind.alarms != Alarms::Never
}
