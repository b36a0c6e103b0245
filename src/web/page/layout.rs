//! What every view has around it.

use maud::{DOCTYPE, Markup, html};

/// The views, in the order of the navigation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    Bench,
    Recipes,
    Instruments,
    Ledger,
}

impl View {
    const ALL: [View; 4] = [View::Bench, View::Recipes, View::Instruments, View::Ledger];

    const fn path(self) -> &'static str {
        match self {
            View::Bench => "/",
            View::Recipes => "/recipes",
            View::Instruments => "/instruments",
            View::Ledger => "/ledger",
        }
    }

    const fn words(self) -> &'static str {
        match self {
            View::Bench => "Bench",
            View::Recipes => "Recipes",
            View::Instruments => "Instruments",
            View::Ledger => "Ledger",
        }
    }
}

/// A whole page: navigation, then what `body` says inside `main`. `files` are names of scripts and
/// styles below `assets/`.
pub fn page(view: View, title: &str, files: &[&str], body: &Markup) -> Markup {
    let inside = html! {
        a class="skip" href="#main" { "To the content" }
        header class="top" {
            p class="mark" { "panroom" }
            nav aria-label="Views" {
                @for each in View::ALL {
                    a href=(each.path()) aria-current=[(each == view).then_some("page")] {
                        (each.words())
                    }
                }
            }
        }
        main id="main" tabindex="-1" { (body) }
    };
    whole(title, files, &inside)
}

/// A page without navigation; `body` brings its own `main`.
pub fn bare(title: &str, body: &Markup) -> Markup {
    whole(title, &[], body)
}

fn whole(title: &str, files: &[&str], body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · panroom" }
                link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/assets/page.css";
                link rel="stylesheet" href="/assets/office.css";
                script type="module" src="/assets/theme.js" {}
                @for file in files {
                    @if file.ends_with(".css") {
                        link rel="stylesheet" href={ "/assets/" (file) };
                    } @else {
                        script type="module" src={ "/assets/" (file) } {}
                    }
                }
            }
            body { (body) }
        }
    }
}

/// A refusal's words begin small and have no stop; a person reads a sentence.
pub fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    let stop = if words.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}
