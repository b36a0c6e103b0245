//! Recipes and benches that stories name: small, round, and without any file.

use std::collections::BTreeMap;

use crate::bench::{ChannelSetup, ProbeAt, Role, Setup};
use crate::chemistry::{
    Alkali, Caustic, CausticForm, Formula, FormulaFat, LiquidRule, Reacting, ScaleFacts,
};
use crate::plan::{
    Amount, ControlRecipe, Cook, CookTest, Nature, Step, StepKind, TestLimit, TestMethod,
    Tolerance, Units, Vessel, Weigh, Window,
};
use crate::quantity::{
    Mass, MassUnit, Ph, Share, Span, Temperature, TemperatureDelta, TemperatureUnit,
};
use crate::reading::Channel;

/// A bench with its instruments and its empty vessels.
#[derive(Clone, Debug, PartialEq)]
pub struct SimBench {
    pub setup: Setup,
    /// Tares by name: "pot", "cup", "jug", "beaker".
    pub vessels: BTreeMap<String, Mass>,
}

pub const RECIPES: [&str; 4] = ["three-oils", "with-windows", "with-tests", "lye-first"];
pub const BENCHES: [&str; 5] =
    ["standard", "scale-and-pot", "scale-and-hand", "scale-only", "three-pots"];

/// A control recipe by its name.
pub fn recipe(name: &str) -> Option<ControlRecipe> {
    match name {
        "three-oils" => Some(three_oils()),
        "with-windows" => Some(with_windows()),
        "with-tests" => Some(with_tests()),
        "lye-first" => Some(lye_first()),
        _ => None,
    }
}

/// A bench by its name.
pub fn bench(name: &str) -> Option<SimBench> {
    let mut bench = standard();
    let channels = &mut bench.setup.channels;
    match name {
        "standard" => {}
        "scale-and-pot" => {
            channels.retain(|known| ["scale", "pot"].contains(&known.channel.as_str()))
        }
        // one probe for all, in somebody's hand
        "scale-and-hand" => {
            channels.retain(|known| ["scale", "pot"].contains(&known.channel.as_str()));
            // nothing is weighed in these stories; a slow scale makes them quick to play
            channels.iter_mut().for_each(|known| known.period = Span::from_secs(1));
            for known in channels.iter_mut().filter(|known| known.channel.as_str() == "pot") {
                let at = ProbeAt::Hand;
                known.role = Role::Probe { at, unit: TemperatureUnit::Celsius };
                known.channel = Channel::new("stick");
                known.instrument = "stick".to_owned();
            }
        }
        "scale-only" => channels.retain(|known| known.channel.as_str() == "scale"),
        "three-pots" => channels.extend(probes_of("b").into_iter().chain(probes_of("c"))),
        _ => return None,
    }
    Some(bench)
}

/// Three oils, sodium hydroxide, water, three minutes of cook with a look each minute, glycerin.
///
/// Saponification values are round numbers of our own, so that caustic can be worked out by hand:
/// (90 g × 256 + 180 g × 190 + 30 g × 180) mg KOH/g × 39.9971 ÷ 56.1056 × 0.95 = 42.42 g.
pub fn three_oils() -> ControlRecipe {
    let pot = Vessel::Pot;
    let celsius = Temperature::from_celsius;
    ControlRecipe {
        name: "three oils".to_owned(),
        recipe_digest: "00".to_owned(),
        units: Units {
            mass: MassUnit::Gram,
            mass_decimals: 1,
            temperature: TemperatureUnit::Celsius,
        },
        formula: formula(),
        steps: vec![
            weigh("coconut", "coconut oil", Amount::Fixed(grams(90)), pot),
            weigh("olive", "olive oil", Amount::Fixed(grams(180)), pot),
            weigh("castor", "castor oil", Amount::Fixed(grams(30)), pot),
            weigh("naoh", "sodium hydroxide", Amount::Caustic, Vessel::Own),
            weigh("water", "water", Amount::Liquid, Vessel::Own),
            step("dissolve", "dissolve the caustic", StepKind::Dissolve),
            step(
                "combine",
                "bring oils and lye together",
                StepKind::Combine { oils: None, lye: None, difference_max: None },
            ),
            step(
                "cook",
                "cook",
                StepKind::Cook(Cook {
                    window: Window { low: celsius(71), high: celsius(93) },
                    high: celsius(95),
                    high_high: celsius(98),
                    duration: Span::from_minutes(3),
                    look_every: Span::from_minutes(1),
                    tests: Vec::new(),
                }),
            ),
            weigh("glycerin", "glycerin", Amount::OfFats(Share::from_percent(5)), Vessel::Own),
            step("mould", "pour into the mould", StepKind::Do),
        ],
        findings: Vec::new(),
        bases: Vec::new(),
        lye_start: None,
        pot: None,
    }
}

/// Three oils that come together with their lye only inside the usual windows, and a long cook.
pub fn with_windows() -> ControlRecipe {
    let celsius = Temperature::from_celsius;
    let usual = Window { low: celsius(32), high: celsius(54) };
    let mut recipe = three_oils();
    for step in &mut recipe.steps {
        match &mut step.kind {
            StepKind::Combine { oils, lye, difference_max } => {
                (*oils, *lye) = (Some(usual), Some(usual));
                *difference_max = Some(TemperatureDelta::from_kelvin(11));
            }
            StepKind::Cook(cook) => {
                cook.duration = Span::from_minutes(30);
                cook.look_every = Span::from_minutes(10);
            }
            _ => {}
        }
    }
    recipe
}

/// The same soap by cold process: the lye is made first, the oils follow it, and nothing is cooked.
pub fn lye_first() -> ControlRecipe {
    let mut recipe = three_oils();
    let is_oil = |step: &Step| matches!(&step.kind, StepKind::Weigh(weigh) if matches!(weigh.amount, Amount::Fixed(_)));
    let (oils, mut steps): (Vec<Step>, Vec<Step>) = recipe.steps.into_iter().partition(is_oil);
    let cooked = |step: &Step| matches!(step.key.as_str(), "cook" | "weigh-glycerin");
    steps.retain(|step| !cooked(step));
    let after = steps.iter().position(|step| step.key == "combine").unwrap_or_default();
    for (place, mut step) in oils.into_iter().enumerate() {
        if let StepKind::Weigh(weigh) = &mut step.kind
            && let Amount::Fixed(mass) = weigh.amount
        {
            weigh.amount = Amount::AfterLye(mass);
        }
        steps.insert(after + place, step);
    }
    recipe.steps = steps;
    recipe
}

/// A cook that ends with two tests, and a fragrance that waits for the pot to cool.
pub fn with_tests() -> ControlRecipe {
    let mut recipe = three_oils();
    let test = |key: &str, method, limit| CookTest {
        key: key.to_owned(),
        name: format!("the {key}"),
        method,
        sample: "1 g of soap in 99 g of water".to_owned(),
        limit,
    };
    let (low, high) = (Ph::from_tenths(90), Ph::from_tenths(105));
    let words = TestLimit::Words(vec!["nothing".to_owned()]);
    for step in &mut recipe.steps {
        if let StepKind::Cook(cook) = &mut step.kind {
            cook.tests = vec![
                test("ph", TestMethod::Meter, TestLimit::Ph { low, high }),
                test("tongue", TestMethod::Zap, words.clone()),
            ];
        }
    }
    let below = Temperature::from_celsius(60);
    let stir = step("stir-in", "stir in the fragrance", StepKind::WhenCool { below });
    recipe.steps.insert(recipe.steps.len() - 1, stir);
    recipe
}

/// A scale of 0.1 g and 3 kg, ten readings a second; a thermometer that streams three probes each
/// second; a probe in the pot that answers when asked.
pub fn standard() -> SimBench {
    let tenth = Mass::from_steps(MassUnit::Gram.one().steps() / 10);
    let facts = ScaleFacts { d: tenth, capacity: grams(3000), verified: None };
    let probe = |at| Role::Probe { at, unit: TemperatureUnit::Celsius };
    let channels = vec![
        channel("scale", "scale", Role::Scale { facts, unit: MassUnit::Gram }, 100),
        channel("oils", "thermometer", probe(ProbeAt::Oils), 1000),
        channel("lye", "thermometer", probe(ProbeAt::Lye), 1000),
        channel("room", "thermometer", probe(ProbeAt::Room), 1000),
        channel("pot", "pot-probe", probe(ProbeAt::Pot), 1000),
    ];
    let vessels = [("pot", 812), ("cup", 48), ("jug", 163), ("beaker", 71)];
    SimBench {
        setup: Setup { channels, digest: "00".to_owned(), ..Setup::default() },
        vessels: vessels.map(|(name, tare)| (name.to_owned(), grams(tare))).into(),
    }
}

/// One more thermometer with three probes, for one more pot.
fn probes_of(pot: &str) -> Vec<ChannelSetup> {
    let probe = |name: &str, at| {
        let role = Role::Probe { at, unit: TemperatureUnit::Celsius };
        channel(&format!("{name} {pot}"), &format!("thermometer {pot}"), role, 1000)
    };
    let (oils, lye, pot) = (ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot);
    vec![probe("oils", oils), probe("lye", lye), probe("pot", pot)]
}

fn formula() -> Formula {
    let fat = |id: &str, sap| FormulaFat {
        id: id.into(),
        sap_low: sap - 5.0,
        sap,
        sap_high: sap + 5.0,
        reacting: Reacting::default(),
        after_cook: false,
    };
    Formula {
        fats: vec![fat("coconut", 256.0), fat("olive", 190.0), fat("castor", 180.0)],
        superfat: Share::from_percent(5),
        floor: Share::ZERO,
        caustics: vec![Caustic {
            id: "naoh".into(),
            alkali: Alkali::SodiumHydroxide,
            covers: Share::WHOLE,
            purity_low: Share::WHOLE,
            purity: Share::WHOLE,
            purity_high: Share::WHOLE,
            form: CausticForm::Solid,
        }],
        liquid: LiquidRule::Ratio(2_500_000),
        liquid_id: "water".into(),
        liquid_water: Share::WHOLE,
        acids: Vec::new(),
    }
}

fn weigh(id: &str, name: &str, amount: Amount, into: Vessel) -> Step {
    let weigh = Weigh {
        ingredient: id.into(),
        name: name.to_owned(),
        amount,
        into,
        nature: Nature::Pour,
        tolerance: Tolerance::Share(Share::from_percent(1)),
        lot: None,
    };
    step(&format!("weigh-{id}"), name, StepKind::Weigh(weigh))
}

fn step(key: &str, title: &str, kind: StepKind) -> Step {
    let (key, title) = (key.to_owned(), title.to_owned());
    Step { key, title, hazards: Vec::new(), kind, moulding: false }
}

fn channel(name: &str, instrument: &str, role: Role, period_ms: i64) -> ChannelSetup {
    ChannelSetup {
        channel: Channel::new(name),
        instrument: instrument.to_owned(),
        role,
        period: Span::from_millis(period_ms),
        zeroes: false,
    }
}

fn grams(count: i64) -> Mass {
    MassUnit::Gram.one() * count
}
