//! Where a number stands in a message, or behind which registers.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::super::{
    Bit, Field, ModbusValue, NumberForm, Point, Quantity, RegisterForm, mass_unit, temperature_unit,
};
use super::pattern;
use crate::problem::{Problem, Source};
use crate::reading::Status;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawField {
    #[serde(default)]
    source: String,
    quantity: Quantity,
    pattern: toml::Spanned<String>,
    #[serde(default)]
    status: BTreeMap<String, Status>,
    #[serde(default)]
    bits: Vec<Bit>,
    #[serde(default)]
    instead: BTreeMap<String, Status>,
    #[serde(default)]
    units: BTreeMap<String, String>,
    #[serde(default)]
    decimal_comma: bool,
    implied_decimals: Option<u8>,
    point: Option<Point>,
    #[serde(default)]
    form: NumberForm,
    /// Which query it answers, counted from 1.
    answer_to: Option<usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawModbus {
    #[serde(default)]
    source: String,
    quantity: Quantity,
    unit_id: toml::Spanned<u8>,
    function: toml::Spanned<u8>,
    register: u16,
    form: RegisterForm,
    #[serde(default)]
    decimals: u8,
    unit: toml::Spanned<String>,
    #[serde(default)]
    instead: BTreeMap<String, Status>,
}

impl RawField {
    pub(super) fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Field> {
        let place = Some(self.pattern.span());
        let line = source.line_at(self.pattern.span().start);
        let pattern = pattern(&self.pattern, "value.pattern", source, problems)?;
        let names: Vec<&str> = pattern.capture_names().flatten().collect();
        let has_value = names.contains(&"value") || names.contains(&"ounces");
        let known = ["value", "sign", "status", "unit", "pounds", "ounces", "point", "exponent"];
        if let Some(odd) = names.iter().find(|name| !known.contains(name)) {
            let found = format!("a part named `{odd}`");
            let expected = format!("parts named {}", known.join(", "));
            problems.push(source.problem(place, "value.pattern", found, expected, ""));
            return None;
        }
        if !has_value && self.status.is_empty() && self.bits.is_empty() {
            let expected = "a part named `value`, like `(?<value>[0-9.]+)`";
            problems.push(source.problem(place, "value.pattern", "none", expected, ""));
            return None;
        }
        let mut mass_units = BTreeMap::new();
        let mut temperature_units = BTreeMap::new();
        for (wire, unit) in self.units {
            match (self.quantity, mass_unit(&unit), temperature_unit(&unit)) {
                (Quantity::Mass, Some(unit), _) => drop(mass_units.insert(wire, unit)),
                (Quantity::Temperature, _, Some(unit)) => {
                    temperature_units.insert(wire, unit);
                }
                _ => {
                    let found = format!("`{unit}`");
                    let expected = "g, kg, mg, oz, lb for masses; °C, °F for temperatures";
                    problems.push(source.problem(
                        place.clone(),
                        "value.units",
                        found,
                        expected,
                        "",
                    ));
                }
            }
        }
        Some(Field {
            source: self.source,
            quantity: self.quantity,
            pattern,
            statuses: self.status,
            bits: self.bits,
            instead: self.instead,
            mass_units,
            temperature_units,
            decimal: if self.decimal_comma { b',' } else { b'.' },
            implied_decimals: self.implied_decimals,
            point: self.point,
            form: self.form,
            // counted from 1 in the file
            answer_to: self.answer_to.map(|query| query.saturating_sub(1)),
            line,
        })
    }
}

impl RawModbus {
    pub(super) fn check(
        self,
        source: Source<'_>,
        problems: &mut Vec<Problem>,
    ) -> Option<ModbusValue> {
        let before = problems.len();
        if !(1..=247).contains(self.unit_id.get_ref()) {
            let found = self.unit_id.get_ref().to_string();
            let place = Some(self.unit_id.span());
            problems.push(source.problem(place, "modbus.unit_id", found, "1 to 247", ""));
        }
        if !matches!(self.function.get_ref(), 3 | 4) {
            let found = self.function.get_ref().to_string();
            let expected = "3 (holding registers) or 4 (input registers)";
            let place = Some(self.function.span());
            problems.push(source.problem(place, "modbus.function", found, expected, ""));
        }
        let unit = self.unit.get_ref();
        let known = match self.quantity {
            Quantity::Mass => mass_unit(unit).is_some(),
            Quantity::Temperature => temperature_unit(unit).is_some(),
        };
        if !known {
            let expected = "g, kg, mg, oz, lb for masses; °C, °F for temperatures";
            let place = Some(self.unit.span());
            problems.push(source.problem(place, "modbus.unit", format!("`{unit}`"), expected, ""));
        }
        (problems.len() == before).then(|| ModbusValue {
            source: self.source,
            quantity: self.quantity,
            unit_id: self.unit_id.into_inner(),
            function: self.function.into_inner(),
            register: self.register,
            form: self.form,
            decimals: self.decimals,
            unit: self.unit.into_inner(),
            instead: self.instead,
        })
    }
}
