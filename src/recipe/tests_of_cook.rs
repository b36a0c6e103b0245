//! `[[cook.test]]`: the tests that a cook has to pass before it ends.

use crate::plan::{CookTest, TestLimit, TestMethod};
use crate::problem::{Form, Placed, Table};
use crate::quantity::Ph;

use super::amounts;
use super::ingredients::slug;

pub(super) fn tests<'a>(form: &mut Form<'a>, rows: Vec<Table<'a>>) -> Vec<CookTest> {
    let mut tests: Vec<CookTest> = Vec::new();
    for row in rows {
        let at = row.placed();
        let Some(test) = test(form, row) else { continue };
        if tests.iter().any(|known| known.key == test.key) {
            let found = format!("`{}` twice", test.name);
            form.refuse(&at, found, "a name of its own for each test", "rename one");
        }
        tests.push(test);
    }
    tests
}

fn test<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<CookTest> {
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "what is tested, like `pH of a 1 % solution`", "add it");
    let method = form.word(&mut table, "by", &TestMethod::WORDS);
    let words = TestMethod::WORDS.map(|(word, _)| word).join(", ");
    form.need(&table, "by", &format!("one of {words}"), "add it; there is no usual one");
    let sample = form.text(&mut table, "sample");
    let expected = "how the sample is made, like `1 g of soap in 99 g of distilled water`";
    form.need(&table, "sample", expected, "add it; without it two results cannot be compared");
    let between = form.quantity(&mut table, "between", amounts::ph_range);
    let passes = table.has("passes").then(|| form.texts(&mut table, "passes"));
    let at = table.placed();
    form.close(table);
    let method = method?.value;
    let limit = limit(form, &at, method, between, passes)?;
    let name = name?.value;
    Some(CookTest { key: slug(&name), name, method, sample: sample?.value, limit })
}

fn limit(
    form: &mut Form<'_>,
    at: &Placed<()>,
    method: TestMethod,
    between: Option<Placed<(Ph, Ph)>>,
    passes: Option<Vec<String>>,
) -> Option<TestLimit> {
    let passes = passes.filter(|words| !words.is_empty());
    match (method.gives_ph(), between, passes) {
        (true, Some(between), None) => {
            let (low, high) = between.value;
            Some(TestLimit::Ph { low, high })
        }
        (false, None, Some(words)) => Some(TestLimit::Words(words)),
        (true, _, _) => {
            let found = format!("a test by {} without `between` alone", method.words());
            let expected = "its limits as pH, like between = \"9 to 10.5\"";
            form.refuse(at, found, expected, "add `between`, leave `passes` out");
            None
        }
        (false, _, _) => {
            let found = format!("a test by {} without `passes` alone", method.words());
            let expected = "the results that pass, like passes = [\"clear\"]";
            form.refuse(at, found, expected, "add `passes`, leave `between` out");
            None
        }
    }
}
