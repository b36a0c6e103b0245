use super::*;
use crate::plan::Alterations;
use crate::recipe::EXAMPLE;

fn form(text: &str) -> Entry {
    Entry::of_text(&FORM, text).unwrap()
}

fn judged(entry: &Entry) -> Draft {
    draft("", entry, "draft.toml", FatTable::built_in(), None).unwrap()
}

/// A form as a maker fills it in, in ounces.
fn plain_bar() -> Entry {
    let pairs = [
        ("name", "Plain Bar"),
        ("masses", "oz"),
        ("temperatures", "°F"),
        ("superfat", "5 %"),
        ("process", "hot"),
        ("oil[1].fat", "olive oil"),
        ("oil[1].amount", "14 oz"),
        ("oil[4].fat", "coconut oil"),
        ("oil[4].amount", "6 oz"),
        ("caustic[1].alkali", "NaOH"),
        ("liquid.of", "water"),
        ("liquid.amount", "2.7:1"),
        ("work[1].say", ""),
        ("not.a[3].field", "x"),
        ("do", "save"),
    ];
    let pairs = pairs.map(|(name, text)| (name.to_owned(), text.to_owned()));
    Entry::of_form(&FORM, &pairs).unwrap()
}

/// A key of recipe files that the form does not know would get lost in a copy.
#[test]
fn the_form_holds_all_that_a_recipe_file_can_say() {
    let read = |text: &str| {
        let source = Source { file: "h.toml", text };
        Recipe::read(source, FatTable::built_in()).unwrap_or_else(|error| panic!("{error}\n{text}"))
    };
    let mut entry = form(EXAMPLE);
    entry.forget_rows();
    let rewritten = edit::write("", &FORM, &entry).unwrap();
    let keys = |text: &str| -> Vec<String> {
        let key = |line: &str| Some(line.split_once('=')?.0.trim().to_owned());
        let lines = text.lines().filter(|line| !line.starts_with('#'));
        let mut keys: Vec<String> = lines.filter_map(key).collect();
        keys.sort();
        keys
    };
    assert_eq!(keys(&rewritten), keys(EXAMPLE));
    let (was, is) = (read(EXAMPLE), read(&rewritten));
    assert_eq!((was.order, was.superfat, was.floor), (is.order, is.superfat, is.floor));
    assert_eq!((was.combine, was.cook, was.work), (is.combine, is.cook, is.work));
    assert_eq!(
        was.oils.iter().map(|o| &o.lot).collect::<Vec<_>>(),
        is.oils.iter().map(|o| &o.lot).collect::<Vec<_>>()
    );
    assert_eq!(was.late_fats.len(), is.late_fats.len());
}

#[test]
fn a_form_becomes_the_file_of_the_readme() {
    let expected = "name = \"Plain Bar\"\nmasses = \"oz\"\ntemperatures = \"°F\"\n\
                    superfat = \"5 %\"\nprocess = \"hot\"\n\n[[oil]]\nfat = \"olive oil\"\n\
                    mass = \"14 oz\"\n\n[[oil]]\nfat = \"coconut oil\"\nmass = \"6 oz\"\n\n\
                    [[caustic]]\nalkali = \"NaOH\"\n\n[liquid]\nof = \"water\"\n\
                    amount = \"2.7:1\"\n";
    let draft = judged(&plain_bar());
    assert_eq!(draft.text, expected);
    assert!(draft.wrong.is_empty(), "{:?}", draft.wrong);
}

/// Worked by hand with figures from outside: SAP of olive oil 0.190 and of coconut oil 0.257 g KOH
/// per g (middles of the ranges of CXS 33 and CXS 210, Codex Alimentarius), NaOH/KOH = 40.00/56.11
/// (molar masses, IUPAC 2021), 5 % superfat: (14 × 0.190 + 6 × 0.257) × 0.7129 × 0.95 = 2.85 oz of
/// pure NaOH.
#[test]
fn the_live_figures_follow_the_oils() {
    let figures = |entry: &Entry| {
        let plan = judged(entry).plan.unwrap();
        (plan.outlook.lye.caustic.grams() / 28.349523125, plan)
    };
    let (ounces, plan) = figures(&plain_bar());
    assert!((2.75..2.98).contains(&ounces), "{ounces} oz");
    let superfat = plan.outlook.superfat.as_ref().unwrap().superfat;
    assert!((superfat.achieved.percent() - 5.0).abs() < 0.5, "{superfat:?}");
    assert!(superfat.expanded.percent() > 0.1);
    assert!(plan.outlook.lye.expected.is_ok());
    let mut more = plain_bar();
    more.rows_mut("oil")[1].set("amount", "12 oz");
    assert!(figures(&more).0 > ounces * 1.3);
}

#[test]
fn what_is_wrong_stands_beside_its_field() {
    let mut form = plain_bar();
    form.set("superfat", "5");
    form.rows_mut("oil")[1].set("fat", "cocunut oil");
    form.rows_mut("oil")[0].set("amount", "14");
    form.part_mut("liquid").set("amount", "lots");
    form.set("name", "");
    let wrong = judged(&form).wrong;
    let fields: Vec<&str> = wrong.keys().map(String::as_str).collect();
    assert_eq!(fields, ["liquid.amount", "name", "oil[1].amount", "oil[2].fat", "superfat"]);
    assert!(wrong["oil[2].fat"][0].contains("did you mean `coconut`?"), "{wrong:?}");
    assert!(wrong["name"][0].starts_with("missing: the name of the soap"), "{wrong:?}");
}

#[test]
fn what_belongs_to_a_row_or_a_part_stands_there() {
    let mut form = plain_bar();
    form.rows_mut("oil")[1].set("amount", "");
    assert_eq!(judged(&form).wrong.keys().collect::<Vec<_>>(), ["oil[2]"]);
    form.rows_mut("oil").clear();
    assert_eq!(judged(&form).wrong.keys().collect::<Vec<_>>(), ["oil"]);
}

#[test]
fn what_only_the_scale_refuses_stands_beside_its_row() {
    let bench = BenchFile::read(Source { file: "bench.toml", text: crate::bench_file::EXAMPLE });
    let bench = bench.unwrap();
    let mut form = plain_bar();
    form.rows_mut("oil")[1].set("tolerance", "0.01 g");
    let draft = draft("", &form, "d.toml", FatTable::built_in(), Some(&bench)).unwrap();
    assert_eq!(draft.wrong.keys().collect::<Vec<_>>(), ["oil[2].tolerance"], "{:?}", draft.wrong);
}

#[test]
fn an_altered_recipe_is_kept_as_a_file_of_its_own() {
    let fats = FatTable::built_in();
    let read = |text: &str| Recipe::read(Source { file: "h.toml", text }, fats).unwrap();
    let original = read(EXAMPLE);
    let altered = Alterations {
        oils: Some("1.4 kg".to_owned()),
        swap: vec!["olive oil = lard".to_owned()],
        ..Alterations::default()
    };
    let altered = altered.apply(&original, fats).unwrap();
    let mut form = form(EXAMPLE);
    adopt(&mut form, &original, &altered);
    let kept = edit::write(EXAMPLE, &FORM, &form).unwrap();
    let again = read(&kept);
    assert_eq!(again.oil_masses(), altered.oil_masses());
    assert_eq!(again.additions[1].amount, altered.additions[1].amount);
    let lard = again.oils.iter().find(|oil| oil.fat == "lard").unwrap();
    assert_eq!(lard.lot, None, "lot and paper were olive oil's");
    assert!(kept.contains("# NaOH for bars, KOH for paste"), "remarks stay");
}

#[test]
fn a_paper_goes_with_its_lot() {
    let source = Source { file: "h.toml", text: EXAMPLE };
    let recipe = Recipe::read(source, FatTable::built_in()).unwrap();
    let (olive, _, lot) = recipe.lots()[2];
    assert_eq!(lot, Some("OL-22"));
    let with = |name: &str| {
        let lots = BTreeMap::from([(olive.0.clone(), name.to_owned())]);
        recipe.with_lots(&lots).unwrap().oils[2].lot.clone()
    };
    assert!(with(" OL-22 ").unwrap().certificate.is_some());
    assert_eq!(with("OL-23"), Some(Lot { name: "OL-23".to_owned(), certificate: None }));
    assert_eq!(with(" "), None);
    assert_eq!(recipe.with_lots(&BTreeMap::new()), Ok(recipe.clone()));
    let refused = recipe.with_lots(&BTreeMap::from([("lard".to_owned(), "L".to_owned())]));
    assert!(matches!(refused, Err(LotError::NotInRecipe { .. })), "{refused:?}");
}
