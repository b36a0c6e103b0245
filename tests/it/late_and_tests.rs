//! What a recipe says of late additions and of tests, and what the plan makes of it.

use panroom::bench_file::BenchFile;
use panroom::chemistry::FatTable;
use panroom::plan::{Options, Plan, Severity, StepKind, TestLimit, TestMethod, plan};
use panroom::problem::Source;
use panroom::quantity::{Ph, Temperature};
use panroom::recipe::Recipe;

const SOAP: &str = r#"name = "Late"
superfat = "5 %"
process = "hot"
oil = [{ fat = "olive oil", mass = "500 g" }]
caustic = [{ alkali = "NaOH", purity = "98 %" }]
liquid = { amount = "2.5:1" }
"#;

fn read(more: &str) -> Result<Recipe, String> {
    let text = format!("{SOAP}{more}");
    Recipe::read(Source { file: "soap.toml", text: &text }, FatTable::built_in())
        .map_err(|problems| problems.to_string())
}

fn planned(more: &str) -> Plan {
    let recipe = read(more).unwrap_or_else(|problems| panic!("{problems}"));
    let bench: Option<&BenchFile> = None;
    plan(&recipe, FatTable::built_in(), bench, &Options::default()).unwrap()
}

fn addition(name: &str, more: &str) -> String {
    format!("[[addition]]\nname = \"{name}\"\namount = \"2 %\"\nwhen = \"after cook\"\n{more}\n")
}

/// Each step of stirring in or waiting, with its limit.
fn waits(plan: &Plan) -> Vec<String> {
    let steps = plan.control.steps.iter().filter(|step| step.title != "pour into the mould");
    let waits = steps.filter_map(|step| match &step.kind {
        StepKind::WhenCool { below } => Some(format!("{} at {below}", step.title)),
        StepKind::Do => Some(step.title.clone()),
        _ => None,
    });
    waits.collect()
}

fn warnings(plan: &Plan) -> String {
    let findings = plan.control.findings.iter().filter(|f| f.severity >= Severity::Warning);
    findings.map(|finding| finding.words.clone()).collect::<Vec<_>>().join("; ")
}

#[test]
fn what_may_go_in_hotter_goes_in_first() {
    let plan = planned(
        &[
            addition("lavender oil", "below = \"60 °C\""),
            addition("glycerin", ""),
            addition("yogurt", "below = \"160 °F\""),
            addition("silk", "below = \"60 °C\""),
            addition("clay", "below = \"50 °C\"\ninto = \"pot\"\ncomes_as = \"scoop\""),
        ]
        .concat(),
    );
    assert_eq!(
        waits(&plan),
        [
            "let the pot cool for the clay at 50.00 °C",
            "stir in glycerin",
            "stir in yogurt at 71.11 °C",
            "stir in lavender oil, silk at 60.00 °C",
        ]
    );
    // the pot waits before the clay is weighed into it
    let keys: Vec<&str> = plan.control.steps.iter().map(|step| step.key.as_str()).collect();
    let cool = keys.iter().position(|key| *key == "cool").unwrap();
    assert_eq!(keys[cool + 1], "weigh-clay");
}

/// Ethanol boils at 78.2 °C and isopropanol at 82.3 °C (CRC Handbook of Chemistry and Physics, from
/// memory): the usual limit of an alcohol lies well below both.
#[test]
fn alcohol_waits_for_a_cooled_pot_without_being_asked() {
    let plan = planned(&addition("isopropyl alcohol", ""));
    let below = plan.control.steps.iter().find_map(|step| match step.kind {
        StepKind::WhenCool { below } => Some((below, step.hazards.join(" "))),
        _ => None,
    });
    let (below, hazards) = below.unwrap();
    assert!(below < Temperature::from_celsius(78) && below > Temperature::from_celsius(40));
    assert!(hazards.contains("flame and heating coil off"), "{hazards}");
    // the maker's own limit stands
    let own = planned(&addition("isopropyl alcohol", "below = \"45 °C\""));
    assert_eq!(waits(&own), ["stir in isopropyl alcohol at 45.00 °C"]);
}

#[test]
fn hazards_are_named_where_they_are() {
    let of = |name: &str, more: &str| -> String {
        let plan = planned(&addition(name, more));
        let steps = plan.control.steps.iter().filter(|step| step.key.starts_with("stir-in"));
        steps.flat_map(|step| step.hazards.clone()).collect::<Vec<_>>().join(" ")
    };
    assert!(of("goat milk", "").contains("brown in hot soap"));
    assert!(of("honey", "").contains("brown in hot soap"));
    assert!(!of("milkweed floss", "").contains("brown in hot soap"), "a word, not its part");
    assert!(of("lavender oil", "flash_point = \"71 °C\"").contains("flash point 71 °C"));
    let own = of("ethanol", "hazards = [\"keep the children out\"]");
    assert!(own.starts_with("keep the children out flammable:"), "{own}");
}

#[test]
fn a_pot_hotter_than_a_flash_point_is_warned_of() {
    let warned = |more: &str| warnings(&planned(&addition("lavender oil", more)));
    let flash = "flash_point = \"71 °C\"\n";
    assert!(warned(flash).contains("has a flash point of 71 °C and no `below`"));
    let at = |below: &str| warned(&format!("{flash}below = \"{below}\""));
    assert!(at("71 °C").contains("its flash point is 71 °C"), "{}", at("71 °C"));
    assert!(!at("70.9 °C").contains("flash point"), "{}", at("70.9 °C"));
}

#[test]
fn limits_that_cannot_be_meant_are_refused() {
    for (more, words) in [
        ("below = \"19.9 °C\"", "found 19.90 °C; expected 20.00 °C to 120.00 °C"),
        ("below = \"120.1 °C\"", "found 120.10 °C; expected 20.00 °C to 120.00 °C"),
        ("below = \"60\"", "found `60` without a unit"),
        ("flash_point = \"351 °C\"", "expected −40.00 °C to 350.00 °C"),
    ] {
        let refused = read(&addition("lavender oil", more)).unwrap_err();
        assert!(refused.contains(words), "{more}: {refused}");
    }
    let early = addition("silk", "below = \"60 °C\"").replace("after cook", "before lye");
    assert!(read(&early).unwrap_err().contains("a limit before there is a hot pot"));
    for good in ["below = \"20 °C\"", "below = \"120 °C\"", "flash_point = \"350 °C\""] {
        read(&addition("lavender oil", good)).unwrap();
    }
}

// --- tests that end the cook ---------------------------------------------------------------------

/// A test by an instrument, as a recipe gives it.
pub const METER: &str = r#"
[[cook.test]]
name = "pH of a 1 % solution"
by = "meter"
sample = "1 g of soap in 99 g of distilled water"
between = "9 to 10.5"
"#;

#[test]
fn the_tests_of_a_cook_are_read_and_stand_in_its_step() {
    let drops = "[[cook.test]]\nname = \"drops\"\nby = \"indicator\"\nsample = \"the same\"\npasses \
                 = [\"clear\", \"faint\"]\n";
    let plan = planned(&format!("{METER}{drops}"));
    let cook = plan.control.steps.iter().find(|step| step.key == "cook").unwrap();
    let StepKind::Cook(settings) = &cook.kind else { panic!("no cook") };
    let [meter, drops] = settings.tests.as_slice() else { panic!("{:?}", settings.tests) };
    assert_eq!(meter.method, TestMethod::Meter);
    let (low, high) = (Ph::from_tenths(90), Ph::from_tenths(105));
    assert_eq!(meter.limit, TestLimit::Ph { low, high });
    assert_eq!(drops.limit.words(), "clear or faint");
    assert!(cook.hazards.iter().any(|hazard| hazard.contains("pinks anyway")));
}

/// Nothing is tested that the recipe does not declare: no test, and no zap, is the usual one.
#[test]
fn without_a_test_none_is_invented() {
    let plan = planned("");
    let cook = plan.control.steps.iter().find_map(|step| match &step.kind {
        StepKind::Cook(cook) => Some(cook),
        _ => None,
    });
    assert_eq!(cook.unwrap().tests, []);
}

#[test]
fn a_test_without_method_sample_or_limits_is_refused() {
    for (found, instead, words) in [
        ("by = \"meter\"\n", "", "add it; there is no usual one"),
        ("by = \"meter\"", "by = \"taste\"", "one of meter, strip, indicator, zap, other"),
        ("sample = \"1 g of soap in 99 g of distilled water\"\n", "", "two results"),
        ("between = \"9 to 10.5\"", "", "a test by meter without `between` alone"),
        ("between = \"9 to 10.5\"", "passes = [\"pink\"]", "add `between`, leave `passes` out"),
        ("between = \"9 to 10.5\"", "between = \"10.5 to 9\"", "two pH, low and high"),
        ("between = \"9 to 10.5\"", "between = \"9 to 14.1\"", "a pH from 0 to 14"),
        ("by = \"meter\"", "by = \"zap\"", "a test by zap without `passes` alone"),
    ] {
        let refused = read(&METER.replace(found, instead)).unwrap_err();
        assert!(refused.contains(words), "{instead}: {refused}");
    }
    let twice = read(&format!("{METER}{METER}")).unwrap_err();
    assert!(twice.contains("a name of its own for each test"), "{twice}");
}
