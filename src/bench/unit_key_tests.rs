use super::*;
use crate::reading::{Channel, Status};

/// A scale of 0.1 g that sends no unit.
struct Wire {
    key: UnitKey,
    now: Moment,
}

impl Wire {
    fn new() -> Wire {
        Wire { key: UnitKey::default(), now: Moment::from_nanos(0) }
    }

    /// A tenth of a second later the number is this, on a pan that was at rest at `rested`.
    fn says(&mut self, number: &str, rested: Option<&str>) -> Worth {
        self.now = self.now + Span::from_millis(100);
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        let decimals = part.len() as u8;
        let digits: i64 = format!("{whole}{part}").parse().unwrap();
        let value = Value::Mass {
            mass: Mass::from_decimal(digits, decimals, MassUnit::Gram).unwrap(),
            unit: MassUnit::Gram,
            decimals,
            unit_on_wire: false,
        };
        let (channel, status) = (Channel::new("scale"), Status::Unstated);
        let reading = Reading { channel, at: self.now, value: Some(value), status };
        let rested = rested.map(|text| Mass::parse(&format!("{text} g")).unwrap());
        self.key.take(&reading, rested, Mass::parse("0.1 g").unwrap())
    }

    /// At rest at the first, it says the second.
    fn becomes(before: &str, after: &str) -> Worth {
        let mut wire = Wire::new();
        wire.says(before, None);
        wire.says(after, Some(before))
    }
}

/// 1 oz = 28.349 523 125 g, by definition of the international pound (1959).
#[test]
fn a_ratio_of_two_units_on_a_resting_pan_is_a_fault() {
    // 93.0 g are 3.2805 oz, 0.205 lb, 0.093 kg
    assert_eq!(Wire::becomes("93.0", "3.3"), Worth::Suspect);
    assert_eq!(Wire::becomes("93.0", "3.28"), Worth::Suspect);
    assert_eq!(Wire::becomes("93.0", "3.280"), Worth::Suspect);
    assert_eq!(Wire::becomes("93.0", "0.205"), Worth::Suspect);
    assert_eq!(Wire::becomes("93.0", "0.093"), Worth::Suspect);
    // and back to grams, where ounces were taken for grams
    assert_eq!(Wire::becomes("33.0", "935.5"), Worth::Suspect);
}

#[test]
fn what_is_taken_off_or_put_on_is_no_unit() {
    for after in ["0.0", "0.4", "50.0", "93.1", "2.6", "4.0", "93.0"] {
        assert_eq!(Wire::becomes("93.0", after), Worth::Trusted, "{after}");
    }
}

/// 215 d: 28.35 × (5 d + 2.5 d) and the flicker of 2 d.
#[test]
fn the_limit_is_where_an_empty_pan_begins() {
    // 21.4 g would become 0.755, shown as 0.8: an empty pan reads up to 0.5, rounded by 0.25
    assert_eq!(Wire::becomes("21.4", "0.8"), Worth::Trusted);
    assert_eq!(Wire::becomes("21.5", "0.8"), Worth::Suspect);
    // other decimals tell more: 2.9 g become 0.10 oz, ten steps; 1.4 g become 0.05, five; 1.3 g less
    assert_eq!(Wire::becomes("2.9", "0.10"), Worth::Suspect);
    assert_eq!(Wire::becomes("14.2", "0.50"), Worth::Suspect);
}

#[test]
fn suspicion_holds_wherever_the_number_goes_until_it_is_itself_again() {
    let mut wire = Wire::new();
    wire.says("93.0", None);
    assert_eq!(wire.says("3.3", Some("93.0")), Worth::Suspect);
    // poured on, in ounces; lifted; put back
    for number in ["3.5", "4.9", "8.0", "0.0", "0.0", "3.3"] {
        assert_eq!(wire.says(number, None), Worth::Suspect, "{number}");
    }
    assert!(wire.key.suspected.is_some(), "it is said");
    assert_eq!(wire.says("95.0", None), Worth::TrustedAgain);
    assert_eq!(wire.says("95.0", None), Worth::Trusted);
}

#[test]
fn a_number_that_passes_a_ratio_on_its_way_leaves_no_doubt() {
    let mut wire = Wire::new();
    wire.says("93.0", None);
    assert_eq!(wire.says("3.3", Some("93.0")), Worth::Suspect);
    assert_eq!(wire.says("40.0", None), Worth::Trusted);
    assert_eq!(wire.key.suspected, None);
}

#[test]
fn decimals_that_change_are_said_and_on_an_empty_pan_are_a_fault() {
    let mut wire = Wire::new();
    wire.says("0.0", None);
    assert_eq!(wire.says("0.00", Some("0")), Worth::Suspect);
    assert_eq!(wire.key.decimals_changed, Some((1, 2)));
    for number in ["0.00", "1.76", "28.64"] {
        assert_eq!(wire.says(number, None), Worth::Suspect, "{number}");
    }
    assert_eq!(wire.says("0.0", None), Worth::Trusted, "it lasted less than half a second");
}

/// A scale with two ranges shows fewer decimals above the first.
#[test]
fn decimals_that_change_under_load_are_only_said() {
    let mut wire = Wire::new();
    wire.says("299.9", None);
    assert_eq!(wire.says("301", None), Worth::Trusted);
    assert_eq!(wire.key.decimals_changed, Some((1, 0)));
}

#[test]
fn decimals_and_a_ratio_tell_in_mid_pour() {
    let mut wire = Wire::new();
    wire.says("120.0", None);
    // 121 g are 4.27 oz
    assert_eq!(wire.says("4.27", None), Worth::Suspect);
    let mut wire = Wire::new();
    wire.says("120.0", None);
    assert_eq!(wire.says("6.00", None), Worth::Trusted, "no ratio");
}

#[test]
fn a_wire_that_drops_its_noughts_says_nothing_by_them() {
    let mut wire = Wire::new();
    let worths: Vec<Worth> =
        ["0.1", "0", "0.2", "0", "0.1", "0", "0.3", "0"].map(|n| wire.says(n, None)).into();
    assert_eq!(worths[4..], [Worth::Trusted; 4], "{worths:?}");
}
