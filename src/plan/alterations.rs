use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::scaling::{ScaleTo, ScalingError, scaled, swapped};
use crate::chemistry::FatTable;
use crate::quantity::{Mass, QuantityError, Share, Volume};
use crate::recipe::Recipe;

/// What is to be different from the file, as a maker writes it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Alterations {
    /// "1.5" or "150 %".
    pub times: Option<String>,
    /// Oils in all, like "1 kg".
    pub oils: Option<String>,
    /// Everything in all, like "1.5 kg".
    pub batch: Option<String>,
    /// As far as one ingredient goes, like "shea butter = 410 g".
    pub have: Option<String>,
    /// The volume of a pot or mould, like "2 l".
    pub fill: Option<String>,
    /// How full; half when left out.
    pub part: Option<String>,
    /// One oil for another, like "olive oil = lard".
    pub swap: Vec<String>,
}

#[derive(Debug, Error)]
pub enum AlterationError {
    #[error("only one of times, oils, batch, have and fill can be said; the others follow")]
    Several,
    #[error("`part` says how full a volume is to be; say the volume with `fill` too")]
    PartOfNothing,
    #[error("`{what}`: {error}")]
    Quantity { what: &'static str, error: QuantityError },
    #[error("`{what}`: found `{found}`; expected {expected}")]
    Form { what: &'static str, found: String, expected: &'static str },
    #[error(transparent)]
    Scaling(#[from] ScalingError),
}

/// A pot is filled to a half (a cook climbs); common practice, no source.
const PART_USUAL: Share = Share::from_percent(50);

impl Alterations {
    /// The recipe with all of them made: oils are exchanged first, then everything is scaled.
    pub fn apply(&self, recipe: &Recipe, fats: &FatTable) -> Result<Recipe, AlterationError> {
        let mut altered = recipe.clone();
        for swap in &self.swap {
            let (from, to) = pair("swap", swap, "one oil for another, like `olive oil = lard`")?;
            altered = swapped(&altered, fats, from, to)?.recipe;
        }
        match self.scale()? {
            Some(to) => Ok(scaled(&altered, fats, &to)?),
            None => Ok(altered),
        }
    }

    fn scale(&self) -> Result<Option<ScaleTo>, AlterationError> {
        let mut said = Vec::new();
        if let Some(times) = &self.times {
            said.push(ScaleTo::Times(factor(times)?));
        }
        if let Some(oils) = &self.oils {
            said.push(ScaleTo::TotalOils(quantity("oils", oils, Mass::parse)?));
        }
        if let Some(batch) = &self.batch {
            said.push(ScaleTo::TotalBatch(quantity("batch", batch, Mass::parse)?));
        }
        if let Some(have) = &self.have {
            let expected = "an ingredient and what there is of it, like `shea butter = 410 g`";
            let (ingredient, mass) = pair("have", have, expected)?;
            let mass = quantity("have", mass, Mass::parse)?;
            said.push(ScaleTo::Have { ingredient: ingredient.to_owned(), mass });
        }
        if let Some(volume) = &self.fill {
            let volume = quantity("fill", volume, Volume::parse)?;
            let part = self.part.as_deref().map(|part| quantity("part", part, Share::parse));
            let part = part.transpose()?.unwrap_or(PART_USUAL);
            said.push(ScaleTo::Fill { volume, part });
        } else if self.part.is_some() {
            return Err(AlterationError::PartOfNothing);
        }
        match said.len() {
            0 => Ok(None),
            1 => Ok(said.pop()),
            _ => Err(AlterationError::Several),
        }
    }
}

/// "1.5" is 150 %.
fn factor(text: &str) -> Result<Share, AlterationError> {
    if text.contains('%') {
        return quantity("times", text, Share::parse);
    }
    let expected = "a number above zero, like `1.5`, or `150 %`";
    let form = || AlterationError::Form { what: "times", found: text.to_owned(), expected };
    let times: f64 = text.trim().parse().map_err(|_| form())?;
    let plausible = times > 0.0 && times <= 1000.0;
    if plausible { Ok(Share::from_fraction_rounded(times)) } else { Err(form()) }
}

fn pair<'a>(
    what: &'static str,
    text: &'a str,
    expected: &'static str,
) -> Result<(&'a str, &'a str), AlterationError> {
    let form = || AlterationError::Form { what, found: text.to_owned(), expected };
    let (left, right) = text.split_once('=').ok_or_else(form)?;
    let (left, right) = (left.trim(), right.trim());
    if left.is_empty() || right.is_empty() { Err(form()) } else { Ok((left, right)) }
}

fn quantity<T>(
    what: &'static str,
    text: &str,
    parse: impl Fn(&str) -> Result<T, QuantityError>,
) -> Result<T, AlterationError> {
    parse(text).map_err(|error| AlterationError::Quantity { what, error })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::problem::Source;
    use crate::recipe;

    fn example() -> Recipe {
        let source = Source { file: "example.toml", text: recipe::EXAMPLE };
        Recipe::read(source, FatTable::built_in()).unwrap()
    }

    fn refusal(alterations: &Alterations) -> String {
        alterations.apply(&example(), FatTable::built_in()).unwrap_err().to_string()
    }

    fn some(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn what_there_is_of_one_oil_scales_all() {
        // the example has 105 g of shea butter in 700 g of oils
        let alterations = Alterations { have: some("shea butter = 210 g"), ..Default::default() };
        let altered = alterations.apply(&example(), FatTable::built_in()).unwrap();
        assert_eq!(altered.oil_total(), Mass::parse("1400 g").unwrap());
    }

    #[test]
    fn oils_are_exchanged_before_scaling() {
        let alterations = Alterations {
            swap: vec!["olive oil = lard".to_owned()],
            have: some("lard = 35 g"),
            ..Default::default()
        };
        let altered = alterations.apply(&example(), FatTable::built_in()).unwrap();
        assert_eq!(altered.oil_total(), Mass::parse("70 g").unwrap());
        assert_eq!(altered.changes.len(), 2);
    }

    #[test]
    fn refusals_say_what_is_expected() {
        let both = Alterations { times: some("2"), oils: some("1 kg"), ..Default::default() };
        assert_eq!(
            refusal(&both),
            "only one of times, oils, batch, have and fill can be said; the others follow"
        );
        let bare = Alterations { swap: vec!["olive oil".to_owned()], ..Default::default() };
        assert_eq!(
            refusal(&bare),
            "`swap`: found `olive oil`; expected one oil for another, like `olive oil = lard`"
        );
        let times = Alterations { times: some("-2"), ..Default::default() };
        assert_eq!(
            refusal(&times),
            "`times`: found `-2`; expected a number above zero, like `1.5`, or `150 %`"
        );
        let part = Alterations { part: some("50 %"), ..Default::default() };
        assert!(refusal(&part).starts_with("`part` says how full"));
        let mass = Alterations { oils: some("1000"), ..Default::default() };
        assert!(refusal(&mass).starts_with("`oils`: `1000` has no unit"), "{}", refusal(&mass));
    }
}
