use thiserror::Error;

use crate::problem;
use crate::quantity::Share;

/// A liquid that caustic can be dissolved in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Liquid {
    pub key: &'static str,
    pub name: &'static str,
    /// Water in it, least, usual and most. Usual compositions, from memory.
    pub water_low: Share,
    pub water: Share,
    pub water_high: Share,
    /// Fat that it brings along; it comes on top of the superfat and takes no caustic here.
    pub fat: Share,
    /// What to mind, in words; common practice, no source.
    pub caution: Option<&'static str>,
}

/// No liquid goes by this name.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("no liquid is called `{asked}`; {}", suggestion(.nearest))]
pub struct UnknownLiquid {
    pub asked: String,
    pub nearest: Option<&'static str>,
}

/// Salt in a brine above which soap hardly lathers and sodium hydroxide dissolves badly.
const BRINE_SALT_MOST: Share = Share::from_percent(26);

const SUGARY: &str = "sugars brown and heat in lye: freeze it or keep it ice-cold, add the \
    caustic in small portions, expect a hotter pot";
const MILKY: &str = "milk scorches and smells of ammonia in hot lye: freeze it, add the caustic \
    in small portions over ice, stay below 40 °C; or dissolve in water and add the milk to the fats";
const FIZZY: &str = "boil off alcohol and gas first and let it cool: either makes the lye foam \
    over at once";

const LIQUIDS: [Liquid; 9] = [
    liquid("water", "distilled water", [1000, 1000, 1000], 0, None),
    liquid("aloe_juice", "aloe juice", [980, 990, 996], 0, Some(SUGARY)),
    liquid("tea", "tea or herbal infusion, strained", [990, 995, 1000], 0, Some(SUGARY)),
    liquid("coffee", "coffee", [980, 990, 1000], 0, Some(SUGARY)),
    liquid("cow_milk", "cow's milk, whole", [865, 875, 885], 37, Some(MILKY)),
    liquid("goat_milk", "goat's milk", [860, 870, 885], 40, Some(MILKY)),
    liquid("coconut_milk", "coconut milk", [600, 710, 800], 210, Some(MILKY)),
    liquid("beer", "beer, flat", [900, 930, 970], 0, Some(FIZZY)),
    liquid("wine", "wine, boiled down", [850, 900, 970], 0, Some(FIZZY)),
];

impl Liquid {
    pub fn all() -> &'static [Liquid] {
        &LIQUIDS
    }

    /// By key or name; letter case, spaces, hyphens and underscores do not matter.
    pub fn find(name: &str) -> Result<&'static Liquid, UnknownLiquid> {
        let asked = plain(name);
        let known = |liquid: &&Liquid| plain(liquid.key) == asked || plain(liquid.name) == asked;
        LIQUIDS.iter().find(known).ok_or_else(|| UnknownLiquid {
            asked: name.trim().to_owned(),
            nearest: problem::nearest(&plain(name), LIQUIDS.iter().map(|liquid| liquid.key)),
        })
    }

    /// Salt dissolved in water before the caustic. `None` above 26 %, which water does not hold.
    pub fn brine(salt: Share) -> Option<Liquid> {
        if !(Share::ZERO..=BRINE_SALT_MOST).contains(&salt) {
            return None;
        }
        let water = Share::WHOLE - salt;
        Some(Liquid {
            key: "brine",
            name: "brine",
            water_low: water,
            water,
            water_high: water,
            fat: Share::ZERO,
            caution: Some(
                "dissolve the salt whole before the caustic; the caustic dissolves more slowly, \
                 and the soap sets quickly: cut early",
            ),
        })
    }
}

const fn liquid(
    key: &'static str,
    name: &'static str,
    [low, water, high]: [i64; 3],
    fat: i64,
    caution: Option<&'static str>,
) -> Liquid {
    Liquid {
        key,
        name,
        water_low: Share::from_millionths(low * 1000),
        water: Share::from_millionths(water * 1000),
        water_high: Share::from_millionths(high * 1000),
        fat: Share::from_millionths(fat * 1000),
        caution,
    }
}

fn plain(name: &str) -> String {
    let spaced = name.to_lowercase().replace(['_', '-', ',', '\''], " ");
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn suggestion(nearest: &Option<&'static str>) -> String {
    match nearest {
        Some(name) => format!("did you mean `{name}`?"),
        None => "name its share of water instead".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn liquids_are_found_and_hold_together() {
        for liquid in Liquid::all() {
            assert_eq!(Liquid::find(liquid.name), Ok(liquid));
            assert!(liquid.water_low <= liquid.water && liquid.water <= liquid.water_high);
            assert!(liquid.water_low + liquid.fat <= Share::WHOLE, "{}", liquid.key);
            assert_eq!(liquid.caution.is_none(), liquid.key == "water");
        }
        assert_eq!(Liquid::find("Goat-Milk").unwrap().key, "goat_milk");
        assert_eq!(
            Liquid::find("goats milk").unwrap_err().to_string(),
            "no liquid is called `goats milk`; did you mean `goat_milk`?"
        );
    }

    #[test]
    fn water_holds_only_so_much_salt() {
        let brine = Liquid::brine(Share::from_percent(20)).unwrap();
        assert_eq!(brine.water, Share::from_percent(80));
        assert_eq!(Liquid::brine(Share::from_percent(30)), None);
    }
}
