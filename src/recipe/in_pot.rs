//! Oils that are in the pot before a batch begins, as a maker says it: "olive oil" is "400 g ± 10 g".

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::chemistry::IngredientId;
use crate::quantity::{Mass, QuantityError, Share};

use super::Recipe;

/// So much of an oil is in the pot already; without a doubt it is as good as any declared mass.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct InPot {
    pub oil: IngredientId,
    pub mass: Mass,
    /// ±.
    pub doubt: Option<Mass>,
}

const EXPECTED: &str = "a mass like `400 g`, or `400 g ± 10 g`, or `400 g ± 2 %`";

impl Recipe {
    /// By an oil's name or key. What is left empty is not in the pot.
    ///
    /// # Errors
    /// In words: when one is no oil of the recipe, or no mass.
    pub fn in_pot(&self, said: &BTreeMap<String, String>) -> Result<Vec<InPot>, String> {
        let said = said.iter().filter(|(_, text)| !text.trim().is_empty());
        said.map(|(asked, text)| {
            let is_asked = |oil: &&super::Oil| {
                oil.id.0.eq_ignore_ascii_case(asked.trim())
                    || oil.name.eq_ignore_ascii_case(asked.trim())
            };
            let oil = self.oils.iter().find(is_asked).ok_or_else(|| {
                let known: Vec<&str> = self.oils.iter().map(|oil| oil.name.as_str()).collect();
                let known = known.join(", ");
                format!("`{asked}` is said to be in the pot, and is no oil of the recipe: {known}")
            })?;
            InPot::read(oil.id.clone(), text)
                .map_err(|error| format!("{asked} in the pot: {error}; expected {EXPECTED}"))
        })
        .collect()
    }
}

impl InPot {
    /// From "400 g", "400 g ± 10 g" or "400 g ± 2 %".
    pub(crate) fn read(oil: IngredientId, text: &str) -> Result<InPot, QuantityError> {
        let (mass, doubt) = mass_and_doubt(text)?;
        Ok(InPot { oil, mass, doubt })
    }
}

fn mass_and_doubt(text: &str) -> Result<(Mass, Option<Mass>), QuantityError> {
    let Some((mass, doubt)) = text.split_once('±').or_else(|| text.split_once("+-")) else {
        return Ok((Mass::parse(text)?, None));
    };
    let mass = Mass::parse(mass)?;
    let doubt = if doubt.contains('%') {
        let share = Share::parse(doubt)?;
        Mass::from_grams_rounded(mass.grams() * share.fraction())
    } else {
        Mass::parse(doubt)?
    };
    Ok((mass, Some(doubt)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::FatTable;
    use crate::problem::Source;

    fn said(oil: &str, text: &str) -> Result<Vec<InPot>, String> {
        let source = Source { file: "example.toml", text: crate::recipe::EXAMPLE };
        let recipe = Recipe::read(source, FatTable::built_in()).unwrap();
        recipe.in_pot(&BTreeMap::from([(oil.to_owned(), text.to_owned())]))
    }

    #[test]
    fn an_oil_by_its_name_or_key_with_its_doubt() {
        let g = |text: &str| Mass::parse(text).unwrap();
        let olive = |mass: &str, doubt: Option<&str>| {
            Ok(vec![InPot { oil: "olive".into(), mass: g(mass), doubt: doubt.map(g) }])
        };
        assert_eq!(said("olive oil", "400 g"), olive("400 g", None));
        assert_eq!(said(" Olive ", "14 oz ± 0.2 oz"), olive("14 oz", Some("0.2 oz")));
        assert_eq!(said("olive", "400 g +- 10 g"), olive("400 g", Some("10 g")));
        assert_eq!(said("olive", "400 g ± 2 %"), olive("400 g", Some("8 g")));
        assert_eq!(said("olive", " "), Ok(Vec::new()));
    }

    #[test]
    fn what_is_not_understood_is_said() {
        assert!(said("lard", "400 g").unwrap_err().contains("no oil of the recipe"));
        for text in ["400", "± 10 g", "400 g ±", "much"] {
            let words = said("olive", text).unwrap_err();
            assert!(words.contains("expected a mass like `400 g`"), "{text}: {words}");
        }
    }
}
