//! docs/checks.md, written by the checks themselves: what others publish beside what comes out
//! here. The test fails when the page and the code part, and prints the page as it should be.

use super::boiling::tests as boiling;
use super::caustic_heat::{self, tests as caustic_heat_tests};
use super::dissolve::tests as dissolve;
use super::tests_support::{masses, usual_bar, usual_fats};
use super::uncertainty::{self, tests as worked_examples};
use super::{
    AccuracyClass, Alkali, FatTable, FormulaAcid, Verified, standard_pressure_pa, theory,
    water_boils_at,
};
use crate::quantity::{Mass, MassUnit, Share};

const PAGE: &str = include_str!("../../docs/checks.md");

const HEAD: &str = "\
# Outside checks of the chemistry

What others publish, what panroom computes, and the difference. A test writes this page anew and
compares it, and fails where a difference is larger than the last column allows. \"As reproduced\"
and \"from memory\" are said where a document itself was not seen.
";

/// One line of the page.
struct Row {
    what: String,
    expected: f64,
    ours: f64,
    decimals: usize,
    allowed: f64,
}

fn row(what: impl Into<String>, expected: f64, ours: f64, decimals: usize, allowed: f64) -> Row {
    Row { what: what.into(), expected, ours, decimals, allowed }
}

fn section(page: &mut String, title: &str, source: &str, rows: Vec<Row>) {
    page.push_str(&format!("\n## {title}\n\nSource: {source}.\n\n"));
    page.push_str("| what | expected | ours | difference | allowed |\n|---|---|---|---|---|\n");
    for Row { what, expected, ours, decimals: d, allowed } in rows {
        let difference = ours - expected;
        assert!(difference.abs() <= allowed, "{title}, {what}: {ours} instead of {expected}");
        // a difference that rounds away is nothing, and has no sign
        let shown = format!("{difference:+.d$}").replace('-', "−");
        let nothing = shown.chars().all(|c| matches!(c, '+' | '−' | '0' | '.'));
        let shown = if nothing { "0".to_owned() } else { shown };
        page.push_str(&format!("| {what} | {expected:.d$} | {ours:.d$} | {shown} | {allowed} |\n"));
    }
}

#[test]
fn the_page_of_checks_is_what_the_checks_give() {
    let mut page = HEAD.to_owned();
    pure_substances(&mut page);
    working_values(&mut page);
    heats(&mut page);
    lossless_ends(&mut page);
    boiling_points(&mut page);
    weighing(&mut page);
    propagation(&mut page);
    practice(&mut page);
    if page != PAGE {
        println!("{page}");
        panic!("docs/checks.md differs from the checks; the page as it should be stands above");
    }
}

fn pure_substances(page: &mut String) {
    let mut rows = Vec::new();
    for (name, [_, bound, _, free]) in theory::tests::EXPECTED {
        let acid = theory::fatty_acid(name).unwrap();
        let triglyceride = acid.triglyceride().koh_mg_per_g();
        rows.push(row(format!("triglyceride of {name} acid"), bound, triglyceride, 3, 0.1));
        rows.push(row(format!("{name} acid"), free, acid.koh_mg_per_g(), 3, 0.1));
    }
    let source = "molar masses from IUPAC/CIAAW atomic weights; mg KOH per g";
    section(page, "Saponification values of pure substances", source, rows);
    let acid = |acid: FormulaAcid| acid.koh_mg_per_g / 1000.0 * Alkali::SodiumHydroxide.per_koh();
    let rows = vec![
        row("g NaOH for 1 g KOH", 0.712_889_6, Alkali::SodiumHydroxide.per_koh(), 7, 5e-8),
        row("g NaOH for 1 g citric acid", 0.624_55, acid(FormulaAcid::citric("a")), 5, 1e-4),
        row("its monohydrate", 0.571_01, acid(FormulaAcid::citric_monohydrate("a")), 5, 1e-4),
        row("lactic acid", 0.444_03, acid(FormulaAcid::lactic("a", Share::WHOLE)), 5, 1e-4),
    ];
    section(page, "Alkalis and acids", "ratios of molar masses", rows);
}

fn working_values(page: &mut String) {
    page.push_str(
        "\n## Working values of the fats\n\nEach must lie inside the published range; the rule by \
         which\nit was chosen stands at the head of src/chemistry/fats.toml. mg KOH per g.\n\n\
         | fat | published | working | rule | source |\n|---|---|---|---|---|\n",
    );
    for fat in FatTable::built_in().iter() {
        let (low, sap, high) = (fat.range.low, fat.sap, fat.range.high);
        assert!(low <= sap && sap <= high, "{}", fat.key);
        let (rule, seen) = (word(&fat.basis), word(&fat.range.seen));
        let (name, source) = (&fat.name, &fat.range.source);
        page.push_str(&format!("| {name} | {low}–{high} | {sap} | {rule} | {source} ({seen}) |\n"));
    }
}

/// The word a value is written as in a file.
fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).unwrap().as_str().unwrap().to_owned()
}

fn heats(page: &mut String) {
    let (mut parker, mut older, mut olsson) = (Vec::new(), Vec::new(), Vec::new());
    for (n, old, modern, other) in caustic_heat_tests::HEATS {
        let (ours, what) = (caustic_heat::naoh_kj_per_mol(n), format!("n = {n}"));
        parker.push(row(what.clone(), modern, ours, 2, 0.005));
        if let Some(old) = old {
            let ours = ours - caustic_heat::OLDER_LESS_KJ_PER_MOL;
            older.push(row(what.clone(), old, ours, 3, 0.007));
        }
        let allowed = if n > 30.0 { 0.6 } else { 0.25 };
        olsson.push(row(what, other, ours, 2, allowed));
    }
    let title = "Heat set free by NaOH in n moles of water, kJ/mol";
    let source = "Parker, NSRDS-NBS 2 (1965), as reproduced in a handbook, and the differences of \
                  the older table; these are the points that our curve must pass";
    section(page, &format!("{title}: the family used"), source, parker);
    let source = "older table of enthalpies of solution (NBS Circular 500, from memory), as \
                  reproduced in a textbook; used as the lower end";
    section(page, &format!("{title}: the older family"), source, older);
    let source = "Olsson, Jernqvist and Aly, Int. J. Thermophys. 18 (1997) 3, on Parker's infinite \
                  dilution; poor below 5 % NaOH, used only below n = 3";
    section(page, &format!("{title}: an independent fit"), source, olsson);
    let mut rows = Vec::new();
    for (fraction, cp) in caustic_heat_tests::OTHER_HEAT_CAPACITIES {
        for (celsius, other) in [20.0, 60.0, 100.0].into_iter().zip(cp) {
            let ours = caustic_heat::naoh_cp(fraction, celsius);
            let what = format!("{:.4} NaOH at {celsius} °C", fraction);
            rows.push(row(what, other, ours, 3, other * 0.03));
        }
    }
    for row in &mut rows {
        row.allowed = (row.allowed * 1000.0).round() / 1000.0;
    }
    let source = "Laliberté, J. Chem. Eng. Data 54 (2009) 1725; ours is Olsson's fit";
    section(page, "Heat capacity of NaOH lye, J/(g K)", source, rows);
}

fn lossless_ends(page: &mut String) {
    let mut rows = Vec::new();
    for (fraction, parker, older, _) in dissolve::LOSSLESS {
        for (family, expected, is_older) in [("used", parker, false), ("older", older, true)] {
            let ours = dissolve::lossless_celsius(fraction, is_older);
            rows.push(row(format!("{fraction} NaOH, {family}"), expected, ours, 1, 1.0));
        }
    }
    let source = "both families of heats with Olsson's heat capacities, computed apart";
    section(page, "End of a lossless NaOH lye from 20 °C, °C", source, rows);
    let mut rows = Vec::new();
    for (fraction, anhydrous, flake) in dissolve::POTASH_BOUND {
        for (percent, expected) in [(100, anhydrous), (90, flake)] {
            let ours = dissolve::potash(fraction, Share::from_percent(percent)).lossless.celsius();
            rows.push(row(format!("{fraction} KOH, {percent} % flake"), expected, ours, 1, 1.5));
        }
    }
    let source = "heat at infinite dilution (Parker 1965) with Laliberté's heat capacities, \
                  computed apart; upper bounds only";
    section(page, "Upper bound of a KOH lye from 20 °C, °C", source, rows);
}

fn boiling_points(page: &mut String) {
    let number = |text: &str| text.parse::<f64>().unwrap();
    let mut rows = Vec::new();
    for (kelvin, mpa) in boiling::TABLE_35 {
        let ours = boiling::saturation_mpa(kelvin);
        // nine digits are printed, half of the last one is allowed
        let decimals = 8 - number(mpa).log10().floor() as i32;
        let allowed = 0.5 * 10.0_f64.powi(-decimals);
        let what = format!("MPa at {kelvin} K");
        rows.push(row(what, number(mpa), ours, decimals as usize, allowed));
    }
    for (mpa, kelvin) in boiling::TABLE_36 {
        let ours = boiling::boiling_kelvin(mpa);
        rows.push(row(format!("K at {mpa} MPa"), number(kelvin), ours, 6, 5e-7));
    }
    section(page, "Boiling water", "IAPWS R7-97(2012), tables 35 and 36", rows);
    let mut rows = Vec::new();
    for (metres, hpa) in boiling::PRESSURES {
        let ours = standard_pressure_pa(metres).unwrap() / 100.0;
        rows.push(row(format!("hPa at {metres} m"), number(hpa), ours, 3, 5e-4));
    }
    for (metres, celsius) in boiling::WATER_BOILS {
        let ours = water_boils_at(metres).unwrap().celsius();
        rows.push(row(format!("water boils at {metres} m, °C"), celsius, ours, 4, 2e-4));
    }
    let source = "ISO 2533:1975, geopotential altitude; IF97 at those pressures";
    section(page, "Altitude", source, rows);
    let mut rows = Vec::new();
    for (fraction, sea, hill) in boiling::LYE_BOILS {
        for (metres, expected) in [(0, sea), (2000, hill)] {
            let naoh = Share::from_fraction_rounded(fraction);
            let ours = super::lye_boils_at(naoh, metres).unwrap().celsius();
            rows.push(row(format!("{fraction} NaOH at {metres} m"), expected, ours, 1, 0.2));
        }
    }
    let source = "Olsson, Jernqvist and Aly 1997; ours interpolates between rounded rows of it";
    section(page, "Boiling NaOH lye, °C", source, rows);
}

fn weighing(page: &mut String) {
    let mut rows = Vec::new();
    for (class, loads) in [
        (AccuracyClass::I, [(50_000, 0.5), (50_001, 1.0), (200_000, 1.0), (200_001, 1.5)]),
        (AccuracyClass::II, [(5_000, 0.5), (5_001, 1.0), (20_000, 1.0), (20_001, 1.5)]),
        (AccuracyClass::III, [(500, 0.5), (501, 1.0), (2_000, 1.0), (2_001, 1.5)]),
        (AccuracyClass::IIII, [(50, 0.5), (51, 1.0), (200, 1.0), (201, 1.5)]),
    ] {
        let scale = Verified { class, e: MassUnit::Gram.one() };
        for (load, expected) in loads {
            let ours = scale.mpe_initial(scale.e * load).grams();
            rows.push(row(format!("class {class:?} at {load} e, ±e"), expected, ours, 1, 0.0));
        }
    }
    let source = "OIML R 76-1:2006, table 6, as transcribed; in service twice as much";
    section(page, "Maximum permissible error of a scale", source, rows);
}

fn propagation(page: &mut String) {
    let (gauge, cadmium) = (worked_examples::end_gauge(), worked_examples::cadmium_standard());
    let tenth = uncertainty::resolution(0.1);
    let rows = vec![
        row("GUM H.1, length, nm", 50_000_838.0, gauge.value, 0, 0.5),
        row("GUM H.1, u of first order, nm", 31.6639, gauge.u, 4, 5e-4),
        row("CG 4 A1, cadmium, mg/L", 1_002.699_72, cadmium.value, 5, 1e-5),
        row("CG 4 A1, u, mg/L", 0.835_199, cadmium.u, 6, 1e-6),
        row("reading in 0.1 g, u, g", 0.028_868, tenth, 6, 5e-7),
        row("difference of two, u, g", 0.040_825, tenth * 2.0_f64.sqrt(), 6, 5e-7),
    ];
    let source = "JCGM 100:2008, example H.1 and F.2.2.1; EURACHEM/CITAC CG 4, example A1";
    section(page, "Propagation of uncertainty", source, rows);
}

fn practice(page: &mut String) {
    let mut formula = usual_bar("5 %");
    let caustic = &mut formula.caustics[0];
    [caustic.purity_low, caustic.purity, caustic.purity_high] = [Share::WHOLE; 3];
    let ounces = |mass: Mass| mass.in_unit(MassUnit::Ounce);
    let naoh = ounces(formula.caustic(&"naoh".into(), &usual_fats()));
    let (caustic, liquid) = (64.1, 175.8);
    let lye = masses(&[("naoh", caustic), ("water", liquid)]);
    let strength = formula.lye_strength(&lye).unwrap().naoh.fraction();
    let peak = dissolve::lossless_celsius(strength, false);
    let rows = vec![
        row("pure NaOH, oz, for 16.25 oz of fats at 5 %", 2.26, naoh, 2, 0.068),
        row("that NaOH in 6.2 oz of water, °C", 94.4, peak, 1, 3.6),
    ];
    let source = "common practice, no source: 5 oz coconut, 2 oz mango, 2 oz shea, 2 oz cocoa \
                  butter, 0.25 oz candelilla, 4 oz olive, 1 oz castor; 202 °F seen";
    section(page, "A bar as makers make it", source, rows);
}
