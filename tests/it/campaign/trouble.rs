//! What goes wrong in one batch of a campaign, by its seed.

use panroom::quantity::{Mass, MassUnit, Share, Span, Temperature};
use panroom::sim::{Chance, Fault, FaultKind, Orders, Story, When};

#[derive(Debug)]
pub struct Trouble {
    pub story: Story,
    /// The wire carries no unit: what the scale shows in ounces is taken for grams.
    pub unit_unsaid: bool,
    /// The disk fails at the first, for the second.
    pub disk_fails: Option<(Span, Span)>,
    /// The process is killed, and starts again after so long.
    pub killed: Option<(Span, Span)>,
    pub kinds: Vec<&'static str>,
}

pub const LONGEST: Span = Span::from_minutes(25);
const INGREDIENTS: [&str; 6] = ["coconut", "olive", "castor", "naoh", "water", "glycerin"];

impl Trouble {
    pub fn of(seed: u64) -> Trouble {
        let mut chance = Chance::new(seed).branch("trouble");
        let mut kinds = Vec::new();
        let hand = hand(&mut chance, &mut kinds);
        let faults = faults(&mut chance, &mut kinds);
        let mut at = |share: f64, longest: f64| {
            chance.happens(share).then(|| {
                let from = seconds(chance.between(20.0, 500.0));
                (from, seconds(chance.between(1.0, longest)))
            })
        };
        let (disk_fails, killed) = (at(0.15, 60.0), at(0.2, 90.0));
        kinds.extend(disk_fails.map(|_| "disk fails"));
        kinds.extend(killed.map(|_| "killed"));
        let unit = faults.iter().any(|fault| matches!(fault.kind, FaultKind::Unit(_)));
        let unit_unsaid = unit && chance.happens(0.7);
        let story = Story {
            title: format!("campaign, seed {seed}"),
            recipe: "three-oils".to_owned(),
            bench: "standard".to_owned(),
            seed,
            pots: 1,
            until: LONGEST,
            hand: Some(hand),
            faults,
            inputs: Vec::new(),
            expect: None,
        };
        Trouble { story, unit_unsaid, disk_fails, killed, kinds }
    }

    pub fn scale_lies(&self) -> bool {
        let lies = |fault: &Fault| {
            matches!(
                fault.kind,
                FaultKind::Slip(_) | FaultKind::Drift(_) | FaultKind::Freeze | FaultKind::Unit(_)
            )
        };
        self.story.faults.iter().any(lies)
    }

    /// A good hand at a good bench.
    pub fn is_none(&self) -> bool {
        self.kinds.is_empty()
    }
}

fn hand(chance: &mut Chance, kinds: &mut Vec<&'static str>) -> Orders {
    let mut orders = Orders::default();
    if chance.happens(0.5) {
        let by = grams(chance.between(-3.0, 12.0));
        orders.off_target.push(("naoh".into(), by));
        kinds.push(if by.is_negative() { "caustic short" } else { "caustic over" });
    }
    for oil in ["olive", "water"] {
        if chance.happens(0.15) {
            orders.off_target.push((oil.into(), grams(chance.between(-20.0, 20.0))));
            kinds.push("oil or water off");
        }
    }
    if chance.happens(0.15) {
        orders.discards = true;
    }
    if chance.happens(0.2) {
        orders
            .away
            .push((seconds(chance.between(20.0, 400.0)), seconds(chance.between(5.0, 240.0))));
        kinds.push("operator leaves");
    }
    if chance.happens(0.1) {
        orders.overheats_to = Some(Temperature::from_celsius(chance.between(94.0, 99.0) as i64));
        kinds.push("overheats");
    }
    if chance.happens(0.1) {
        orders.ignores_looks = true;
        kinds.push("ignores looks");
    }
    orders
}

fn faults(chance: &mut Chance, kinds: &mut Vec<&'static str>) -> Vec<Fault> {
    let mut faults = Vec::new();
    for _ in 0..3 {
        if !chance.happens(0.45) {
            continue;
        }
        let slip = grams(chance.between(-8.0, 8.0));
        let drift = grams(chance.between(-1.0, 1.0));
        let choices = [
            (FaultKind::Unplug, "unplugged"),
            (FaultKind::Garbage, "garbage"),
            (FaultKind::DropOuts(Share::from_percent(40)), "drop-outs"),
            (FaultKind::Knock, "knocked"),
            (FaultKind::Sleep, "scale sleeps"),
            (FaultKind::Period(Span::from_millis(400)), "slow scale"),
            (FaultKind::Freeze, "frozen"),
            (FaultKind::Drift(drift), "drifts"),
            (FaultKind::Slip(slip), "zero slips"),
            (FaultKind::Unit(MassUnit::Ounce), "unit key"),
            (FaultKind::Lift, "lifted"),
            (FaultKind::Swap, "cups swapped"),
            (FaultKind::DeadProbe, "broken probe"),
        ];
        let (kind, name) = choices[chance.between(0.0, choices.len() as f64 - 0.001) as usize];
        let ingredient =
            INGREDIENTS[chance.between(0.0, INGREDIENTS.len() as f64 - 0.001) as usize];
        let share = Share::from_percent(chance.between(5.0, 100.0) as i64);
        let lasts = seconds(chance.between(1.0, 40.0));
        let probe = kind == FaultKind::DeadProbe;
        faults.push(Fault {
            kind,
            of: if probe { "pot" } else { "scale" }.to_owned(),
            when: if probe {
                When::At(seconds(chance.between(10.0, 600.0)))
            } else {
                When::Poured(ingredient.into(), share)
            },
            lasts: Some(lasts),
        });
        kinds.push(name);
    }
    faults
}

fn seconds(seconds: f64) -> Span {
    Span::from_millis((seconds * 1000.0) as i64)
}

fn grams(grams: f64) -> Mass {
    Mass::from_grams_rounded(grams)
}
