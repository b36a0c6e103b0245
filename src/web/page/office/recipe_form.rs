//! The form of a recipe, with its figures beside it.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::figures::{figures, in_short};
use super::ink::Ink;
use super::{note, part};
use crate::chemistry::{FatTable, Liquid};
use crate::daemon::FileName;
use crate::edit::Entry;
use crate::recipe::edit::Draft;
use crate::web::page::form::{Field, text_area};
use crate::web::page::layout::{self, View};

/// All that the view shows.
pub struct Shown<'a> {
    /// `None` for a recipe that is not saved yet.
    pub file: Option<&'a FileName>,
    /// The file the form was made from, and its digest then.
    pub base: (&'a str, &'a str),
    pub entry: &'a Entry,
    pub draft: &'a Draft,
    pub tried: bool,
    pub saved: bool,
    pub is_changed: bool,
    pub added: Option<&'a str>,
    pub pots: &'a [&'a str],
}

static NOTHING_WRONG: BTreeMap<String, Vec<String>> = BTreeMap::new();

pub fn view(shown: &Shown<'_>) -> Markup {
    let name = match shown.entry.get("name") {
        "" if shown.file.is_none() => "New recipe",
        "" => "Recipe without a name",
        name => name,
    };
    let wrong = if shown.tried { &shown.draft.wrong } else { &NOTHING_WRONG };
    let ink = Ink::new(shown.entry, wrong);
    let path = shown.file.map(|file| format!("/recipes/{}", part(file.as_str())));
    let body = html! {
        div class="heading" {
            h1 { (name) }
            @if let Some(path) = &path {
                p class="row" {
                    a class="button" href={ (path) "/start" } { "Start" }
                    a class="button" href={ (path) "/sheet" } { "Sheet, scale, swap" }
                    a class="button" href={ (path) "/text" } { "As text" }
                }
            }
        }
        (notes(shown, wrong))
        form method="post" action=(path.as_deref().unwrap_or("/new-recipe")) class="desk"
            data-judge="/recipe-draft" novalidate {
            input type="hidden" name="base" value=(shown.base.0);
            input type="hidden" name="opened" value=(shown.base.1);
            @if shown.tried { input type="hidden" name="tried" value="1"; }
            div class="fields" {
                // the first button is the one that Enter presses
                p class="row" { (save_button(shown)) }
                (soap(&ink, shown))
                (oils(&ink))
                (caustics(&ink))
                (liquid(&ink.part("liquid")))
                (additions(&ink))
                (late_fats(&ink))
                (process(&ink))
                (work(&ink))
                p class="row" { (save_button(shown)) }
                p class="in-short" role="status" {
                    a href="#figures-head" id="in-short" {
                        (in_short(shown.draft.plan.as_deref().ok(), &shown.draft.wrong))
                    }
                }
            }
            section class="beside-form" tabindex="0" aria-labelledby="figures-head" {
                h2 id="figures-head" { "What it comes to" }
                div id="figures" { (figures(shown.draft.plan.as_deref().ok(), &shown.draft.wrong)) }
            }
        }
        @if let Some(path) = &path {
            form method="post" action={ (path) "/put-away" } {
                button type="submit" class="small" { "Put this recipe away" }
                p class="soft" { "It leaves the shelf and stays on the disk, in the folder recipes/put-away." }
            }
        }
        datalist id="fats" {
            @for fat in FatTable::built_in().iter() { option value=(fat.name) {} }
        }
        datalist id="liquids" {
            @for liquid in Liquid::all() { option value=(liquid.name) {} }
        }
        @if let Some(added) = shown.added { div hidden id="go-to" data-row=(added) {} }
    };
    layout::page(View::Recipes, name, &["office.js"], &body)
}

fn notes(shown: &Shown<'_>, wrong: &BTreeMap<String, Vec<String>>) -> Markup {
    html! {
        @if shown.saved { (note("good", "saved; the file is as a hand would have written it")) }
        @if shown.is_changed {
            div class="note wrong" role="alert" {
                p { "This file was changed on the disk since you opened it. Nothing was overwritten. "
                    "Save what stands here as a new recipe, or open the file as it is now; what you "
                    "typed here is then gone." }
                @if let Some(file) = shown.file {
                    p { a href={ "/recipes/" (part(file.as_str())) } { "Open the file as it is now" } }
                }
            }
        }
        @if !wrong.is_empty() && !shown.draft.is_recipe {
            div data-until-right { (note("wrong", "not saved: what is marked below is missing or wrong")) }
        }
        @for words in wrong.get("").into_iter().flatten() { (note("wrong", words)) }
    }
}

fn save_button(shown: &Shown<'_>) -> Markup {
    html! {
        @if shown.is_changed {
            button type="submit" class="main" name="do" value="save-new" { "Save as a new recipe" }
        } @else {
            button type="submit" class="main" name="do" value="save" { "Save" }
        }
    }
}

fn soap(ink: &Ink<'_>, shown: &Shown<'_>) -> Markup {
    let mut pots = vec![("", "the only one of the bench")];
    pots.extend(shown.pots.iter().map(|pot| (*pot, *pot)));
    html! {
        fieldset {
            legend { "The soap" }
            div class="grid" {
                (ink.text("name", "Name", ""))
                (ink.text("superfat", "Superfat", "The part of the fat that stays fat; 5 % is usual for bars."))
                (ink.pick("process", "Process", &[("hot", "hot: it is cooked"), ("cold", "cold: it is not")]))
                (ink.pick("order", "Weighed first", &[("", "the oils; the caustic follows them"), ("lye first", "the caustic; the oils follow it")]))
                (ink.pick("masses", "Weigh in", MASSES))
                (ink.pick("temperatures", "Temperatures in", TEMPERATURES))
            }
            (more("Note, pot, guard", ink.is_used(&["note", "pot", "superfat_floor", "lye_heavy"]), &html! {
                (ink.area("note", "Note", ""))
                div class="grid" {
                    (ink.pick("pot", "Pot", &pots))
                    (ink.text("superfat_floor", "Guard at a superfat of", "The caustic alarms before the superfat falls below this; 0 % when left out."))
                    (ink.pick("lye_heavy", "Superfat below 0 %", &[("", "refused"), ("on purpose", "on purpose: this soap burns skin")]))
                }
            }))
        }
    }
}

pub const MASSES: &[(&str, &str)] = &[
    ("g", "grams"),
    ("kg", "kilograms"),
    ("oz", "ounces"),
    ("lb", "pounds"),
    ("lb+oz", "pounds and ounces"),
];
pub const TEMPERATURES: &[(&str, &str)] = &[("°C", "°C"), ("°F", "°F")];
const COMES_AS: &[(&str, &str)] =
    &[("", "poured"), ("pieces", "pieces and chunks"), ("scoop", "powder by the spoon")];
const WHEN: &[(&str, &str)] = &[
    ("", "choose one"),
    ("before lye", "into the oils, before the lye"),
    ("before cook", "after oils and lye have come together"),
    ("after cook", "after the cook"),
];
const WORK_WHEN: &[(&str, &str)] = &[
    ("", "choose one"),
    ("first", "first"),
    ("before lye", "before the lye"),
    ("before cook", "before the cook"),
    ("after cook", "after the cook"),
    ("last", "last"),
];

fn oils(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Oils, butters, waxes" }
            (ink.wrong_with("oil"))
            @for (index, oil) in ink.rows("oil").iter().enumerate() {
                (row(oil, &format!("Oil {}", index + 1), &html! {
                    div class="grid" {
                        (oil.listed("fat", "Fat", "", "fats"))
                        (oil.text("amount", "How much", "A mass like 14 oz, or a share like 40 %."))
                    }
                    (more("Lot, form, tolerance", oil.is_used(&["called", "comes_as", "tolerance", "lot", "certificate"]), &html! {
                        div class="grid" {
                            (oil.text("lot", "Lot", ""))
                            (oil.pick("comes_as", "Comes as", COMES_AS))
                            (oil.text("tolerance", "Tolerance", "Like 1 % or 0.5 g."))
                            (oil.text("called", "Your name for it", ""))
                        }
                        (certificate(&oil.part("certificate")))
                    }))
                }))
            }
            p { (adder("oil", "Another oil")) }
            (ink.text("total_oils", "All oils together", "Only where the oils are given as shares: 700 g, 2 lb."))
        }
    }
}

/// The supplier's paper for the lot.
fn certificate(ink: &Ink<'_>) -> Markup {
    html! {
        p class="soft" { "The supplier's paper for this lot, if there is one, makes the superfat surer:" }
        (ink.wrong_here())
        div class="grid" {
            (ink.text("sap", "Saponification value", "mg KOH per g"))
            (ink.text("give_or_take", "Give or take", "mg KOH per g"))
            (ink.text("date", "Date on the paper", "2026-03-02"))
        }
    }
}

fn caustics(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Caustic" }
            p class="soft" { "How much is never typed: it follows from the oils." }
            (ink.wrong_with("caustic"))
            @for (index, caustic) in ink.rows("caustic").iter().enumerate() {
                (row(caustic, &format!("Caustic {}", index + 1), &html! {
                    div class="grid" {
                        (caustic.pick("alkali", "Alkali", &[("", "choose one"), ("NaOH", "sodium hydroxide, NaOH, for bars"), ("KOH", "potassium hydroxide, KOH, for paste")]))
                        (caustic.text("purity", "Purity", "From the label. KOH has none that is usual: 85 % and 90 % differ by the whole superfat."))
                    }
                    (more("Two caustics, a lye made beforehand, lot", caustic.is_used(&["covers", "stock_lye", "lot"]), &html! {
                        div class="grid" {
                            (caustic.text("covers", "Covers", "Its part of the whole demand, where there are two."))
                            (caustic.text("stock_lye", "Stock lye of", "Caustic in a lye made beforehand, like 50 %."))
                            (caustic.text("lot", "Lot", ""))
                        }
                    }))
                }))
            }
            p { (adder("caustic", "Another caustic")) }
        }
    }
}

fn liquid(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Liquid" }
            (ink.wrong_here())
            div class="grid" {
                (ink.listed("of", "What", "", "liquids"))
                (ink.text("amount", "How much", "Liquid to caustic like 2.7:1, the strength of the lye like 27 %, or a mass like 6.2 oz."))
            }
            (more("Ice, how it starts, salt, lot", ink.is_used(&["ice", "starts_at", "cooled_by", "water", "salt", "tolerance", "lot"]), &html! {
                div class="grid" {
                    (ink.text("starts_at", "Starts at", "How warm the liquid is before the caustic; then the peak of the lye is judged."))
                    (ink.text("ice", "As ice", "The part that goes in as ice, like 20 %."))
                    (ink.pick("cooled_by", "Cooled by", &[("", "nothing"), ("cold bath", "a cold bath"), ("portions", "caustic in portions, with pauses")]))
                    (ink.text("salt", "Salt", "The part of salt in a brine."))
                    (ink.text("water", "Water in it", "For a liquid that is not all water, like 88 %."))
                    (ink.text("tolerance", "Tolerance", ""))
                    (ink.text("lot", "Lot", ""))
                }
            }))
        }
    }
}

fn additions(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Additions" }
            (ink.wrong_with("addition"))
            @for (index, addition) in ink.rows("addition").iter().enumerate() {
                (row(addition, &format!("Addition {}", index + 1), &html! {
                    div class="grid" {
                        (addition.text("name", "What", ""))
                        (addition.text("amount", "How much", "12 g, 5 % of the oils, or a range like 4–6 %."))
                        (addition.pick("when", "When", WHEN))
                    }
                    (more("Cup, form, acid, hazards, lot", addition.is_used(&["into", "comes_as", "tolerance", "acid", "strength", "below", "flash_point", "hazards", "lot", "base", "base_superfat", "base_moisture"]), &html! {
                        div class="grid" {
                            (addition.pick("into", "Weighed in", &[("", "its own cup"), ("pot", "the pot")]))
                            (addition.pick("comes_as", "Comes as", COMES_AS))
                            (addition.text("tolerance", "Tolerance", ""))
                            (addition.pick("acid", "Acid", &[("", "it is none"), ("citric acid", "citric acid"), ("citric acid monohydrate", "citric acid, monohydrate"), ("lactic acid", "lactic acid")]))
                            (addition.text("strength", "Strength of the acid", "As on the bottle, like 80 %."))
                            (addition.text("lot", "Lot", ""))
                            (addition.text("base", "Soap of batch", "Its number in the ledger, like 2026-11-25-a: taken as saponified, no caustic is reckoned for it."))
                            (addition.text("base_superfat", "Superfat of that soap", "Left empty it is that of its review."))
                            (addition.text("base_moisture", "Water in that soap", ""))
                            (addition.text("below", "Only below", "It waits until the pot has cooled to that: 140 °F."))
                            (addition.text("flash_point", "Flash point", "From its safety data sheet."))
                        }
                        (addition.text("hazards", "Hazards", "Several with semicolons between."))
                    }))
                }))
            }
            p { (adder("addition", "Another addition")) }
        }
    }
}

fn late_fats(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Fats after the cook" }
            p class="soft" { "They go in when the lye is used up; no caustic is reckoned for them." }
            @for (index, fat) in ink.rows("fat_after_cook").iter().enumerate() {
                (row(fat, &format!("Late fat {}", index + 1), &html! {
                    div class="grid" {
                        (fat.listed("fat", "Fat", "", "fats"))
                        (fat.text("amount", "How much", "A mass, or a share of the oils."))
                    }
                    (more("Lot, form, tolerance", fat.is_used(&["called", "comes_as", "tolerance", "lot", "certificate"]), &html! {
                        div class="grid" {
                            (fat.text("lot", "Lot", ""))
                            (fat.pick("comes_as", "Comes as", COMES_AS))
                            (fat.text("tolerance", "Tolerance", ""))
                            (fat.text("called", "Your name for it", ""))
                        }
                        (certificate(&fat.part("certificate")))
                    }))
                }))
            }
            p { (adder("fat_after_cook", "A fat after the cook")) }
        }
    }
}

fn process(ink: &Ink<'_>) -> Markup {
    let (together, cook) = (ink.part("bring_together"), ink.part("cook"));
    let used = ink.is_used(&["bring_together", "cook"]);
    html! {
        fieldset {
            legend { "Windows" }
            p class="soft" { "Left empty, the usual ones hold (common practice)." }
            (ink.wrong_with("bring_together"))
            (ink.wrong_with("cook"))
            (more("Bringing together, cook", used, &html! {
                div class="grid" {
                    (together.text("oils", "Oils", "When lye and oils come together: 100 °F to 130 °F."))
                    (together.text("lye", "Lye", ""))
                    (together.text("no_further_apart_than", "No further apart than", "20 °F or 11 K."))
                    (cook.text("keep", "Cook at", "160 °F to 200 °F."))
                    (cook.text("warn_above", "Warn above", ""))
                    (cook.text("alarm_above", "Alarm above", ""))
                    (cook.text("for", "Cook for", "45 min."))
                    (cook.text("look_every", "Look every", "10 min."))
                }
                (tests(&cook))
            }))
        }
    }
}

/// What must be passed before the cook ends.
fn tests(cook: &Ink<'_>) -> Markup {
    html! {
        p class="soft" { "Tests to be passed before the cook ends; without one, time and your eyes end it." }
        @for (index, test) in cook.rows("test").iter().enumerate() {
            (row(test, &format!("Test {}", index + 1), &html! {
                div class="grid" {
                    (test.text("name", "Name", ""))
                    (test.pick("by", "By", TESTS))
                    (test.text("sample", "Sample", "How it is prepared: 1 g of soap in 99 g of water."))
                    (test.text("between", "pH between", "For a meter or a strip: 9 to 10.5."))
                    (test.text("passes", "Passes with", "For the others: words, with semicolons between."))
                }
            }))
        }
        p { (adder("cook.test", "A test")) }
    }
}

const TESTS: &[(&str, &str)] = &[
    ("", "choose one"),
    ("meter", "meter"),
    ("strip", "strip"),
    ("indicator", "indicator"),
    ("zap", "zap: a tongue on what may be caustic"),
    ("other", "other"),
];

fn work(ink: &Ink<'_>) -> Markup {
    html! {
        fieldset {
            legend { "Steps in your own words" }
            @for (index, work) in ink.rows("work").iter().enumerate() {
                (row(work, &format!("Step {}", index + 1), &html! {
                    (work.text("say", "What to do", ""))
                    div class="grid" {
                        (work.pick("when", "When", WORK_WHEN))
                        (work.text("hazards", "Hazards", "Several with semicolons between."))
                    }
                }))
            }
            p { (adder("work", "Another step")) }
        }
    }
}

/// One row of a part: what it is, its fields, and the way to be rid of it.
pub fn row(ink: &Ink<'_>, title: &str, fields: &Markup) -> Markup {
    html! {
        fieldset class="row-of" id=(ink.name()) {
            legend { (title) }
            (ink.was())
            (ink.wrong_here())
            (fields)
            button type="submit" class="small" name="do" value={ "drop:" (ink.name()) } formnovalidate {
                "Remove " (title.to_lowercase())
            }
        }
    }
}

pub fn adder(part: &str, words: &str) -> Markup {
    html! { button type="submit" class="small" name="do" value={ "add:" (part) } formnovalidate { (words) } }
}

pub fn more(summary: &str, open: bool, inside: &Markup) -> Markup {
    html! { details class="more" open[open] { summary { (summary) } (inside) } }
}

/// The file as text, for a hand.
pub fn text_view(
    file: &FileName,
    text: &str,
    opened: &str,
    problems: Option<&str>,
    saved: bool,
) -> Markup {
    let title = format!("{}.toml", file.as_str());
    let path = format!("/recipes/{}", part(file.as_str()));
    let body = html! {
        div class="heading" {
            h1 { (title) }
            @if problems.is_none() { a class="button" href=(path) { "As a form" } }
        }
        @if saved { (note("good", "saved")) }
        @for problem in problems.into_iter().flat_map(str::lines) { (note("wrong", problem)) }
        form method="post" action={ (path) "/text" } {
            input type="hidden" name="opened" value=(opened);
            (text_area(&Field {
                name: "text",
                label: "The file",
                hint: Some("Every amount stands in quotes with its unit; lines that begin with # are remarks."),
                value: text,
                ..Field::default()
            }, 30))
            button type="submit" class="main" { "Save" }
        }
    };
    layout::page(View::Recipes, &title, &[], &body)
}
