//! Lines for a bench file, of what was heard.

use crate::quantity::MassUnit;
use crate::reading::Value;
use crate::wire::{Fit, Line, LineParity, Quantity, ValueSeen};

/// "scale" or "thermometer".
pub fn kind(fit: &Fit) -> &'static str {
    let weighs = fit.values.iter().any(|value| value.quantity == Quantity::Mass);
    if weighs { "scale" } else { "thermometer" }
}

/// An instrument as a bench file has it. What no wire tells (capacity, and where each probe
/// stands) is left to the maker: the bench file is refused, with the line, until it is filled in.
pub fn bench_lines(fit: &Fit, name: &str, port: &str, heard_at: Option<Line>) -> String {
    let text = |text: &str| toml::Value::from(text).to_string();
    let mut lines = vec![
        "[[instrument]]".to_owned(),
        format!("name = {}", text(name)),
        format!("port = {}", text(port)),
        format!("sheet = {}", text(&fit.sheet.name)),
    ];
    lines.extend(heard_at.map_or_else(Vec::new, |line| differences(line, fit.sheet.line)));
    let mut roles = ["pot", "lye", "oils", "room"].into_iter().cycle();
    for value in &fit.values {
        lines.push(String::new());
        lines.push("[[instrument.channel]]".to_owned());
        match value.quantity {
            Quantity::Mass => mass(value, name, &mut lines),
            Quantity::Temperature => {
                let probe = if value.source.is_empty() { name } else { &value.source };
                lines.push(format!("name = {}", text(probe)));
                let role = roles.next().unwrap_or("pot");
                lines.push(format!("role = \"{role}\"          # pot, lye, oils or room"));
                if let Some(Value::Temperature { unit, .. }) = value.last {
                    lines.push(format!("unit = {}", text(unit.symbol())));
                }
            }
        }
        if !value.source.is_empty() {
            lines.push(format!("source = {}", text(&value.source)));
        }
    }
    lines.join("\n") + "\n"
}

fn mass(value: &ValueSeen, name: &str, lines: &mut Vec<String>) {
    lines.push(format!("name = {}", toml::Value::from(name)));
    lines.push("role = \"scale\"".to_owned());
    if let Some(Value::Mass { unit, decimals, unit_on_wire, .. }) = value.last {
        let remark =
            if unit_on_wire { "" } else { "   # not on the wire: as its display shows it" };
        lines.push(format!("unit = \"{}\"{remark}", unit.symbol()));
        let step = match decimals {
            0 => "1".to_owned(),
            decimals => format!("0.{}1", "0".repeat(usize::from(decimals) - 1)),
        };
        // pounds and ounces step in ounces
        let unit = if unit == MassUnit::PoundOunce { MassUnit::Ounce } else { unit };
        let remark = "# its last digit; the plate may say a larger step";
        lines.push(format!("d = \"{step} {}\"      {remark}", unit.symbol()));
    } else {
        lines
            .push("d = \"\"              # the step between two readings, on its plate".to_owned());
    }
    lines.push("capacity = \"\"       # the most it can weigh, on its plate (Max)".to_owned());
}

/// What was heard at another setting of the line than the sheet's.
fn differences(heard_at: Line, sheet: Line) -> Vec<String> {
    let mut lines = Vec::new();
    let mut differs = |name: &str, here: String, there: String| {
        if here != there {
            lines.push(format!("{name} = {here}"));
        }
    };
    let parity = |line: Line| {
        let word = match line.parity {
            LineParity::None => "none",
            LineParity::Even => "even",
            LineParity::Odd => "odd",
        };
        format!("\"{word}\"")
    };
    differs("baud", heard_at.baud.to_string(), sheet.baud.to_string());
    differs("data_bits", heard_at.data_bits.to_string(), sheet.data_bits.to_string());
    differs("parity", parity(heard_at), parity(sheet));
    differs("stop_bits", heard_at.stop_bits.to_string(), sheet.stop_bits.to_string());
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench_file::BenchFile;
    use crate::problem::Source;
    use crate::quantity::{Moment, Span};
    use crate::wire::{Heard, Recording, SheetLibrary, rank};

    fn fit(lines: &[u8]) -> Fit {
        let library = SheetLibrary::built_in().unwrap();
        let at = Moment::from_nanos(0) + Span::from_secs(1);
        let heard = vec![Heard::Bytes { at, bytes: [b"\r\n", lines, lines, lines].concat() }];
        rank(&Recording { heard, asked_by: None }, &library).remove(0)
    }

    fn read(lines: &str) -> Result<BenchFile, String> {
        let text = format!("name = \"a bench\"\n\n{lines}");
        let source = Source { file: "bench.toml", text: &text };
        BenchFile::read(source).map_err(|problems| problems.to_string())
    }

    #[test]
    fn the_lines_make_a_bench_once_the_capacity_is_filled_in() {
        let lines = bench_lines(&fit(b"ST,+00018.75 oz\r\n"), "scale", "/dev/panroom/scale", None);
        let refused = read(&lines).unwrap_err();
        assert!(refused.contains("capacity"), "{refused}");
        let bench = read(&lines.replace("capacity = \"\"", "capacity = \"6 lb\"")).unwrap();
        let instrument = &bench.instruments[0];
        assert_eq!(instrument.sheet, "comma-status-line");
        let scale = bench.scale().unwrap().1;
        assert_eq!(scale.facts.d, crate::quantity::Mass::parse("0.01 oz").unwrap());
    }

    #[test]
    fn each_probe_is_a_channel_of_its_own() {
        let lines = bench_lines(&fit(b"41.7,23.1,----\r\n"), "thermometer", "/dev/ttyUSB1", None);
        let bench = read(&lines).unwrap();
        let channels = &bench.instruments[0].channels;
        let sources: Vec<_> = channels.iter().map(|it| it.source.as_deref()).collect();
        assert_eq!(sources, [Some("T1"), Some("T2"), Some("T3")]);
    }

    #[test]
    fn only_what_differs_from_the_sheet_is_written() {
        let heard_at = Line { baud: 4800, parity: LineParity::Even, ..Line::default() };
        assert_eq!(differences(heard_at, Line::default()), ["baud = 4800", "parity = \"even\""]);
        assert_eq!(differences(heard_at, heard_at), Vec::<String>::new());
    }
}
