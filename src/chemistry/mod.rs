//! What the caustic follows from: fats, demand, superfat and its uncertainty.

mod formula;

pub use formula::{
    Alkali, Caustic, Formula, FormulaFat, Guard, IngredientId, LiquidRule, Masses, ScaleFacts,
    Superfat,
};
