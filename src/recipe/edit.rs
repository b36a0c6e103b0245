//! A recipe as a form: its fields, and a draft judged while it is typed.

use std::collections::BTreeMap;

use thiserror::Error;

use crate::bench_file::BenchFile;
use crate::chemistry::{FatTable, IngredientId, LiquidRule};
use crate::edit::{self, EditError, Entry, Part, beside, list, number, share_or_mass, words};
use crate::plan::{self, Plan};
use crate::problem::{Problems, Source};
use crate::quantity::Mass;

use super::{AdditionAmount, Lot, Recipe};

/// The keys of a recipe file, in the order in which a new one is written.
pub const FORM: Part = Part {
    key: "",
    many: false,
    keys: &[
        words("name"),
        words("note"),
        words("masses"),
        words("temperatures"),
        words("superfat"),
        words("lye_heavy"),
        words("superfat_floor"),
        words("process"),
        words("order"),
        words("pot"),
        words("total_oils"),
    ],
    parts: &[
        Part {
            key: "oil",
            many: true,
            keys: &[
                words("fat"),
                words("called"),
                share_or_mass("amount"),
                words("comes_as"),
                words("tolerance"),
                words("lot"),
            ],
            parts: &[CERTIFICATE],
        },
        Part {
            key: "caustic",
            many: true,
            keys: &[
                words("alkali"),
                words("covers"),
                words("purity"),
                words("stock_lye"),
                words("lot"),
            ],
            parts: &[],
        },
        Part {
            key: "liquid",
            many: false,
            keys: &[
                words("of"),
                words("amount"),
                words("ice"),
                words("starts_at"),
                words("cooled_by"),
                words("water"),
                words("salt"),
                words("tolerance"),
                words("lot"),
            ],
            parts: &[],
        },
        Part {
            key: "addition",
            many: true,
            keys: &[
                words("name"),
                words("amount"),
                words("when"),
                words("into"),
                words("comes_as"),
                words("tolerance"),
                words("acid"),
                words("strength"),
                words("base"),
                words("base_superfat"),
                words("base_moisture"),
                words("below"),
                words("flash_point"),
                list("hazards"),
                words("lot"),
            ],
            parts: &[],
        },
        Part {
            key: "fat_after_cook",
            many: true,
            keys: &[
                words("fat"),
                words("called"),
                words("amount"),
                words("comes_as"),
                words("tolerance"),
                words("lot"),
            ],
            parts: &[CERTIFICATE],
        },
        Part {
            key: "bring_together",
            many: false,
            keys: &[words("oils"), words("lye"), words("no_further_apart_than")],
            parts: &[],
        },
        Part {
            key: "cook",
            many: false,
            keys: &[
                words("keep"),
                words("warn_above"),
                words("alarm_above"),
                words("for"),
                words("look_every"),
            ],
            parts: &[Part {
                key: "test",
                many: true,
                keys: &[
                    words("name"),
                    words("by"),
                    words("sample"),
                    words("between"),
                    list("passes"),
                ],
                parts: &[],
            }],
        },
        Part {
            key: "work",
            many: true,
            keys: &[words("say"), words("when"), list("hazards")],
            parts: &[],
        },
    ],
};

const CERTIFICATE: Part = Part {
    key: "certificate",
    many: false,
    keys: &[words("date"), number("sap"), number("give_or_take")],
    parts: &[],
};

#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum LotError {
    #[error("a lot is given for `{asked}`, which is not in the recipe; it has {known}")]
    NotInRecipe { asked: String, known: String },
    #[error("the lot of `{0}` is longer than {LOT_CHARS_MAX} characters; copy it from the label")]
    TooLong(String),
}

const LOT_CHARS_MAX: usize = 80;

/// A recipe as typed so far.
#[derive(Debug)]
pub struct Draft {
    /// The file it would be saved as.
    pub text: String,
    /// The file holds a recipe; whether this bench can make it is another question.
    pub is_recipe: bool,
    /// What it comes to on this bench, or why that cannot be said.
    pub plan: Result<Box<Plan>, Problems>,
    /// What is wrong, by the field it stands beside; empty when nothing is.
    pub wrong: BTreeMap<String, Vec<String>>,
}

/// Judges a form, over the text of the file it edits (empty for a new one).
///
/// # Errors
/// When the form does not fit that text.
pub fn draft(
    over: &str,
    entry: &Entry,
    file: &str,
    fats: &FatTable,
    bench: Option<&BenchFile>,
) -> Result<Draft, EditError> {
    let text = edit::write(over, &FORM, entry)?;
    let source = Source { file, text: &text };
    let recipe = Recipe::read(source, fats);
    let is_recipe = recipe.is_ok();
    let plan = recipe
        .and_then(|recipe| plan::plan(&recipe, fats, bench, &plan::Options::default()))
        .map(Box::new);
    let wrong = match &plan {
        Ok(_) => BTreeMap::new(),
        Err(problems) => beside(&FORM, &text, problems),
    };
    Ok(Draft { text, is_recipe, plan, wrong })
}

/// Puts an altered recipe's fats and masses into the form of the file it was altered from, so that
/// it can be kept as a file of its own.
pub fn adopt(entry: &mut Entry, original: &Recipe, altered: &Recipe) {
    let shown = |mass: Mass| mass.show(altered.units.mass, altered.units.mass_decimals);
    entry.set("total_oils", "");
    let oils = original.oils.iter().zip(&altered.oils);
    for (row, (was, oil)) in entry.rows_mut("oil").iter_mut().zip(oils) {
        if was.fat != oil.fat {
            row.set("fat", oil.name.clone());
            row.set("called", "");
            // lot and paper were the other oil's
            row.set("lot", "");
            row.rows_mut("certificate").clear();
        }
        row.set("amount", shown(oil.mass));
    }
    if let LiquidRule::Mass(mass) = altered.liquid.amount {
        entry.part_mut("liquid").set("amount", shown(mass));
    }
    let fixed = |row: &mut Entry, amount: &AdditionAmount| {
        if let AdditionAmount::Mass(mass) = amount {
            row.set("amount", shown(*mass));
        }
    };
    for (row, addition) in entry.rows_mut("addition").iter_mut().zip(&altered.additions) {
        fixed(row, &addition.amount);
    }
    for (row, fat) in entry.rows_mut("fat_after_cook").iter_mut().zip(&altered.late_fats) {
        fixed(row, &fat.amount);
    }
}

impl Recipe {
    /// What a maker names the lot of, in the order of weighing: id, name, lot as the file has it.
    pub fn lots(&self) -> Vec<(&IngredientId, &str, Option<&str>)> {
        let oils = self.oils.iter().map(|o| (&o.id, o.name.as_str(), o.lot.as_ref()));
        let caustics = self.caustics.iter().map(|c| (&c.id, c.alkali.words(), c.lot.as_ref()));
        let liquid = &self.liquid;
        let liquid = std::iter::once((&liquid.id, liquid.name.as_str(), liquid.lot.as_ref()));
        // the lot of a base is the batch it is from, and no label says another
        let additions = self.additions.iter().filter(|addition| addition.base.is_none());
        let additions = additions.map(|a| (&a.id, a.name.as_str(), a.lot.as_ref()));
        let late = self.late_fats.iter().map(|f| (&f.id, f.name.as_str(), f.lot.as_ref()));
        oils.chain(caustics)
            .chain(liquid)
            .chain(additions)
            .chain(late)
            .map(|(id, name, lot)| (id, name, lot.map(|lot| lot.name.as_str())))
            .collect()
    }

    /// The recipe with the lots that are really on the bench, by an ingredient's name or key. A
    /// certificate stays only with the lot it was written for: of another lot its figures would be
    /// a guess that looks like a measurement.
    ///
    /// # Errors
    /// When one is no ingredient of the recipe, or its lot is longer than a label.
    pub fn with_lots(&self, lots: &BTreeMap<String, String>) -> Result<Recipe, LotError> {
        let mut wanted: BTreeMap<&IngredientId, &str> = BTreeMap::new();
        let known = self.lots();
        for (asked, lot) in lots {
            let is_asked = |(id, name, _): &&(&IngredientId, &str, Option<&str>)| {
                id.0.eq_ignore_ascii_case(asked.trim()) || name.eq_ignore_ascii_case(asked.trim())
            };
            let Some((id, ..)) = known.iter().find(is_asked) else {
                let known: Vec<&str> = known.iter().map(|(_, name, _)| *name).collect();
                return Err(LotError::NotInRecipe {
                    asked: asked.clone(),
                    known: known.join(", "),
                });
            };
            if lot.chars().count() > LOT_CHARS_MAX {
                return Err(LotError::TooLong(asked.clone()));
            }
            wanted.insert(id, lot.trim());
        }
        let mut recipe = self.clone();
        let put = |id: &IngredientId, lot: &mut Option<Lot>| {
            let Some(&name) = wanted.get(id) else { return };
            if lot.as_ref().is_some_and(|lot| lot.name == name) {
                return;
            }
            *lot = (!name.is_empty()).then(|| Lot { name: name.to_owned(), certificate: None });
        };
        recipe.oils.iter_mut().for_each(|oil| put(&oil.id, &mut oil.lot));
        recipe.caustics.iter_mut().for_each(|caustic| put(&caustic.id, &mut caustic.lot));
        put(&recipe.liquid.id, &mut recipe.liquid.lot);
        recipe.additions.iter_mut().for_each(|addition| put(&addition.id, &mut addition.lot));
        recipe.late_fats.iter_mut().for_each(|fat| put(&fat.id, &mut fat.lot));
        Ok(recipe)
    }
}

#[cfg(test)]
mod tests;
