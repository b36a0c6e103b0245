//! Room left on the scale and in the vessel, said before anything is poured.

use std::sync::Arc;

use panroom::bench::{Act, Cue, Fact, KnownVessel, Notice, Reply, Role, RoomView};
use panroom::bench_file::{Material, Purpose};
use panroom::plan::{ControlRecipe, Pot};
use panroom::quantity::{Mass, Volume};

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};

fn started(capacity: &str, vessels: Vec<KnownVessel>, pot: Option<Pot>) -> Driver {
    let mut driver = Driver::new();
    for channel in &mut driver.setup.channels {
        if let Role::Scale { facts, .. } = &mut channel.role {
            facts.capacity = g(capacity);
        }
    }
    driver.setup.vessels = vessels;
    driver.open_session(2, None);
    driver.run(0.5);
    let control = Arc::new(ControlRecipe { pot, ..control() });
    let act = Act::start(batch_id(), control);
    assert_eq!(driver.act(act), Reply::Done);
    driver
}

fn room(driver: &Driver) -> RoomView {
    driver.view().batches[0].weighing.clone().expect("something is weighed").room.unwrap()
}

fn noticed(driver: &Driver) -> Vec<Notice> {
    let notices = driver.facts.iter().filter_map(|numbered| match &numbered.fact {
        Fact::Noticed { notice, .. } => Some(*notice),
        _ => None,
    });
    notices.collect()
}

fn said(driver: &Driver, begins: &str) -> usize {
    let said = driver.cues.iter();
    said.filter(|cue| matches!(cue, Cue::Say { words } if words.starts_with(begins))).count()
}

fn ml(count: f64) -> Volume {
    Volume::from_millilitres_rounded(count)
}

fn vessel(name: &str, purpose: Purpose, tare: &str, volume: f64) -> KnownVessel {
    KnownVessel {
        name: name.to_owned(),
        purpose,
        tare: g(tare),
        volume: Some(ml(volume)),
        material: Material::StainlessSteel,
    }
}

#[test]
fn room_is_capacity_less_what_is_on_the_pan() {
    let mut driver = started("3000", Vec::new(), None);
    driver.put(POT_G);
    assert_eq!(room(&driver), RoomView { left: Some(g("2600")), tight: Vec::new() });
    driver.pour_without_rest(POT_G + 60.0);
    assert_eq!(room(&driver).left, Some(g("2540")));
    driver.scale_talks = false;
    driver.run(4.0);
    assert_eq!(room(&driver).left, None, "an old number is none");
}

#[test]
fn what_does_not_fit_is_said_before_it_is_poured() {
    // the pot of 400 g and 100 g of oil
    for (capacity, lacks) in [("500.1", None), ("500", None), ("499.9", Some(g("0.1")))] {
        let mut driver = started(capacity, Vec::new(), None);
        driver.put(POT_G);
        let expected: Vec<Notice> =
            lacks.map(|lacks| Notice::NoRoomOnScale { lacks }).into_iter().collect();
        assert_eq!(noticed(&driver), expected, "{capacity} g");
        assert_eq!(said(&driver, "It does not fit on the scale"), expected.len());
        let tight = room(&driver).tight;
        let begins = if lacks.is_some() { "It does not fit" } else { "The scale is nearly full" };
        assert!(tight.len() == 1 && tight[0].starts_with(begins), "{tight:?}");
    }
    let driver = started("499.9", Vec::new(), None);
    assert!(room(&driver).tight.is_empty(), "nobody knows what the pot weighs");
}

#[test]
fn within_a_hundredth_of_the_capacity_is_nearly_full() {
    // 500 g are 99 % of 505.05 g
    for (capacity, nearly) in [("505.0", true), ("505.1", false)] {
        let mut driver = started(capacity, Vec::new(), None);
        driver.put(POT_G);
        assert_eq!(!room(&driver).tight.is_empty(), nearly, "{capacity} g");
        assert!(noticed(&driver).is_empty());
    }
}

#[test]
fn the_next_oil_is_judged_with_the_pot_as_it_is_and_as_planned() {
    let pot = Pot { name: "the pot".to_owned(), tare: g("400"), volume: None };
    let driver = started("499", Vec::new(), Some(pot));
    assert_eq!(room(&driver).tight.len(), 1, "by the tare of the plan, before it stands there");
    // 100 g fit, 200 g more do not
    let mut driver = started("699.9", Vec::new(), None);
    driver.put(POT_G);
    assert!(room(&driver).tight.is_empty());
    driver.pour_to(POT_G + 100.0);
    driver.expect_step("weigh-olive");
    assert_eq!(noticed(&driver), [Notice::NoRoomOnScale { lacks: g("0.1") }]);
}

#[test]
fn a_cup_is_judged_once_it_is_tared() {
    // 38 g of caustic and a cup of 50 g on a scale that also bears the pot
    let mut driver = started("3000", Vec::new(), None);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    assert!(room(&driver).tight.is_empty());
    let target = driver.target();
    let heavy = 3000.0 - target + 0.1;
    driver.put(heavy);
    assert_eq!(noticed(&driver), [Notice::NoRoomOnScale { lacks: g("0.1") }]);
    // a declared mass is not watched while it is poured, so caustic is not sent there
    let words = "It does not fit on the scale, which lacks 0.1 g. Do not pour: begin with a lighter \
                 cup, or make a smaller batch. Do not press the scale's tare key.";
    assert_eq!(room(&driver).tight, [words]);
    assert_eq!(said(&driver, words), 1, "{:?}", driver.cues);
}

/// 300 g of oils want 63.6 g of KOH, that is 63.6 × 39.9971 ÷ 56.1056 × 0.95 = 43.07 g of NaOH (IUPAC
/// molar masses), 107.68 g of water and 15 g of glycerin: 465.8 g, at 1 g/ml (common practice, no
/// source). They are two thirds of 698.6 ml.
#[test]
fn the_pot_that_stands_there_is_judged_by_its_own_volume() {
    for (volume, fits) in [(650.0, false), (698.0, false), (699.0, true), (710.0, true)] {
        let pot = vessel("the pot", Purpose::Pot, "400", volume);
        let mut driver = started("3000", vec![pot], None);
        driver.put(POT_G);
        let wanted = noticed(&driver).into_iter().find_map(|notice| match notice {
            Notice::NoRoomInVessel { wants, .. } => Some(wants),
            _ => None,
        });
        assert_eq!(wanted.is_none(), fits, "{volume} ml");
        if let Some(wanted) = wanted {
            assert!((wanted.millilitres() - 465.8).abs() < 0.1, "{wanted}");
        }
        let nearly = room(&driver).tight;
        assert_eq!(nearly.is_empty(), volume == 710.0, "{volume} ml: {nearly:?}");
    }
}

#[test]
fn cup_and_jug_are_judged_by_theirs() {
    let to_caustic = |cup: f64, jug: f64| {
        let vessels = vec![
            vessel("the cup", Purpose::CausticCup, "50", cup),
            vessel("the jug", Purpose::LyeJug, "120", jug),
        ];
        let mut driver = started("3000", vessels, None);
        driver.put(POT_G);
        driver.pour_to(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        driver.put(0.0);
        driver.put(CUP_G);
        driver
    };
    let target = to_caustic(400.0, 400.0).target();
    assert_eq!(noticed(&to_caustic(target + 0.001, 400.0)), []);
    assert!(matches!(
        noticed(&to_caustic(target - 0.1, 400.0))[..],
        [Notice::NoRoomInVessel { .. }]
    ));
    // the jug holds the lye, and half of it stays empty for the foam
    let at_water = |jug: f64| {
        let mut driver = to_caustic(400.0, jug);
        let target = driver.target();
        driver.pour_to(CUP_G + target);
        driver.put(0.0);
        driver.put(JUG_G);
        driver
    };
    let lye = {
        let driver = at_water(4000.0);
        let water = driver.weighing_target();
        (water + driver.captured("naoh").unwrap()).grams()
    };
    assert_eq!(noticed(&at_water(2.0 * lye + 0.01)), []);
    assert!(matches!(noticed(&at_water(2.0 * lye - 0.1))[..], [Notice::NoRoomInVessel { .. }]));
}

#[test]
fn a_moved_zero_takes_nothing_from_the_room() {
    let mut driver = started("3000", Vec::new(), None);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.expect_step("weigh-olive");
    // the scale slept and woke with another zero: 50 g less than before
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
    driver.put(450.0);
    driver.put(-50.0);
    driver.put(450.0);
    assert_eq!(room(&driver).left, Some(g("2500")), "500 g stand there");
    assert_ne!(room(&driver).left, Some(Mass::ZERO));
}
