use super::*;
use crate::bench_file::EXAMPLE;
use crate::quantity::Mass;

fn scale() -> Entry {
    let pairs = [
        ("masses", "oz"),
        ("instrument[1].name", "scale"),
        ("instrument[1].port", "/dev/ttyUSB0"),
        ("instrument[1].sheet", "comma-status-line"),
        ("instrument[1].baud", "9600"),
        ("instrument[1].channel[1].name", "scale"),
        ("instrument[1].channel[1].role", "scale"),
        ("instrument[1].channel[1].d", "0.01 oz"),
        ("instrument[1].channel[1].capacity", "6 lb"),
        ("vessel[1].name", "white cup"),
        ("vessel[1].for", "caustic cup"),
        ("vessel[1].tare", "1.1 oz"),
        ("vessel[1].material", "polypropylene"),
    ];
    let pairs = pairs.map(|(name, text)| (name.to_owned(), text.to_owned()));
    Entry::of_form(&FORM, &pairs).unwrap()
}

#[test]
fn an_empty_folder_leads_to_a_bench() {
    let draft = draft("", &scale(), "bench.toml").unwrap();
    let expected = "masses = \"oz\"\n\n[[instrument]]\nname = \"scale\"\nport = \"/dev/ttyUSB0\"\n\
                    sheet = \"comma-status-line\"\nbaud = 9600\n\n[[instrument.channel]]\n\
                    name = \"scale\"\nrole = \"scale\"\nd = \"0.01 oz\"\ncapacity = \"6 lb\"\n\n\
                    [[vessel]]\nname = \"white cup\"\nfor = \"caustic cup\"\ntare = \"1.1 oz\"\n\
                    material = \"polypropylene\"\n";
    assert_eq!(draft.text, expected);
    let bench = draft.bench.unwrap();
    assert_eq!(bench.scale().unwrap().1.facts.d, Mass::parse("0.01 oz").unwrap());
    assert_eq!(bench.vessels[0].name, "white cup");
}

#[test]
fn what_is_wrong_stands_beside_its_field() {
    let mut form = scale();
    let instrument = &mut form.rows_mut("instrument")[0];
    instrument.set("baud", "fast");
    instrument.rows_mut("channel")[0].set("d", "0.01");
    let mut probe = Entry::default();
    probe.set("name", "scale");
    probe.set("role", "pod");
    instrument.rows_mut("channel").push(probe);
    form.rows_mut("vessel")[0].set("material", "aluminium");
    let wrong = draft("", &form, "bench.toml").unwrap().wrong;
    let expected = [
        "instrument[1].baud",
        "instrument[1].channel[1].d",
        "instrument[1].channel[2].role",
        "vessel[1].material",
    ];
    assert_eq!(wrong.keys().collect::<Vec<_>>(), expected, "{wrong:?}");
}

#[test]
fn a_vessel_enters_without_touching_the_rest() {
    let mut form = Entry::of_text(&FORM, EXAMPLE).unwrap();
    let mut cup = Entry::default();
    for (key, text) in [("name", "blue cup"), ("for", "cup"), ("tare", "20.1 g")] {
        cup.set(key, text);
    }
    cup.set("material", "glass");
    form.rows_mut("vessel").push(cup);
    let after = draft(EXAMPLE, &form, "bench.toml").unwrap();
    let added = "[[vessel]]\nname = \"blue cup\"\nfor = \"cup\"\ntare = \"20.1 g\"\n\
                 material = \"glass\"\n";
    assert_eq!(after.text.replace(&format!("\n{added}"), ""), EXAMPLE);
    assert_eq!(after.bench.unwrap().vessels.len(), 4);
}
