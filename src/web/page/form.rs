//! Fields of HTML forms, each with what is wrong beside it.

use maud::{Markup, html};

/// One line of text to fill in.
#[derive(Clone, Copy, Debug, Default)]
pub struct Field<'a> {
    /// As the form sends it; also the id.
    pub name: &'a str,
    pub label: &'a str,
    /// What is expected, with an example.
    pub hint: Option<&'a str>,
    pub value: &'a str,
    /// What is wrong with the value and what to do.
    pub error: Option<&'a str>,
    pub required: bool,
    /// The autocomplete token; empty means "off".
    pub autocomplete: &'a str,
    /// The id of a `datalist` with what is usual here.
    pub list: Option<&'a str>,
}

pub fn field(field: &Field) -> Markup {
    let (hint_id, error_id) = ids(field.name);
    html! {
        div class=(if field.error.is_some() { "field wrong" } else { "field" }) {
            label for=(field.name) { (field.label) }
            @if let Some(hint) = field.hint { p class="hint" id=(hint_id) { (hint) } }
            input type="text" id=(field.name) name=(field.name) value=(field.value)
                autocomplete=(if field.autocomplete.is_empty() { "off" } else { field.autocomplete })
                spellcheck="false" required[field.required] list=[field.list]
                aria-invalid[field.error.is_some()]
                aria-describedby=[described(field.hint, field.error, &hint_id, &error_id)];
            (error(field.error, &error_id))
        }
    }
}

/// One of several: `(value, words)`.
pub fn choice(field: &Field, options: &[(&str, &str)]) -> Markup {
    let (hint_id, error_id) = ids(field.name);
    html! {
        div class=(if field.error.is_some() { "field wrong" } else { "field" }) {
            label for=(field.name) { (field.label) }
            @if let Some(hint) = field.hint { p class="hint" id=(hint_id) { (hint) } }
            select id=(field.name) name=(field.name)
                aria-invalid[field.error.is_some()]
                aria-describedby=[described(field.hint, field.error, &hint_id, &error_id)] {
                @for (value, words) in options {
                    option value=(value) selected[*value == field.value] { (words) }
                }
            }
            (error(field.error, &error_id))
        }
    }
}

/// Several lines of text.
pub fn text_area(field: &Field, rows: usize) -> Markup {
    let (hint_id, error_id) = ids(field.name);
    html! {
        div class=(if field.error.is_some() { "field wrong" } else { "field" }) {
            label for=(field.name) { (field.label) }
            @if let Some(hint) = field.hint { p class="hint" id=(hint_id) { (hint) } }
            textarea id=(field.name) name=(field.name) rows=(rows) spellcheck="false"
                aria-invalid[field.error.is_some()]
                aria-describedby=[described(field.hint, field.error, &hint_id, &error_id)] {
                (field.value)
            }
            (error(field.error, &error_id))
        }
    }
}

fn ids(name: &str) -> (String, String) {
    (format!("{name}-hint"), format!("{name}-error"))
}

fn described(
    hint: Option<&str>,
    error: Option<&str>,
    hint_id: &str,
    error_id: &str,
) -> Option<String> {
    let ids: Vec<&str> =
        [hint.map(|_| hint_id), error.map(|_| error_id)].into_iter().flatten().collect();
    (!ids.is_empty()).then(|| ids.join(" "))
}

fn error(words: Option<&str>, id: &str) -> Markup {
    html! {
        @if let Some(words) = words { p class="error" id=(id) { (words) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_says_what_is_wrong_beside_it_and_escapes_what_it_was_given() {
        let wrong = Field {
            name: "oil",
            label: "Oil",
            value: "\"><script>",
            error: Some("no oil is called <b>"),
            ..Field::default()
        };
        let shown = field(&wrong).into_string();
        assert!(shown.contains(r#"aria-describedby="oil-error""#), "{shown}");
        assert!(shown.contains("&quot;&gt;&lt;script&gt;"), "{shown}");
        assert!(shown.contains("no oil is called &lt;b&gt;"), "{shown}");
        let right = field(&Field { name: "oil", ..Field::default() }).into_string();
        assert!(!right.contains("aria-invalid") && !right.contains("described"), "{right}");
    }
}
