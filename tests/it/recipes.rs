//! Recipe files: what is read, and every refusal by its exact words.

use panroom::chemistry::{Alkali, FatTable, LiquidRule};
use panroom::plan::{Nature, Tolerance, Vessel};
use panroom::problem::Source;
use panroom::quantity::{Mass, Share, Span, Temperature};
use panroom::recipe::{self, AdditionAmount, Recipe, When};

const BASE: &str = r#"name = "Base"
superfat = "5 %"
process = "hot"
total_oils = "500 g"
[[oil]]
fat = "olive oil"
share = "60 %"
[[oil]]
fat = "coconut oil"
share = "40 %"
[[caustic]]
alkali = "NaOH"
purity = "98 %"
[liquid]
amount = "2:1"
[[addition]]
name = "glycerin"
amount = "5 %"
when = "after cook"
[cook]
for = "60 min"
"#;

/// What is swapped in the recipe above, for what, and what is then said.
const REFUSALS: &[(&str, &str, &str)] = &[
    (
        "superfat =",
        "superfatt =",
        "soap.toml, line 2, `superfatt`: found an unknown key; expected one of name, note, masses, \
         temperatures, superfat, lye_heavy, superfat_floor, total_oils, order, pot, oil, caustic, liquid, \
         addition, fat_after_cook, process, cook, bring_together, work; did you mean `superfat`?",
    ),
    (
        "fat = \"olive oil\"",
        "fat = \"olve oil\"",
        "soap.toml, line 6, `oil[1].fat`: found `olve oil`; expected a fat of the table; did you \
         mean `olive`?",
    ),
    (
        "fat = \"olive oil\"",
        "fat = \"moonbeam tallowate\"",
        "soap.toml, line 6, `oil[1].fat`: found `moonbeam tallowate`; expected a fat of the table; \
         did you mean `tallow`?",
    ),
    (
        "share = \"40 %\"",
        "share = \"37 %\"",
        "soap.toml, `oil`: found shares of 97.00 % in all; expected 100 %; 3.00 % are missing",
    ),
    (
        "share = \"40 %\"",
        "share = \"43 %\"",
        "soap.toml, `oil`: found shares of 103.00 % in all; expected 100 %; take 3.00 % away",
    ),
    (
        "share = \"60 %\"",
        "mass = \"-60 g\"",
        "soap.toml, line 7, `oil[1].mass`: found −60.000 g; expected more than nothing and at most \
         100 kg; check sign and digits",
    ),
    (
        "share = \"60 %\"",
        "mass = \"300 g\"",
        "soap.toml, line 8, `oil[2]`: found 1 oils by share and 1 by mass; expected all by share \
         with `total_oils`, or all by mass; turn the masses into shares, or the shares into masses",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"-500 g\"",
        "soap.toml, line 4, `total_oils`: found −500.000 g; expected more than nothing and at most \
         100 kg; check sign and digits",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"500\"",
        "soap.toml, line 4, `total_oils`: found `500` without a unit; expected a mass with its \
         unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`; write the unit behind the number",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = 500",
        "soap.toml, line 4, `total_oils`: found `500` without a unit; expected a mass with its \
         unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`; write the unit behind the number",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = nan",
        "soap.toml, line 4, `total_oils`: found `nan`; expected a mass with its unit, like `120 \
         g`, `4.5 oz` or `1 lb 4 oz`; write it like that; a point for decimals, no comma",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"1,500 g\"",
        "soap.toml, line 4, `total_oils`: found `1,500 g`; expected a mass with its unit, like \
         `120 g`, `4.5 oz` or `1 lb 4 oz`; write it like that; a point for decimals, no comma",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"5000 kg\"",
        "soap.toml, line 4, `total_oils`: found `5000 kg`, which is out of range; expected a mass \
         of at most one tonne; check the digits",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"500 kg\"",
        "soap.toml, line 4, `total_oils`: found 500000.000 g; expected more than nothing and at \
         most 100 kg; check sign and digits",
    ),
    (
        "total_oils = \"500 g\"",
        "total_oils = \"0.5 g\"",
        "soap.toml, `oil`: found 0.500 g of oils in all; expected at least 1 g; check the digits \
         and the units",
    ),
    (
        "total_oils = \"500 g\"",
        "",
        "soap.toml, `total_oils`: found nothing; expected the mass of all oils, like `700 g`; add \
         it, or give each oil a mass",
    ),
    (
        "[[oil]]\nfat = \"olive oil\"\nshare = \"60 %\"\n[[oil]]\nfat = \"coconut oil\"\nshare = \
         \"40 %\"\n",
        "",
        "soap.toml, `oil`: found no oils; expected at least one oil, butter or wax; add one part \
         [[oil]] for each",
    ),
    (
        "share = \"60 %\"",
        "share = \"60 %\"\nmass = \"3 g\"",
        "soap.toml, line 5, `oil[1]`: found a share and a mass; expected one of the two; remove \
         the share or the mass",
    ),
    (
        "share = \"60 %\"",
        "",
        "soap.toml, line 5, `oil[1]`: found no amount; expected a share of the oils like `40 %`, \
         or a mass like `120 g`; add `share` or `mass`",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"-2 %\"",
        "soap.toml, line 2, `superfat`: found −2.0 %; expected 0 % or more; a soap with caustic \
         left over burns skin; if that is meant, add `lye_heavy = \"on purpose\"`",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"31 %\"",
        "soap.toml, line 2, `superfat`: found 31.0 %; expected at most 30 %; more than that stays \
         grease, not soap",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"-20 %\"\nlye_heavy = \"on purpose\"",
        "soap.toml, line 2, `superfat`: found −20.0 %; expected at least −10 %; check sign and \
         digits",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"5\"",
        "soap.toml, line 2, `superfat`: found `5` without a unit; expected a share in percent, \
         like `5 %`; write the unit behind the number",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"5 %\"\nsuperfat_floor = \"6 %\"",
        "soap.toml, line 3, `superfat_floor`: found 6.0 %; expected at most the superfat, 5.0 %; \
         the guard on the caustic alarms at the floor, and the target lies above it",
    ),
    (
        "superfat = \"5 %\"",
        "superfat = \"5 %\"\nsuperfat_floor = \"-1 %\"",
        "soap.toml, line 3, `superfat_floor`: found −1.0 %; expected 0 % or more; raise it, or add \
         `lye_heavy = \"on purpose\"`",
    ),
    (
        "superfat = \"5 %\"",
        "",
        "soap.toml, `superfat`: found nothing; expected the part of the fat that is to stay fat, \
         like `5 %`; add it; 5 % is usual for bars (common practice)",
    ),
    (
        "fat = \"coconut oil\"",
        "fat = \"olive\"",
        "soap.toml, `oil`: found `olive oil` twice; expected each ingredient once; add the two \
         amounts together, give each its own `lot`, or rename one",
    ),
    (
        "name = \"glycerin\"",
        "name = \"Water\"",
        "soap.toml, `addition`: found `Water` twice; expected each ingredient once; add the two \
         amounts together, give each its own `lot`, or rename one",
    ),
    (
        "alkali = \"NaOH\"\npurity = \"98 %\"",
        "alkali = \"KOH\"",
        "soap.toml, line 11, `caustic[1].purity`: found nothing; expected the purity of this KOH, \
         like `90 %`; copy it from the label or the certificate: flake of 85 % and flake of 90 % \
         differ by enough to turn a superfat of 5 % negative",
    ),
    (
        "alkali = \"NaOH\"",
        "alkali = \"NaHO\"",
        "soap.toml, line 12, `caustic[1].alkali`: found `NaHO`; expected one of NaOH, sodium \
         hydroxide, KOH, potassium hydroxide; use one of these words",
    ),
    (
        "purity = \"98 %\"",
        "purity = \"50 %\"",
        "soap.toml, line 13, `caustic[1].purity`: found 50.0 %; expected 80 % to 100 % of alkali \
         in the solid; copy it from the label; for a lye already made, use `stock_lye`",
    ),
    (
        "purity = \"98 %\"",
        "covers = \"60 %\"",
        "soap.toml, line 11, `caustic[1]`: found caustics that cover 60.00 % of the demand; \
         expected 100 %; correct `covers`",
    ),
    (
        "[[caustic]]\nalkali = \"NaOH\"\npurity = \"98 %\"\n",
        "",
        "soap.toml, `caustic`: found nothing; expected a part [[caustic]] with its `alkali`; add \
         it; README, \"Your first recipe\", shows a whole file",
    ),
    (
        "[liquid]",
        "[[caustic]]\nalkali = \"KOH\"\npurity = \"90 %\"\n[liquid]",
        "soap.toml, line 11, `caustic[1]`: found no share for one of them; expected `covers` for \
         both caustics, adding up to 100 %; add `covers = \"…\"` to each",
    ),
    (
        "amount = \"2:1\"",
        "amount = \"1:2\"",
        "soap.toml, line 15, `liquid.amount`: found `1:2`, 0.50 parts of liquid to 1 of caustic; \
         expected 0.9:1 to 20:1, with the liquid first; correct it",
    ),
    (
        "amount = \"2:1\"",
        "amount = \"67 %\"",
        "soap.toml, line 15, `liquid.amount`: found `67 %`; expected 5 % to 52 % of caustic in \
         caustic and liquid together; correct it",
    ),
    (
        "amount = \"2:1\"",
        "amount = \"plenty\"",
        "soap.toml, line 15, `liquid.amount`: found `plenty`; expected liquid to caustic like \
         `2.7:1`, caustic as a share of the lye like `27 %`, or a mass like `167 g`; correct it",
    ),
    (
        "amount = \"2:1\"",
        "amount = \"0 g\"",
        "soap.toml, line 15, `liquid.amount`: found `0 g`; expected a mass above zero, like `167 \
         g`; correct it",
    ),
    (
        "[liquid]\namount = \"2:1\"\n",
        "",
        "soap.toml, `liquid`: found nothing; expected a part [liquid] with its `amount`; add it; \
         README, \"Your first recipe\", shows a whole file",
    ),
    (
        "amount = \"5 %\"",
        "amount = \"6–4 %\"",
        "soap.toml, line 18, `addition[1].amount`: found `6–4 %`; expected a mass like `12 g`, a \
         share of the oils like `5 %`, or a range like `4–6 %`; write it like that; a point for \
         decimals, no comma",
    ),
    (
        "amount = \"5 %\"",
        "amount = \"70 %\"",
        "soap.toml, line 18, `addition[1].amount`: found 70.00 %; expected more than 0 % and at \
         most 50 %; check sign and digits",
    ),
    (
        "amount = \"5 %\"",
        "amount = \"a pinch\"",
        "soap.toml, line 18, `addition[1].amount`: found `a pinch`; expected a mass like `12 g`, a \
         share of the oils like `5 %`, or a range like `4–6 %`; write it like that; a point for \
         decimals, no comma",
    ),
    (
        "when = \"after cook\"",
        "when = \"after the cook\"",
        "soap.toml, line 19, `addition[1].when`: found `after the cook`; expected one of before \
         lye, before cook, after cook; did you mean `after cook`?",
    ),
    (
        "when = \"after cook\"",
        "",
        "soap.toml, line 16, `addition[1].when`: found nothing; expected `before lye`, `before \
         cook` or `after cook`; add it",
    ),
    (
        "name = \"glycerin\"",
        "name = \"citric acid\"",
        "soap.toml, line 17, `addition[1].name`: found an acid that is not declared as one; \
         expected `acid`, so that the caustic it eats is counted; add `acid = \"citric acid\"`, \
         `\"citric acid monohydrate\"` or `\"lactic acid\"`; vinegar is not counted here, use one \
         of these",
    ),
    (
        "name = \"glycerin\"",
        "name = \"citric acid\"\nacid = \"citric acid\"",
        "soap.toml, line 20, `addition[1].when`: found an acid after the lye; expected an acid \
         before the lye; write when = \"before lye\"; it is then weighed before the caustic",
    ),
    (
        "name = \"glycerin\"\namount = \"5 %\"\nwhen = \"after cook\"",
        "name = \"lactic acid\"\nacid = \"lactic acid\"\namount = \"1 %\"\nwhen = \"before lye\"",
        "soap.toml, line 16, `addition[1].strength`: found nothing; expected its `strength`, like \
         `80 %`, as on the bottle; add it",
    ),
    (
        "process = \"hot\"",
        "process = \"cold\"",
        "soap.toml, line 20, `cook`: found a cook in cold process; expected no [cook]; remove it, \
         or write process = \"hot\"",
    ),
    (
        "process = \"hot\"",
        "process = \"warm\"",
        "soap.toml, line 3, `process`: found `warm`; expected one of hot, cold; use one of these \
         words",
    ),
    (
        "for = \"60 min\"",
        "for = \"60\"",
        "soap.toml, line 21, `cook.for`: found `60` without a unit; expected a length of time with \
         its unit, like `90 s`, `45 min` or `1 h 30 min`; write the unit behind the number",
    ),
    (
        "for = \"60 min\"",
        "for = \"60 h\"",
        "soap.toml, line 21, `cook.for`: found 60 h 00 min; expected more than 0 s, at most 24 h; \
         check the unit",
    ),
    (
        "for = \"60 min\"",
        "keep = \"93 °C to 71 °C\"",
        "soap.toml, line 21, `cook.keep`: found `93 °C to 71 °C`; expected two temperatures, low \
         and high, like `71 °C to 93 °C`; write it like that; a point for decimals, no comma",
    ),
    (
        "for = \"60 min\"",
        "warn_above = \"90 °C\"",
        "soap.toml, line 20, `cook`: found keep up to 93.00 °C, warn above 90.00 °C, alarm above \
         98.00 °C; expected the window's end, `warn_above` and `alarm_above` in this order; set \
         all three; those left out are the usual 93 °C, 95 °C and 98 °C",
    ),
    (
        "share = \"60 %\"",
        "share = \"60 %\"\ntolerance = \"30 %\"",
        "soap.toml, line 8, `oil[1].tolerance`: found 30.00 %; expected more than 0 % and at most \
         20 %; check sign and digits",
    ),
    (
        "share = \"60 %\"",
        "share = \"60 %\"\ntolerance = \"-1 g\"",
        "soap.toml, line 8, `oil[1].tolerance`: found −1.000 g; expected more than nothing and at \
         most 100 kg; check sign and digits",
    ),
    (
        "share = \"60 %\"",
        "share = \"60 %\"\ncomes_as = \"peices\"",
        "soap.toml, line 8, `oil[1].comes_as`: found `peices`; expected one of pour, pieces, \
         scoop; did you mean `pieces`?",
    ),
    (
        "share = \"60 %\"",
        "share = \"60 %\"\ncertificate = { date = \"2026-03-02\", sap = 0.19, give_or_take = 0.5 }",
        "soap.toml, line 8, `oil[1].certificate.sap`: found the bare number 0.19; expected a \
         number from 20 to 400 mg KOH per g; correct it, without quotes\nsoap.toml, line 8, \
         `oil[1].certificate`: found no `lot` beside it; expected the lot that the paper is for; \
         add `lot`",
    ),
    (
        "name = \"Base\"",
        "name = \"Base",
        "soap.toml, line 1, `name`: found name = \"Base; expected both quotes about the text; \
         correct this line; README, \"Your first recipe\", shows a whole file",
    ),
    (
        "name = \"Base\"",
        "name = \"Base\"\nname = \"Twice\"",
        "soap.toml, line 2, `name`: found name = \"Twice\"; expected each key once; correct this \
         line; README, \"Your first recipe\", shows a whole file",
    ),
    (
        "name = \"Base\"",
        "",
        "soap.toml, `name`: found nothing; expected the name of the soap; add it; README, \"Your \
         first recipe\", shows a whole file",
    ),
];

fn read(text: &str) -> Result<Recipe, String> {
    let source = Source { file: "soap.toml", text };
    Recipe::read(source, FatTable::built_in()).map_err(|problems| problems.to_string())
}

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

#[test]
fn every_refusal_says_line_field_found_expected_and_what_to_do() {
    read(BASE).unwrap();
    for (from, to, says) in REFUSALS {
        assert!(BASE.contains(from), "{from}");
        let text = BASE.replacen(from, to, 1);
        assert_eq!(read(&text).expect_err(to), *says, "with {to}");
    }
}

#[test]
fn all_problems_come_at_once_in_the_order_of_the_file() {
    let text = BASE
        .replace("superfat = \"5 %\"", "superfat = \"45 %\"")
        .replace("olive oil", "olve oil")
        .replace("\"2:1\"", "\"1:2\"")
        .replace("for = \"60 min\"", "for = \"60\"");
    let said = read(&text).unwrap_err();
    let fields: Vec<&str> = said.lines().filter_map(|line| line.split('`').nth(1)).collect();
    assert_eq!(fields, ["superfat", "oil[1].fat", "liquid.amount", "cook.for"], "{said}");
}

#[test]
fn the_example_is_read_as_it_says() {
    let recipe = read(recipe::EXAMPLE).unwrap();
    assert_eq!(recipe.name, "Harbour Bar");
    assert_eq!(recipe.oil_total(), mass("700 g"));
    let coconut = &recipe.oils[0];
    assert_eq!((coconut.fat.as_str(), coconut.mass), ("coconut", mass("175 g")));
    assert_eq!(coconut.nature, Nature::Pieces);
    assert_eq!(recipe.oils[1].tolerance, Some(Tolerance::Share(Share::from_percent(2))));
    let paper = recipe.oils[2].lot.as_ref().unwrap().certificate.as_ref().unwrap();
    assert_eq!((paper.lot.as_str(), paper.sap), ("OL-22", 190.2));
    assert_eq!(recipe.caustics[0].alkali, Alkali::SodiumHydroxide);
    assert_eq!(recipe.caustics[0].purity.low, Share::from_percent(98));
    assert_eq!(recipe.liquid.amount, LiquidRule::Ratio(2_700_000));
    assert_eq!(recipe.liquid.ice, Share::from_percent(20));
    let (low, high) = (Share::from_percent(4), Share::from_percent(6));
    assert_eq!(recipe.additions[0].amount, AdditionAmount::Between(low, high));
    assert_eq!(
        (recipe.additions[0].when, recipe.additions[0].into),
        (When::AfterCook, Vessel::Own)
    );
    assert_eq!(recipe.cook.as_ref().unwrap().duration, Span::from_minutes(45));
    assert_eq!(recipe.combine.oils.unwrap().low, Temperature::from_celsius(38));
    assert_eq!(recipe.work.len(), 3);
}

#[test]
fn a_lye_heavy_soap_is_made_only_on_purpose() {
    let text =
        BASE.replace("superfat = \"5 %\"", "superfat = \"-2 %\"\nlye_heavy = \"on purpose\"");
    let recipe = read(&text).unwrap();
    assert_eq!((recipe.superfat, recipe.floor), (Share::from_percent(-2), Share::from_percent(-4)));
}

#[test]
fn shares_from_a_list_with_one_decimal_are_taken_in_proportion() {
    let text = BASE.replace("60 %", "66.6 %").replace("40 %", "33.3 %");
    let recipe = read(&text).unwrap();
    let total = recipe.oil_total() - mass("500 g");
    assert!(total.abs() <= Mass::from_steps(2), "{total}");
    assert!(read(&text.replace("66.6 %", "66.4 %")).is_err());
}

#[test]
fn two_lots_of_one_oil_are_two_ingredients() {
    let text = BASE
        .replace("fat = \"coconut oil\"", "fat = \"olive\"\nlot = \"B 2\"")
        .replace("fat = \"olive oil\"", "fat = \"olive oil\"\nlot = \"A 1\"");
    let recipe = read(&text).unwrap();
    let ids: Vec<&str> = recipe.oils.iter().map(|oil| oil.id.0.as_str()).collect();
    assert_eq!(ids, ["olive", "olive-b-2"]);
}

#[test]
fn alcohol_carries_its_hazard_without_being_asked() {
    let text = BASE.replace("name = \"glycerin\"", "name = \"isopropyl alcohol\"");
    let recipe = read(&text).unwrap();
    assert!(recipe.additions[0].hazards[0].starts_with("flammable: flame and heating coil off"));
}

#[test]
fn the_demonstration_recipe_is_read() {
    read(include_str!("../../src/demo/recipe.toml")).unwrap();
}

const PASTE: &str = "\n[[addition]]\nname = \"paste\"\namount = \"50 g\"\nwhen = \"before cook\"\n";

/// Soap of an earlier batch is saponified already: no caustic is reckoned for it.
#[test]
fn earlier_soap_asks_for_no_caustic() {
    let with = |keys: &str| read(&format!("{}{PASTE}{keys}", recipe::EXAMPLE));
    let figures = "base = \"2026-11-25-a\"\nbase_superfat = \"5 %\"\nbase_moisture = \"30 %\"\n";
    let recipe = with(figures).unwrap();
    let paste = recipe.additions.last().unwrap();
    let base = paste.base.clone().unwrap();
    assert_eq!(paste.lot.as_ref().unwrap().name, "2026-11-25-a", "the batch is its lot");
    assert_eq!(base.superfat, Some(Share::from_percent(5)));
    assert_eq!(base.moisture, Some(Share::from_percent(30)));
    assert!(recipe.lots().iter().all(|(id, ..)| id.0 != "paste"), "no label says another");
    let fats = FatTable::built_in();
    let plan = |recipe: &recipe::Recipe| {
        panroom::plan::plan(recipe, fats, None, &panroom::plan::Options::default()).unwrap()
    };
    let (alone, both) = (plan(&read(recipe::EXAMPLE).unwrap()), plan(&recipe));
    let naoh = "naoh".into();
    assert_eq!(alone.planned[&naoh], both.planned[&naoh]);
    assert_eq!(both.batch_total() - alone.batch_total(), Mass::parse("50 g").unwrap());
    let sheet = panroom::plan::sheet::text(&panroom::plan::sheet::Sheet::of(&both), 100);
    let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("lot 2026-11-25-a"), "{sheet}");
    let assumed = "soap of batch 2026-11-25-a, taken as saponified: no caustic is reckoned for it; its \
                   own superfat: 5.0 %, as the recipe says, 30 % of water";
    assert!(flat.contains(assumed), "{sheet}");
}

#[test]
fn the_figures_of_earlier_soap_have_ends() {
    let with = |keys: &str| {
        let text = format!("{}{PASTE}base = \"2026-11-25-a\"\n{keys}", recipe::EXAMPLE);
        read(&text).map(|_| ())
    };
    for (keys, good) in [
        ("base_superfat = \"0 %\"", true),
        ("base_superfat = \"-0.1 %\"", false),
        ("base_superfat = \"30 %\"", true),
        ("base_superfat = \"30.1 %\"", false),
        ("base_moisture = \"70 %\"", true),
        ("base_moisture = \"70.1 %\"", false),
        ("lot = \"P-1\"", false),
        ("acid = \"citric acid\"", false),
    ] {
        assert_eq!(with(keys).is_ok(), good, "{keys}: {:?}", with(keys));
    }
    let stray = read(&format!("{}{PASTE}base_moisture = \"30 %\"\n", recipe::EXAMPLE)).unwrap_err();
    assert!(stray.contains("`base` beside it"), "{stray}");
}
