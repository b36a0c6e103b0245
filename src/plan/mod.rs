//! From a checked recipe and the bench to the control recipe: what one batch is judged by.

mod control;

pub use control::{
    Amount, ControlRecipe, Cook, Finding, Nature, Severity, Step, StepKind, Tolerance, Units,
    Vessel, Weigh, Window,
};
