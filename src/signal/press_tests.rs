use super::*;
use crate::quantity::MassUnit;

fn tenths(count: i64) -> Mass {
    Mass::from_decimal(count, 1, MassUnit::Gram).unwrap()
}

fn ms(ms: i64) -> Moment {
    Moment::from_nanos(ms * 1_000_000)
}

fn test() -> PressTest {
    PressTest {
        least: tenths(200),
        back: tenths(2),
        shortest: Span::from_millis(200),
        longest: Span::from_secs(1),
        within: Span::from_secs(3),
    }
}

/// Tenths of a gram, one each `period_ms`; at rest when the last two seconds lie within 0.2 g.
fn pressed_at(loads: &[i64], period_ms: i64) -> Vec<Pressed> {
    let mut window = PressWindow::default();
    let mut pressed = Vec::new();
    for (index, &load) in loads.iter().enumerate() {
        let in_window = (2000 / period_ms) as usize;
        let lately = &loads[index.saturating_sub(in_window)..=index];
        let still = lately.iter().max().unwrap() - lately.iter().min().unwrap() <= 2;
        let rest = (index >= in_window && still).then(|| tenths(load));
        let at = ms(index as i64 * period_ms);
        pressed.extend(window.push(at, tenths(load), rest, &test()));
    }
    pressed
}

fn pressed(loads: &[i64]) -> bool {
    !pressed_at(loads, 100).is_empty()
}

/// A hand, never quite still: so many readings about this load.
fn hand(load: i64, readings: usize) -> Vec<i64> {
    (0..readings).map(|i| load + if i % 2 == 0 { 0 } else { 40 }).collect()
}

const REST: i64 = 4000;

/// Rest, two presses as given with `between` readings of rest, and rest again at `after`.
fn twice(first: &[i64], between: usize, second: &[i64], after: i64) -> Vec<i64> {
    let up = |press: &[i64]| press.iter().map(|load| REST + load).collect::<Vec<_>>();
    [vec![REST; 25], up(first), vec![REST; between], up(second), vec![after; 25]].concat()
}

#[test]
fn pressed_twice_is_pressed_once_and_for_all() {
    let loads = twice(&hand(3000, 4), 4, &hand(2500, 5), REST);
    let pressed = pressed_at(&loads, 100);
    assert_eq!(pressed, [Pressed { began: ms(2500), rest: tenths(REST) }]);
}

#[test]
fn a_hand_weighs_more_than_least() {
    let press = |load: i64| {
        let loads = [load, load + 50, load];
        twice(&loads, 4, &loads, REST)
    };
    assert!(!pressed(&press(199)));
    assert!(!pressed(&press(200)), "more than 200 d");
    assert!(pressed(&press(201)));
}

#[test]
fn the_pan_comes_back_to_where_it_was() {
    for (after, back) in [(REST + 2, true), (REST - 2, true), (REST + 3, false), (REST - 3, false)]
    {
        assert_eq!(pressed(&twice(&hand(3000, 4), 4, &hand(3000, 4), after)), back, "{after}");
    }
    // and between the two
    let mut loads = twice(&hand(3000, 4), 1, &hand(3000, 4), REST);
    loads[29] = REST + 2;
    assert!(pressed(&loads));
    loads[29] = REST + 3;
    assert!(!pressed(&loads), "never quite off");
}

#[test]
fn a_press_is_short_and_a_knock_shorter() {
    let press = |readings: usize| twice(&hand(3000, readings), 4, &hand(3000, 4), REST);
    assert!(!pressed(&press(1)), "0.1 s");
    assert!(pressed(&press(2)), "0.2 s");
    assert!(pressed(&press(10)), "1.0 s");
    assert!(!pressed(&press(11)), "1.1 s");
}

#[test]
fn both_lie_within_three_seconds() {
    let press = |between: usize| twice(&hand(3000, 5), between, &hand(3000, 5), REST);
    // ended when the load is first seen to be gone
    assert!(pressed(&press(20)), "5 + 20 + 5 tenths");
    assert!(!pressed(&press(21)));
}

#[test]
fn once_and_three_times_are_not_twice() {
    let once = [vec![REST; 25], hand(REST + 3000, 4), vec![REST; 60]].concat();
    assert!(!pressed(&once));
    let thrice =
        twice(&hand(3000, 3), 3, &[hand(3000, 3), vec![0; 3], hand(3000, 3)].concat(), REST);
    assert!(!pressed(&thrice));
    // and after fidgeting there must be rest before it counts again
    let again = [thrice, hand(REST + 3000, 4), vec![REST; 4], hand(REST + 3000, 4), vec![REST; 25]];
    assert!(pressed(&again.concat()));
}

#[test]
fn a_bottle_put_down_twice_is_no_hand() {
    // it stands within 0.2 g for 0.3 s
    let bottle = |readings: usize| vec![8400; readings];
    assert!(!pressed(&twice(&bottle(4), 4, &bottle(4), REST)), "0.3 s still");
    assert!(pressed(&twice(&bottle(3), 4, &bottle(3), REST)), "0.2 s still");
    // on a scale that swings it is told by how long it stands
    let swings = |readings: usize| hand(8400, readings);
    assert!(!pressed(&twice(&swings(12), 4, &swings(12), REST)));
}

#[test]
fn what_swings_down_as_far_as_up_was_knocked() {
    let press = |dip: i64| {
        let mut loads = twice(&hand(3000, 4), 4, &hand(3000, 4), REST);
        loads[30] = REST - dip;
        loads
    };
    // 304.0 g is the highest
    assert!(pressed(&press(1519)));
    assert!(!pressed(&press(1520)));
}

#[test]
fn without_rest_before_and_after_nothing_is_told() {
    let loads = twice(&hand(3000, 4), 4, &hand(3000, 4), REST);
    assert!(pressed(&loads[4..]), "2.0 s of rest before");
    assert!(!pressed(&loads[5..]), "less");
    assert!(pressed(&loads[..loads.len() - 4]), "2.0 s of rest after");
    assert!(!pressed(&loads[..loads.len() - 5]));
}

#[test]
fn a_silence_forgets_and_a_slow_scale_sees_nothing() {
    let loads = twice(&hand(3000, 4), 4, &hand(3000, 4), REST);
    let mut window = PressWindow::default();
    let mut told = None;
    for (index, &load) in loads.iter().enumerate() {
        // half a second and more is missing between the presses
        let late = if index > 30 { 500 } else { 0 };
        let rest = (load == REST && !(25..57).contains(&index)).then(|| tenths(load));
        told = told.or(window.push(ms(index as i64 * 100 + late), tenths(load), rest, &test()));
    }
    assert_eq!(told, None);
    // 0.25 s between readings sees it, 0.5 s does not
    assert!(!pressed_at(&twice(&hand(3000, 2), 1, &hand(3000, 2), REST), 250).is_empty());
    assert!(pressed_at(&twice(&hand(3000, 1), 1, &hand(3000, 1), REST), 600).is_empty());
}

#[test]
fn nought_switches_it_off() {
    let mut window = PressWindow::default();
    let off = PressTest { within: Span::ZERO, ..test() };
    let loads = twice(&hand(3000, 4), 4, &hand(3000, 4), REST);
    for (index, &load) in loads.iter().enumerate() {
        let rest = (load == REST).then(|| tenths(load));
        assert_eq!(window.push(ms(index as i64 * 100), tenths(load), rest, &off), None);
    }
}
