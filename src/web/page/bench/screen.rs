//! What concerns this screen alone: its sound, its voice, its pedal, its light. Filled by its script.

use maud::{Markup, html};

use crate::bench::emergency_card;

pub fn draw() -> Markup {
    html! {
        div id="said" role="status" {}
        div class="bar" {
            (sound_question())
            button type="button" id="splash" class="splash" {
                span aria-hidden="true" { "✚ " } "Splash: what to do" span class="how" { "key F2" }
            }
            p id="sound-state" class="state" role="status" { "Sound is off." }
            button type="button" id="sound-on" { "Test the sound" }
            button type="button" id="again" { "Say it again" }
            p id="wake-state" class="state soft" {}
        }
        (settings())
        (card())
    }
}

fn sound_question() -> Markup {
    html! {
        div id="heard" class="note careful" hidden {
            p { "Three rising notes and a voice. Did you hear them from where you stand?" }
            div class="answers" {
                button type="button" class="main" id="heard-yes" { "I heard it" }
                button type="button" id="heard-no" { "I heard nothing" }
            }
        }
    }
}

fn settings() -> Markup {
    html! {
        details id="screen" {
            summary { "This screen: voice, volume, pedal, light" }
            div class="settings" {
                div class="field" {
                    label for="volume" { "Volume" }
                    input type="range" id="volume" min="10" max="100" step="5";
                }
                div class="field" {
                    label for="rate" { "How fast the voice speaks" }
                    input type="range" id="rate" min="60" max="160" step="10";
                }
                div class="field" {
                    label for="voice" { "Voice" }
                    select id="voice" { option value="" { "as the system has it" } }
                }
                div class="field" {
                    label for="theme" { "Light" }
                    select id="theme" {
                        option value="" { "as the system has it" }
                        option value="light" { "light" }
                        option value="dark" { "dark" }
                    }
                }
                div class="field" {
                    span class="field-name" id="pedal-name" { "Pedal: yes, and seen" }
                    p class="hint" {
                        "A foot pedal or a button that acts as a keyboard. A short press says the usual yes,
                         or that the worst alarm is seen. Where a remedy must be chosen, a short press goes to
                         the next one, and holding it for one second chooses it."
                    }
                    p { "Now: " b id="pedal-key" { "Page Down" } }
                    button type="button" id="pedal-set" aria-describedby="pedal-name" {
                        "Press here, then the pedal"
                    }
                }
            }
        }
    }
}

fn card() -> Markup {
    let card = emergency_card();
    html! {
        dialog id="card" aria-labelledby="card-title" {
            h2 id="card-title" { (card.title) }
            ol { @for line in &card.lines { li { (line) } } }
            p class="soft" { "The time is kept. The timers go on." }
            button type="button" id="card-close" { "Close" }
        }
    }
}
