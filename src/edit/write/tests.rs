use proptest::prelude::*;

use super::*;
use crate::recipe::{EXAMPLE, edit::FORM};

fn read(text: &str) -> Entry {
    Entry::of_text(&FORM, text).unwrap()
}

/// Lines of the second text that the first has not, and the other way round.
fn difference(before: &str, after: &str) -> (Vec<String>, Vec<String>) {
    let missing = |of: &str, from: &str| {
        let there: Vec<&str> = from.lines().collect();
        of.lines().filter(|line| !there.contains(line)).map(str::to_owned).collect()
    };
    (missing(before, after), missing(after, before))
}

#[test]
fn an_untouched_form_leaves_every_byte() {
    assert_eq!(write(EXAMPLE, &FORM, &read(EXAMPLE)), Ok(EXAMPLE.to_owned()));
    let bench = crate::bench_file::EXAMPLE;
    let form = &crate::bench_file::edit::FORM;
    let entry = Entry::of_text(form, bench).unwrap();
    assert_eq!(write(bench, form, &entry), Ok(bench.to_owned()));
}

#[test]
fn a_number_is_shown_without_the_remark_behind_it() {
    let form = read(EXAMPLE);
    assert_eq!(form.rows("oil")[2].part("certificate").unwrap().get("sap"), "190.2");
}

#[test]
fn one_changed_field_changes_one_line_and_keeps_its_remark() {
    let mut form = read(EXAMPLE);
    form.part_mut("liquid").set("ice", "10 %");
    form.rows_mut("oil")[2].part_mut("certificate").set("sap", "191");
    let after = write(EXAMPLE, &FORM, &form).unwrap();
    let (gone, come) = difference(EXAMPLE, &after);
    let was = [
        "sap = 190.2                  # mg KOH per g",
        "ice = \"20 %\"                 # the part of it that goes in as ice",
    ];
    let is = [
        "sap = 191                  # mg KOH per g",
        "ice = \"10 %\"                 # the part of it that goes in as ice",
    ];
    assert_eq!((gone, come), (was.map(str::to_owned).to_vec(), is.map(str::to_owned).to_vec()));
}

#[test]
fn a_new_key_stands_behind_its_neighbour_and_an_emptied_one_goes() {
    let text = "# mine\nname = \"Bar\" # short\nsuperfat = \"5 %\"\nprocess = \"hot\"\n\n\
                [liquid]\namount = \"2:1\"\n";
    let mut form = read(text);
    form.set("superfat_floor", "1 %");
    form.set("process", "");
    form.part_mut("liquid").set("of", "milk");
    let expected = "# mine\nname = \"Bar\" # short\nsuperfat = \"5 %\"\nsuperfat_floor = \"1 %\"\n\n\
                    [liquid]\nof = \"milk\"\namount = \"2:1\"\n";
    assert_eq!(write(text, &FORM, &form).unwrap(), expected);
}

#[test]
fn rows_come_go_and_change_places_with_their_remarks() {
    let text = "name = \"Bar\"\n\n# the good one\n[[oil]]\nfat = \"olive oil\"\nmass = \"14 oz\"\n\n\
                # melts slowly\n[[oil]]\nfat = \"coconut oil\"\nmass = \"6 oz\"\n\n[liquid]\n\
                amount = \"2:1\"\n";
    let mut form = read(text);
    let oils = form.rows_mut("oil");
    oils.swap(0, 1);
    let mut castor = Entry::default();
    castor.set("fat", "castor oil");
    castor.set("amount", "10 %");
    oils.push(castor);
    let expected = "name = \"Bar\"\n\n# melts slowly\n[[oil]]\nfat = \"coconut oil\"\n\
                    mass = \"6 oz\"\n\n# the good one\n[[oil]]\nfat = \"olive oil\"\n\
                    mass = \"14 oz\"\n\n[[oil]]\nfat = \"castor oil\"\nshare = \"10 %\"\n\n\
                    [liquid]\namount = \"2:1\"\n";
    assert_eq!(write(text, &FORM, &form).unwrap(), expected);
    form.rows_mut("oil").remove(0);
    form.rows_mut("oil").remove(1);
    let expected = "name = \"Bar\"\n\n# the good one\n[[oil]]\nfat = \"olive oil\"\n\
                    mass = \"14 oz\"\n\n[liquid]\namount = \"2:1\"\n";
    assert_eq!(write(text, &FORM, &form).unwrap(), expected);
}

#[test]
fn a_share_becomes_a_mass_in_its_place() {
    let text = "[[oil]]\nfat = \"olive oil\"\nshare = \"50 %\"\nlot = \"A\"\n";
    let mut form = read(text);
    form.rows_mut("oil")[0].set("amount", "12 oz");
    let expected = "[[oil]]\nfat = \"olive oil\"\nmass = \"12 oz\"\nlot = \"A\"\n";
    assert_eq!(write(text, &FORM, &form).unwrap(), expected);
}

#[test]
fn a_row_that_is_not_in_the_file_is_refused() {
    let mut form = Entry::default();
    let mut oil = Entry::default();
    oil.was = Some(3);
    oil.set("fat", "olive oil");
    form.rows_mut("oil").push(oil);
    let refused = EditError::NoSuchRow { part: "oil", row: 4 };
    assert_eq!(write(EXAMPLE.split("[[oil]]").next().unwrap(), &FORM, &form), Err(refused));
    assert!(matches!(write("name = \"", &FORM, &form), Err(EditError::NoToml(_))));
}

proptest! {
    /// Whatever is typed comes back as typed, but for blanks at its ends, and never as TOML.
    #[test]
    fn what_is_typed_is_read_back(name in "\\PC{0,40}", fat in "\\PC{0,20}", hazard in "\\PC{0,20}") {
        let mut form = Entry::default();
        form.set("name", name);
        let mut oil = Entry::default();
        oil.set("fat", fat);
        oil.set("amount", "1 oz");
        form.rows_mut("oil").push(oil);
        let mut work = Entry::default();
        work.set("say", hazard);
        work.set("when", "last");
        form.rows_mut("work").push(work);
        let mut back = read(&write("", &FORM, &form).unwrap());
        for rows in ["oil", "work"] {
            back.rows_mut(rows)[0].was = None;
        }
        prop_assert_eq!(back, form);
    }
}
