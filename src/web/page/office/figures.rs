//! What a recipe comes to: caustic, superfat, lye, and whether this bench can make it.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::plan::sheet::Sheet;
use crate::plan::{Plan, Severity};
use crate::web::page::layout::sentence;

/// The figures of a draft, or what keeps them from being known.
pub fn figures(plan: Option<&Plan>, wrong: &BTreeMap<String, Vec<String>>) -> Markup {
    let Some(plan) = plan else { return unknown(wrong) };
    let sheet = Sheet::of(plan);
    let show = |mass: crate::quantity::Mass| {
        mass.show(plan.control.units.mass, plan.control.units.mass_decimals)
    };
    let budget = plan.outlook.superfat.as_ref();
    html! {
        dl class="figures" {
            @for guard in &plan.outlook.guards {
                @let name = plan.control.weighings().find(|weigh| weigh.ingredient == guard.id);
                dt { (name.map_or(guard.id.0.as_str(), |weigh| weigh.name.as_str())) }
                dd {
                    span class="large number" { (show(guard.target)) }
                    span class="beside" {
                        "guard " span class="number" { (show(guard.guard.mass)) }
                        @if !guard.guard.proven { ", margin not proven" }
                    }
                }
            }
            dt { "Superfat" }
            dd {
                @if let Some(budget) = budget {
                    span class="large number" { (budget.superfat.achieved.show(1)) }
                    span class="beside number" { "± " (budget.superfat.expanded.show(1)) }
                    span class="beside" { "lye-heavy: " (budget.lye_heavy.words()) }
                } @else { "not known" }
                @if let Some(purest) = plan.outlook.superfat_at_highest_purity {
                    span class="beside" {
                        span class="number" { (purest.show(1)) }
                        " if the caustic is as pure as it can be"
                    }
                }
            }
            dt { "Lye" }
            dd {
                span class="large number" { (sheet.lye.ratio) }
                @for words in &sheet.lye.words { span class="beside" { (sentence(words)) } }
            }
            dt { "In all" }
            dd { (sentence(&sheet.totals)) }
        }
        (findings(plan))
        p class="soft" { "The caustic follows the oils; on the bench it follows those really weighed. "
            "± is twice the standard uncertainty." }
    }
}

/// The same in one line, for a screen that has no room beside the form.
pub fn in_short(plan: Option<&Plan>, wrong: &BTreeMap<String, Vec<String>>) -> String {
    let Some(plan) = plan else {
        return match wrong.values().map(Vec::len).sum() {
            1 => "1 point is open".to_owned(),
            count => format!("{count} points are open"),
        };
    };
    let units = plan.control.units;
    let mut said: Vec<String> = Vec::new();
    for guard in &plan.outlook.guards {
        let weigh = plan.control.weighings().find(|weigh| weigh.ingredient == guard.id);
        let name = weigh.map_or(guard.id.0.as_str(), |weigh| weigh.name.as_str());
        said.push(format!("{name} {}", guard.target.show(units.mass, units.mass_decimals)));
    }
    if let Some(budget) = &plan.outlook.superfat {
        let superfat = &budget.superfat;
        said.push(format!(
            "superfat {} ± {}",
            superfat.achieved.show(1),
            superfat.expanded.show(1)
        ));
    }
    said.join(", ")
}

/// What the bench makes of it, worst first.
pub fn findings(plan: &Plan) -> Markup {
    let of = |severity: Severity| {
        plan.control.findings.iter().filter(move |finding| finding.severity == severity)
    };
    html! {
        @for finding in of(Severity::Unfit) {
            div class="note wrong" { p { strong { "Cannot be made so: " } (finding.words) } }
        }
        @for finding in of(Severity::Warning) {
            div class="note careful" { p { strong { "Mind: " } (finding.words) } }
        }
        @if of(Severity::Note).next().is_some() {
            details class="more" {
                summary { "Worth knowing" }
                ul { @for finding in of(Severity::Note) { li { (sentence(&finding.words)) } } }
            }
        }
    }
}

fn unknown(wrong: &BTreeMap<String, Vec<String>>) -> Markup {
    html! {
        p { "The figures appear here as soon as these are right:" }
        ul class="open-points" {
            @for (field, words) in wrong {
                @for words in words {
                    li {
                        @if !field.is_empty() { strong { (named(field)) } ": " }
                        (words)
                    }
                }
            }
        }
    }
}

/// A field as a person says it: `oil[2].amount` is "oil 2, amount".
pub fn named(field: &str) -> String {
    field.replace('[', " ").replace(']', "").replace('.', ", ").replace('_', " ")
}
