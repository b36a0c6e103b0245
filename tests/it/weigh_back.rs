//! Emptied vessels come back to the pan.

use panroom::bench::{Act, Ask, BackVerdict, Fact, PromptId, Reply};

use crate::driver::{CUP_G, Driver, JUG_G};

fn verdict(driver: &Driver) -> Option<BackVerdict> {
    driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::VesselBack { verdict, .. } => Some(*verdict),
        _ => None,
    })
}

#[test]
fn an_empty_cup_back_says_dissolved_whole() {
    // negligible: the larger of one d (0.1 g) and 0.5 % of about 43 g
    for (left, whole) in [(0.0, true), (0.2, true), (0.3, false)] {
        let mut driver = Driver::dissolved();
        driver.put(CUP_G + left);
        assert_eq!(verdict(&driver), whole.then_some(BackVerdict::Whole), "{left} g left");
        if whole {
            assert!(driver.said("Sodium hydroxide went in whole."));
            driver.expect_step("combine");
        }
    }
}

#[test]
fn a_full_cup_back_is_not_tipped_and_a_yes_keeps_the_residue() {
    let mut driver = Driver::dissolved();
    driver.put(CUP_G + 20.0);
    let words = driver.view().batches[0].prompt.clone().unwrap().words;
    assert!(words.ends_with("20.0 g of sodium hydroxide is still in it."), "{words}");
    driver.confirm();
    assert_eq!(verdict(&driver), Some(BackVerdict::Residue));
}

#[test]
fn a_cup_that_does_not_come_back_is_unknown() {
    let mut driver = Driver::dissolved();
    driver.confirm();
    assert_eq!(verdict(&driver), Some(BackVerdict::Unknown));
    driver.expect_step("combine");
}

#[test]
fn an_act_for_another_prompt_names_the_present_one() {
    let mut driver = Driver::all_weighed();
    let present = driver.view().batches[0].prompt.clone().unwrap().prompt;
    let Reply::Refused { prompt, .. } = driver.act(Act::Confirm { prompt: PromptId(999) }) else {
        panic!("a question never asked was answered");
    };
    assert_eq!(prompt, Some(present));
    assert_eq!(driver.act(Act::Confirm { prompt: present }), Reply::Done);
    assert_eq!(driver.act(Act::Confirm { prompt: present }), Reply::AlreadyDone);
    assert!(matches!(driver.asks(), Some(Ask::VesselBack { .. })));
}

/// What weighs 3 d (0.3 g) less than the cup empty, or more than it full, is not that cup.
#[test]
fn another_vessel_is_not_the_cup_that_is_asked_back() {
    use BackVerdict::{Residue, Unknown, Whole};
    let driver = Driver::dissolved();
    let full = CUP_G + driver.captured("naoh").unwrap().grams();
    for (load, told) in [
        (CUP_G - 0.3, Whole),
        (CUP_G - 0.4, Unknown),
        (full + 0.3, Residue),
        (full + 0.4, Unknown),
        (JUG_G, Unknown),
    ] {
        let mut driver = Driver::dissolved();
        driver.put(load);
        if told != Whole {
            assert_eq!(driver.confirm(), Reply::Done);
        }
        assert_eq!(verdict(&driver), Some(told), "{load} g");
    }
}
