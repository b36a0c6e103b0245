//! From recipe and bench file to the plan and its sheet.

use panroom::bench_file::{self, BenchFile};
use panroom::chemistry::{FatTable, IngredientId};
use panroom::plan::{
    Amount, Earlier, Ledger, Options, Plan, ScaleTo, Severity, StepKind, Tolerance, Vessel, plan,
    scaled, sheet, swapped,
};
use panroom::problem::Source;
use panroom::quantity::{Mass, Share, Temperature, Volume};
use panroom::recipe::{self, Recipe};
use proptest::prelude::*;

/// A bar as makers write them down, in ounces: common practice, no source. Its caustic was given
/// as 2.26 oz of NaOH, taken as pure.
const OUNCES: &str = r#"
name = "Ounce Bar"
masses = "oz"
temperatures = "°F"
superfat = "5 %"
process = "hot"
oil = [
    { fat = "coconut oil", mass = "5 oz" },
    { fat = "mango butter", mass = "2 oz" },
    { fat = "shea butter", mass = "2 oz" },
    { fat = "cocoa butter", mass = "2 oz" },
    { fat = "candelilla wax", mass = "0.25 oz" },
    { fat = "olive oil", mass = "4 oz" },
    { fat = "castor oil", mass = "1 oz" },
]
caustic = [{ alkali = "NaOH", purity = "100 %" }]
liquid = { amount = "6.2 oz" }
"#;

/// Three oils and nothing else to look at.
const PLAIN: &str = r#"
name = "Plain"
superfat = "5 %"
process = "hot"
total_oils = "500 g"
oil = [
    { fat = "olive oil", share = "60 %" },
    { fat = "coconut oil", share = "30 %" },
    { fat = "shea butter", share = "10 %" },
]
caustic = [{ alkali = "NaOH", purity = "98 %" }]
liquid = { amount = "2.5:1" }
"#;

/// A scale that is fit for caustic, and a pot.
pub const SCALE: &str = r#"
[[instrument]]
name = "scale box"
port = "/dev/ttyUSB0"
sheet = "a-sheet"
[[instrument.channel]]
name = "scale"
role = "scale"
d = "0.1 g"
capacity = "6 kg"
last_checked = "2026-11-02"
[[vessel]]
name = "big pot"
for = "pot"
tare = "1240 g"
volume = "5 l"
material = "stainless steel"
"#;

fn read(text: &str) -> Recipe {
    Recipe::read(Source { file: "soap.toml", text }, FatTable::built_in())
        .unwrap_or_else(|problems| panic!("{problems}"))
}

fn bench(text: &str) -> BenchFile {
    BenchFile::read(Source { file: "bench.toml", text })
        .unwrap_or_else(|problems| panic!("{problems}"))
}

pub fn drawn_up(recipe: &str, bench_text: &str) -> Plan {
    let bench = bench(bench_text);
    plan(&read(recipe), FatTable::built_in(), Some(&bench), &Options::default())
        .unwrap_or_else(|problems| panic!("{problems}"))
}

fn refusal(recipe: &str, bench_text: &str) -> String {
    let bench = bench(bench_text);
    plan(&read(recipe), FatTable::built_in(), Some(&bench), &Options::default())
        .unwrap_err()
        .to_string()
}

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn of(plan: &Plan, id: &str) -> Mass {
    plan.planned[&IngredientId::from(id)]
}

/// Findings at least this grave, one a line.
fn graver(plan: &Plan, least: Severity) -> String {
    let findings = plan.control.findings.iter().filter(|finding| finding.severity >= least);
    findings.map(|f| format!("{:?}: {}\n", f.severity, f.words)).collect()
}

/// Compares with a file under tests/golden; PANROOM_BLESS=1 writes it instead.
fn golden(name: &str, found: &str) {
    let path = format!("{}/tests/golden/{name}", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("PANROOM_BLESS").is_some() {
        std::fs::write(&path, found).unwrap();
    }
    let expected = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(found == expected, "{path} differs; PANROOM_BLESS=1 accepts this:\n{found}");
}

#[test]
fn the_bar_in_ounces_meets_common_practice() {
    let plan = drawn_up(OUNCES, &SCALE.replace("\"0.1 g\"", "\"0.01 oz\""));
    let naoh = of(&plan, "naoh").grams() / mass("2.26 oz").grams();
    assert!((naoh - 1.0).abs() < 0.03, "{naoh}");
    assert_eq!(plan.outlook.lye.ratio, "2.7:1");
    let text = sheet::text(&sheet::Sheet::of(&plan), 90);
    assert!(text.contains("2.7:1"), "{text}");
    golden("ounce-bar.txt", &text);
}

#[test]
fn the_sheet_of_the_example_is_as_it_was() {
    let plan = drawn_up(recipe::EXAMPLE, bench_file::EXAMPLE);
    let sheet = sheet::Sheet::of(&plan);
    golden("harbour-bar.txt", &sheet::text(&sheet, 96));
    golden("harbour-bar.html", &sheet::html(&sheet));
}

#[test]
fn the_demonstration_can_be_made_on_its_bench() {
    let bench = include_str!("../../src/demo/bench.toml");
    let plan = drawn_up(include_str!("../../src/demo/recipe.toml"), bench);
    assert_eq!(graver(&plan, Severity::Warning), "");
    let keys: Vec<&str> = plan.control.steps.iter().map(|step| step.key.as_str()).collect();
    let expected = [
        "weigh-coconut",
        "weigh-olive",
        "weigh-castor",
        "weigh-naoh",
        "weigh-water",
        "dissolve",
        "combine",
        "cook",
        "weigh-glycerin",
        "stir-in",
        "pour",
    ];
    assert_eq!(keys, expected);
}

/// Soap of an earlier batch as an ingredient: what its batch came to stands on the sheet in every
/// form, before anybody starts.
#[test]
fn the_sheet_says_what_the_ledger_says_of_a_base() {
    let text = format!(
        "{}\n[[addition]]\nname = \"paste\"\namount = \"50 g\"\nwhen = \"before cook\"\n\
         base = \"2026-11-25-a\"\n",
        recipe::EXAMPLE
    );
    let recipe = read(&text);
    let knows = |earlier: Option<Earlier>| {
        Ledger::Asked(earlier.map(|known| ("2026-11-25-a".to_owned(), known)).into_iter().collect())
    };
    let closed = Earlier { closed: true, ..Earlier::default() };
    let (unfit, warned) = (Severity::Unfit, Severity::Warning);
    let unasked = Ledger::NotAsked { why: "there is no journal in /soap".to_owned() };
    for (ledger, severity, words) in [
        (unasked, warned, "is not checked against the ledger: there is no journal in /soap"),
        (knows(None), unfit, "no batch `2026-11-25-a` is in the ledger"),
        (knows(Some(Earlier::default())), unfit, "is still open; close it first"),
        (knows(Some(Earlier { abandoned: true, ..closed })), unfit, "was given up; it is no base"),
        (knows(Some(closed)), warned, "nobody knows the superfat of batch"),
        (knows(Some(Earlier { failed: true, ..closed })), warned, "was closed as failed"),
    ] {
        let options = Options { ledger, ..Options::default() };
        let plan = plan(&recipe, FatTable::built_in(), None, &options).unwrap();
        let found = plan.control.findings.iter().filter(|finding| finding.words.contains(words));
        assert!(found.map(|finding| finding.severity).eq([severity]), "{words}");
        assert_eq!(plan.is_unfit(), severity == unfit, "{words}");
        let page = sheet::Sheet::of(&plan);
        let flat = sheet::text(&page, 100).split_whitespace().collect::<Vec<_>>().join(" ");
        let mark = if severity == unfit { "UNFIT: paste: " } else { "WARNING: paste: " };
        assert!(flat.contains(mark) && flat.contains(words), "{flat}");
        assert!(sheet::html(&page).contains(words), "{words}");
        assert!(serde_json::to_string(&page).unwrap().contains(words), "{words}");
    }
    // where nothing is a base nothing is said of the ledger
    let plan = plan(&read(recipe::EXAMPLE), FatTable::built_in(), None, &Options::default());
    assert!(!graver(&plan.unwrap(), Severity::Note).contains("ledger"));
}

#[test]
fn no_line_of_the_sheet_is_wider_than_asked() {
    let sheet = sheet::Sheet::of(&drawn_up(recipe::EXAMPLE, bench_file::EXAMPLE));
    for width in [48, 60, 72, 100] {
        let text = sheet::text(&sheet, width);
        let widest = text.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(widest <= width, "{widest} > {width}\n{text}");
    }
}

#[test]
fn the_page_to_print_is_escaped_and_needs_nothing_from_outside() {
    let text = PLAIN.replace("\"Plain\"", "\"<script>alert('x')</script> & \\\"co\\\"\"");
    let html = sheet::html(&sheet::Sheet::of(&drawn_up(&text, SCALE)));
    assert!(html.contains("&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;co&quot;"));
    for outside in ["<script", "http", "src=", "href=", "@import", "url("] {
        assert!(!html.contains(outside), "{outside}");
    }
}

#[test]
fn the_figures_for_machines_are_unrounded() {
    let plan = drawn_up(OUNCES, &SCALE.replace("\"0.1 g\"", "\"0.01 oz\""));
    let json = serde_json::to_value(sheet::Sheet::of(&plan)).unwrap();
    let first = &json["lines"][0];
    assert_eq!(first["target_g"], 141.747_615_625);
    assert_eq!(first["target"], "5.00 oz");
    assert!(json["superfat"]["expanded_percent"].as_f64().unwrap() > 0.0);
    assert_eq!(json["lye"]["ratio"], "2.7:1");
}

#[test]
fn steps_come_in_the_order_of_work_with_their_hazards() {
    let plan = drawn_up(recipe::EXAMPLE, bench_file::EXAMPLE);
    let step = |key: &str| plan.control.steps.iter().position(|step| step.key == key).unwrap();
    let order = [
        "weigh-coconut",
        "weigh-castor",
        "do-melt-the-butters",
        "weigh-naoh",
        "weigh-water",
        "dissolve",
        "combine",
        "weigh-kaolin-clay",
        "cook",
        "weigh-castor-after-cook",
        "weigh-glycerin",
        "do-unmould-after-a",
    ];
    assert!(order.windows(2).all(|pair| step(pair[0]) < step(pair[1])));
    for (key, hazard) in [
        ("weigh-coconut", "no aluminium"),
        ("weigh-naoh", "goggles, gloves"),
        ("weigh-naoh", "rinse at once with plenty of water"),
        ("dissolve", "caustic into the liquid"),
        ("dissolve", "never liquid onto caustic"),
        ("dissolve", "fan on or window open"),
        ("combine", "blade under the surface"),
        ("cook", "no probe sees foam"),
    ] {
        let hazards = &plan.control.steps[step(key)].hazards;
        assert!(hazards.iter().any(|words| words.contains(hazard)), "{key}: {hazards:?}");
    }
    let weigh = |id: &str| plan.control.weighings().find(|w| w.ingredient.0 == id).unwrap();
    assert_eq!((weigh("naoh").into, &weigh("naoh").amount), (Vessel::Own, &Amount::Caustic));
    assert_eq!(weigh("coconut").into, Vessel::Pot);
    // 4 to 6 % is 5 % give or take a fifth
    assert_eq!(weigh("glycerin").amount, Amount::OfFats(Share::from_percent(5)));
    assert_eq!(weigh("glycerin").tolerance, Tolerance::Share(Share::from_percent(20)));
    assert_eq!(weigh("coconut").tolerance, Tolerance::Share(Share::from_percent(2)));
    assert_eq!(weigh("olive").tolerance, Tolerance::Share(Share::from_percent(1)));
}

#[test]
fn a_tolerance_finer_than_the_scale_is_refused_with_its_line() {
    let text = PLAIN.replace("share = \"10 %\"", "share = \"10 %\", tolerance = \"0.05 g\"");
    assert_eq!(
        refusal(&text, SCALE),
        "soap.toml, line 9, `tolerance`: found ±0.05 g for 50.00 g of shea butter; expected at \
         least one step of the scale, 0.10 g; widen it, weigh more at once, or use a finer scale"
    );
    drawn_up(&text.replace("0.05 g", "0.1 g"), SCALE);
}

#[test]
fn a_pot_that_is_not_on_the_bench_is_refused() {
    let text = PLAIN.replace("process", "pot = \"bigpot\"\nprocess");
    assert_eq!(
        refusal(&text, SCALE),
        "soap.toml, `pot`: found `bigpot`; expected a pot of the bench file `bench.toml`; did you \
         mean `big pot`?"
    );
}

#[test]
fn a_pot_too_small_is_unfit_and_one_too_full_is_said() {
    let small = drawn_up(PLAIN, &SCALE.replace("\"5 l\"", "\"1 l\""));
    assert!(small.is_unfit());
    assert_eq!(
        graver(&small, Severity::Unfit),
        "Unfit: about 0.75 l in big pot of 1.00 l (75 % full, at 1.0 g/ml, common practice): it \
         climbs over; a pot of 1.51 l, or a batch of 66 % of this one, would do\n"
    );
    let full = drawn_up(PLAIN, &SCALE.replace("\"5 l\"", "\"1.3 l\""));
    assert!(!full.is_unfit());
    assert!(graver(&full, Severity::Warning).contains("58 % full"));
    assert!(graver(&full, Severity::Warning).contains("more than half, and a hot pot can climb"));
}

#[test]
fn a_lye_jug_of_less_than_twice_the_lye_is_said() {
    let warned = |volume: &str| {
        let plan = drawn_up(
            PLAIN,
            &format!(
                "{SCALE}[[vessel]]\nname = \"jug\"\nfor = \"lye jug\"\ntare = \"120 g\"\n\
                 material = \"stainless steel\"\nvolume = \"{volume}\"\n"
            ),
        );
        let lye = plan.outlook.lye.caustic + plan.outlook.lye.liquid;
        (graver(&plan, Severity::Warning), lye.grams())
    };
    let (_, lye) = warned("2 l");
    let twice = (2.0 * lye).ceil();
    let (words, _) = warned(&format!("{} ml", twice - 1.0));
    assert!(words.contains("less than twice the volume, and lye foams"), "{words}");
    assert!(words.contains(" of lye"), "{words}");
    let (words, _) = warned(&format!("{twice} ml"));
    assert!(!words.contains("lye foams"), "{twice} ml: {words}");
}

#[test]
fn a_scale_too_coarse_for_the_caustic_is_unfit() {
    let plan = drawn_up(&PLAIN.replace("500 g", "200 g"), &SCALE.replace("\"0.1 g\"", "\"1 g\""));
    assert_eq!(
        graver(&plan, Severity::Unfit),
        "Unfit: one step of the scale, 1 g, moves the superfat by 3.3 points: too coarse for 29 g \
         of naoh; a scale with steps of 0.61 g or finer would do, or a batch 1.6 times as large, or \
         the caustic as a stock lye of 50 %\n"
    );
    assert!(!drawn_up(PLAIN, &SCALE.replace("\"0.1 g\"", "\"1 g\"")).is_unfit());
}

#[test]
fn a_scale_that_speaks_too_seldom_is_unfit() {
    let slow = SCALE.replace("role = \"scale\"", "role = \"scale\"\nperiod = \"600 ms\"");
    assert!(graver(&drawn_up(PLAIN, &slow), Severity::Unfit).contains("every 0.6 s only"));
    let quick = SCALE.replace("role = \"scale\"", "role = \"scale\"\nperiod = \"500 ms\"");
    assert!(!drawn_up(PLAIN, &quick).is_unfit());
}

#[test]
fn pot_and_contents_must_not_pass_the_capacity() {
    let plan = drawn_up(PLAIN, &SCALE.replace("\"6 kg\"", "\"1.7 kg\""));
    let words = graver(&plan, Severity::Unfit);
    assert!(words.contains("with shea butter pot and contents come to 1740.0 g"), "{words}");
    assert!(words.contains("capacity of 1700.0 g"), "{words}");
}

#[test]
fn the_class_of_a_scale_is_held_against_each_tolerance() {
    // OIML R 76-1, table 6: class III, e = 1 g, up to 500 g: 0.5 g, in service 1 g
    let classed = SCALE.replace("d = \"0.1 g\"", "d = \"1 g\"\nclass = \"III\"");
    let plan = drawn_up(PLAIN, &classed);
    let words = graver(&plan, Severity::Note);
    assert!(
        words.contains(
            "shea butter within ±1.00 g: with 1740 g on the pan a scale of class III may be off \
             by ±2.00 g (OIML R 76, in service); weighed in a light cup of its own it would do"
        ),
        "{words}"
    );
}

#[test]
fn a_margin_that_is_not_proven_is_said() {
    let plan = drawn_up(&PLAIN.replace("\"5 %\"", "\"1 %\""), SCALE);
    let words = graver(&plan, Severity::Warning);
    assert!(words.contains("no margin is proven"), "{words}");
    assert!(words.contains("the saponification value of"), "{words}");
}

#[test]
fn a_lye_that_water_does_not_hold_is_unfit() {
    let milk =
        PLAIN.replace("{ amount = \"2.5:1\" }", "{ of = \"goat's milk\", amount = \"1:1\" }");
    let words = graver(&drawn_up(&milk, SCALE), Severity::Unfit);
    assert!(words.contains("more than water holds at 20 °C"), "{words}");
}

#[test]
fn stock_lye_brings_its_own_water() {
    let stock = PLAIN.replace("purity = \"98 %\"", "purity = \"100 %\", stock_lye = \"50 %\"");
    let (solid, stock) = (PLAIN.replace("98 %", "100 %"), drawn_up(&stock, SCALE));
    let solid = drawn_up(&solid, SCALE);
    assert!((of(&stock, "naoh") - of(&solid, "naoh") * 2).abs() <= mass("0.1 g"));
    let liquid = of(&solid, "water") - of(&solid, "naoh");
    assert!((of(&stock, "water") - liquid).abs() <= mass("0.3 g"));
    assert_eq!(stock.outlook.lye.ratio, "2.5:1");
    assert!(stock.control.steps.iter().any(|step| step.title.starts_with("pour the stock lye")));
}

#[test]
fn the_usual_cook_follows_the_boiling_point_and_the_makers_own_does_not() {
    let high_high = |recipe: &str, altitude: &str| {
        let plan = drawn_up(recipe, &format!("altitude = \"{altitude}\"\n{SCALE}"));
        let cook = plan.control.steps.iter().find_map(|step| match &step.kind {
            StepKind::Cook(cook) => Some(cook.high_high),
            _ => None,
        });
        (cook.unwrap(), graver(&plan, Severity::Warning))
    };
    assert_eq!(high_high(PLAIN, "0 m"), (Temperature::from_celsius(98), String::new()));
    // water boils at 93.3 °C at 2000 m (ISO 2533 and IAPWS R7-97)
    let (usual, words) = high_high(PLAIN, "2000 m");
    assert_eq!(usual, Temperature::from_celsius(92));
    assert!(!words.contains("the alarm at"), "{words}");
    let own = format!("{PLAIN}[cook]\nalarm_above = \"98 °C\"\n");
    let (own, words) = high_high(&own, "2000 m");
    assert_eq!(own, Temperature::from_celsius(98));
    assert!(words.contains("the alarm at 98.0 °C lies at the boiling point"), "{words}");
}

#[test]
fn pounds_and_ounces_stand_together_on_the_sheet() {
    let text = PLAIN.replace("name =", "masses = \"lb+oz\"\nname =").replace("500 g", "3 lb 8 oz");
    let plan = drawn_up(&text, &SCALE.replace("\"0.1 g\"", "\"0.05 oz\""));
    let sheet = sheet::text(&sheet::Sheet::of(&plan), 100);
    assert!(sheet.contains("2 lb 1.60 oz"), "{sheet}");
    assert!(sheet.contains("oils 3 lb 8.00 oz"), "{sheet}");
}

#[test]
fn a_heavy_jug_of_the_bench_cools_the_lye() {
    let low = |bench: &str| drawn_up(PLAIN, bench).outlook.lye.expected.unwrap().low.unwrap();
    let jug = |tare: &str| {
        format!(
            "{SCALE}[[vessel]]\nname = \"jug\"\nfor = \"lye jug\"\ntare = \"{tare}\"\n\
             material = \"stainless steel\"\nvolume = \"2 l\"\n"
        )
    };
    assert!(low(&jug("900 g")) < low(&jug("90 g")));
}

#[test]
fn what_there_is_of_one_oil_scales_the_whole() {
    let recipe = read(PLAIN);
    let have = ScaleTo::Have { ingredient: "shea".into(), mass: mass("410 g") };
    let more = scaled(&recipe, FatTable::built_in(), &have).unwrap();
    assert_eq!(more.oils[2].mass, mass("410 g"));
    assert_eq!(more.oil_total(), mass("4100 g"));
    assert_eq!(more.changes, ["scaled 8.200 times, to the 410.0 g of shea there is"]);
    let have = ScaleTo::Have { ingredient: "olove oil".into(), mass: mass("410 g") };
    assert_eq!(
        scaled(&recipe, FatTable::built_in(), &have).unwrap_err().to_string(),
        "the recipe has no `olove oil`; it has olive oil, coconut oil, shea butter, sodium \
         hydroxide, water; did you mean `olive oil`?"
    );
}

#[test]
fn every_mass_of_the_file_is_scaled_and_no_share() {
    let text = PLAIN.replace("\"2.5:1\"", "\"170 g\"")
        + "fat_after_cook = [{ fat = \"jojoba\", amount = \"10 g\" }]\n\
           addition = [{ name = \"clay\", amount = \"7 g\", when = \"before cook\" },\n\
           { name = \"glycerin\", amount = \"5 %\", when = \"after cook\" }]\n";
    let twice = ScaleTo::Times(Share::from_percent(200));
    let recipe = scaled(&read(&text), FatTable::built_in(), &twice).unwrap();
    let plan = plan(&recipe, FatTable::built_in(), None, &Options::default()).unwrap();
    for (id, wanted) in [
        ("olive", "600 g"),
        ("water", "340 g"),
        ("jojoba-after-cook", "20 g"),
        ("clay", "14 g"),
        ("glycerin", "50 g"),
    ] {
        assert_eq!(of(&plan, id), mass(wanted), "{id}");
    }
}

#[test]
fn oils_are_asked_for_at_the_nearest_step_of_the_scale() {
    let text = PLAIN.replace("500 g", "503 g");
    let plan = drawn_up(&text, &SCALE.replace("\"0.1 g\"", "\"1 g\""));
    // 301.8 g, 150.9 g and 50.3 g
    let asked = ["olive", "coconut", "shea"].map(|id| of(&plan, id));
    assert_eq!(asked, ["302 g", "151 g", "50 g"].map(mass));
}

#[test]
fn two_caustics_share_the_demand() {
    let both = PLAIN.replace(
        "[{ alkali = \"NaOH\", purity = \"98 %\" }]",
        "[{ alkali = \"NaOH\", purity = \"98 %\", covers = \"60 %\" }, \
          { alkali = \"KOH\", purity = \"90 %\", covers = \"40 %\" }]",
    );
    let (both, alone) = (drawn_up(&both, SCALE), drawn_up(PLAIN, SCALE));
    let part = of(&both, "naoh").grams() / of(&alone, "naoh").grams();
    assert!((part - 0.6).abs() < 0.002, "{part}");
    // 56.1056 g of KOH do the work of 39.9971 g of NaOH (CIAAW atomic weights)
    let koh = of(&alone, "naoh").grams() * 0.98 * 0.4 * 56.1056 / 39.9971 / 0.90;
    assert!((of(&both, "koh").grams() - koh).abs() < 0.2, "{koh}");
    let own = both.control.weighings().filter(|w| w.amount == Amount::Caustic);
    assert!(own.map(|w| w.into).eq([Vessel::Own, Vessel::Own]));
}

#[test]
fn cold_process_has_no_cook_and_paste_is_not_poured() {
    let keys = |text: &str| -> Vec<String> {
        drawn_up(text, SCALE).control.steps.iter().map(|step| step.key.clone()).collect()
    };
    let cold = keys(&PLAIN.replace("\"hot\"", "\"cold\""));
    assert!(!cold.contains(&"cook".to_owned()), "{cold:?}");
    assert_eq!(cold.last().unwrap(), "pour");
    let paste = keys(&PLAIN.replace("\"NaOH\", purity = \"98 %\"", "\"KOH\", purity = \"90 %\""));
    assert_eq!(paste.last().unwrap(), "cook");
}

#[test]
fn a_mould_is_filled_at_the_stated_density() {
    let volume = Volume::parse("1.2 l").unwrap();
    let fill = ScaleTo::Fill { volume, part: Share::WHOLE };
    let filled = scaled(&read(PLAIN), FatTable::built_in(), &fill).unwrap();
    let plan = plan(&filled, FatTable::built_in(), None, &Options::default()).unwrap();
    assert!((plan.batch_total() - mass("1200 g")).abs() < mass("0.5 g"), "{}", plan.batch_total());
    assert!(filled.changes[0].ends_with("to 100 % of 1.20 l at 1.0 g/ml (common practice)"));
}

#[test]
fn scaling_beyond_a_bench_is_refused() {
    for (times, words) in [(1_i64, "0.050 g"), (10_000_000_000, "1000000.000 g")] {
        let to = ScaleTo::Times(Share::from_millionths(times * 100));
        let refused = scaled(&read(PLAIN), FatTable::built_in(), &to).unwrap_err().to_string();
        let expected = format!("scaled like this the oils weigh {words}; expected 1 g to 100 kg");
        assert_eq!(refused, expected);
    }
}

#[test]
fn another_oil_changes_the_caustic() {
    let swap = swapped(&read(PLAIN), FatTable::built_in(), "shea butter", "babassu").unwrap();
    let naoh = IngredientId::from("naoh");
    // babassu takes some 250 mg/g (Codex CXS 210), shea 180: 50 g × 0.07 × 0.713 × 0.95 ÷ 0.98
    let more = (swap.caustic_after[&naoh] - swap.caustic_before[&naoh]).grams();
    assert!((2.0..3.0).contains(&more), "{more}");
    assert_eq!(swap.recipe.oils[2].name, "babassu oil");
    let there = swapped(&read(PLAIN), FatTable::built_in(), "shea", "olive").unwrap_err();
    assert_eq!(
        there.to_string(),
        "`olive oil` is in the recipe already; change its mass in the file instead"
    );
}

/// A text with some of its characters exchanged, doubled or lost.
fn damaged(text: &str, places: &[(usize, char)]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for (place, new) in places {
        let place = place % chars.len();
        match new {
            '\u{0}' => drop(chars.remove(place)),
            new => chars[place] = *new,
        }
    }
    chars.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_damaged_file_panics_and_what_is_read_can_be_drawn_up(
        places in prop::collection::vec(
            (0_usize..100_000, prop::sample::select("0123456789.-%\"=[]\n gkCF\u{0}\u{e9}".chars().collect::<Vec<_>>())),
            1..6,
        ),
    ) {
        let recipe_text = damaged(recipe::EXAMPLE, &places);
        let bench_text = damaged(bench_file::EXAMPLE, &places);
        let source = Source { file: "soap.toml", text: &recipe_text };
        let recipe = Recipe::read(source, FatTable::built_in());
        let bench = BenchFile::read(Source { file: "bench.toml", text: &bench_text });
        if let Err(problems) = &recipe {
            prop_assert!(!problems.0.is_empty());
        }
        let recipe = recipe.unwrap_or_else(|_| read(recipe::EXAMPLE));
        if let Ok(plan) = plan(&recipe, FatTable::built_in(), bench.as_ref().ok(), &Options::default()) {
            let sheet = sheet::Sheet::of(&plan);
            let _ = (sheet::text(&sheet, 80), sheet::html(&sheet));
            prop_assert!(serde_json::to_string(&sheet).is_ok());
        }
    }

    #[test]
    fn scaling_changes_masses_and_nothing_else(grams in 20_i64..50_000) {
        let recipe = read(PLAIN);
        let to = ScaleTo::TotalOils(mass(&format!("{grams} g")));
        let other = scaled(&recipe, FatTable::built_in(), &to).unwrap();
        let plans = [recipe, other].map(|recipe| {
            plan(&recipe, FatTable::built_in(), None, &Options::default()).unwrap()
        });
        let caustic = |plan: &Plan| {
            let fats = plan.recipe.oil_masses();
            let id = IngredientId::from("naoh");
            plan.control.formula.caustic(&id, &fats).grams() / plan.recipe.oil_total().grams()
        };
        prop_assert!((caustic(&plans[0]) - caustic(&plans[1])).abs() < 1e-9);
    }

    /// The caustic follows the oils as rounded and is itself rounded down: the superfat never
    /// falls below the recipe's, and rises by less than one step of the scale moves it.
    #[test]
    fn rounding_to_the_scale_only_ever_raises_the_superfat_by_a_step(
        grams in 60_i64..3000, d in prop::sample::select(vec!["0.1 g", "0.5 g", "1 g", "0.05 oz"]),
    ) {
        let recipe = PLAIN.replace("500 g", &format!("{grams} g"));
        let scale = SCALE.replace("\"0.1 g\"", &format!("\"{d}\""));
        let plan = drawn_up(&recipe, &scale);
        let planned = plan.outlook.superfat.as_ref().unwrap().superfat.achieved;
        let step = plan.outlook.guards[0].superfat_per_interval.unwrap();
        let moved = planned - plan.recipe.superfat;
        prop_assert!(moved.millionths() >= -1, "{moved}");
        prop_assert!(moved.millionths() <= step.millionths() + 1, "{moved} > {step}");
    }
}
