//! Bench files: what is read, and every refusal by its exact words.

use panroom::bench::{ProbeAt, Role};
use panroom::bench_file::{self, BenchFile, Material, Purpose};
use panroom::chemistry::AccuracyClass;
use panroom::problem::Source;
use panroom::quantity::{Mass, Span, Volume};

const BASE: &str = r#"altitude = "240 m"
[[instrument]]
name = "scale box"
port = "/dev/ttyUSB0"
sheet = "a-sheet"
[[instrument.channel]]
name = "scale"
role = "scale"
d = "0.1 g"
capacity = "6 kg"
[[instrument]]
name = "probe box"
port = "/dev/ttyUSB1"
sheet = "b-sheet"
[[instrument.channel]]
name = "pot probe"
role = "pot"
[[vessel]]
name = "big pot"
for = "pot"
tare = "1240 g"
volume = "5 l"
material = "stainless steel"
"#;

/// What is swapped in the bench above, for what, and what is then said.
const REFUSALS: &[(&str, &str, &str)] = &[
    (
        "altitude = \"240 m\"",
        "altitude = \"240\"",
        "bench.toml, line 1, `altitude`: found `240` without a unit; expected a height above the \
         sea, like `640 m` or `2100 ft`; write the unit behind the number",
    ),
    (
        "altitude = \"240 m\"",
        "altitude = \"9000 m\"",
        "bench.toml, line 1, `altitude`: found `9000 m`, which is out of range; expected −450 m to \
         6000 m; check the digits",
    ),
    (
        "port = \"/dev/ttyUSB1\"",
        "port = \"/dev/ttyUSB0\"",
        "bench.toml, line 11, `instrument[2]`: found port `/dev/ttyUSB0` a second time, after \
         `scale box`; expected one instrument to a port; several probes of one box are several \
         [[instrument.channel]]",
    ),
    (
        "name = \"probe box\"",
        "name = \"scale box\"",
        "bench.toml, line 11, `instrument[2]`: found a second instrument called `scale box`; \
         expected a name of its own for each; rename one of them",
    ),
    (
        "name = \"pot probe\"",
        "name = \"scale\"",
        "bench.toml, line 11, `instrument[2]`: found a second channel called `scale`, after that \
         of `scale box`; expected a name of its own for each; rename one of them",
    ),
    (
        "role = \"pot\"",
        "role = \"pott\"",
        "bench.toml, line 17, `instrument[2].channel[1].role`: found `pott`; expected one of \
         scale, oils, lye, pot, room, hand-held; did you mean `pot`?",
    ),
    (
        "role = \"pot\"",
        "role = \"scale\"\nd = \"1 g\"\ncapacity = \"5 kg\"",
        "bench.toml, line 11, `instrument[2]`: found `pot probe` as scale, after `scale`; expected \
         one scale on a bench; keep the finer one; a second scale is a second bench file",
    ),
    (
        "role = \"pot\"",
        "",
        "bench.toml, line 15, `instrument[2].channel[1].role`: found nothing; expected one of \
         scale, oils, lye, pot, room, hand-held; add it",
    ),
    (
        "role = \"pot\"",
        "role = \"room\"\n[[instrument.channel]]\nname = \"other\"\nrole = \"room\"",
        "bench.toml, line 11, `instrument[2]`: found `other` as room, after `pot probe`; expected \
         one probe for the room; give one of them another role",
    ),
    (
        "d = \"0.1 g\"",
        "d = \"0.1\"",
        "bench.toml, line 9, `instrument[1].channel[1].d`: found `0.1` without a unit; expected a \
         mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`; write the unit behind the \
         number",
    ),
    (
        "d = \"0.1 g\"",
        "",
        "bench.toml, line 6, `instrument[1].channel[1].d`: found nothing; expected its scale \
         interval, the step between two readings, like `0.1 g`; read it off the plate or the \
         display",
    ),
    (
        "d = \"0.1 g\"",
        "d = \"0 g\"",
        "bench.toml, line 9, `instrument[1].channel[1].d`: found 0.000 g; expected more than 0 g; \
         read the plate again, and check both units",
    ),
    (
        "d = \"0.1 g\"",
        "d = \"0.1 g\"\nclass = \"III\"",
        "bench.toml, line 9, `instrument[1].channel[1].d`: found 60000 intervals of e = 0.100 g \
         for class III; expected 100 to 10000 (OIML R 76, table 3); read the plate again, and \
         check both units",
    ),
    (
        "d = \"0.1 g\"",
        "d = \"0.1 g\"\ne = \"1 g\"",
        "bench.toml, line 10, `instrument[1].channel[1].e`: found e without a class; expected \
         `class`, as on the plate; add `class`; a scale without a class has no e",
    ),
    (
        "capacity = \"6 kg\"",
        "capacity = \"0.6 g\"",
        "bench.toml, line 9, `instrument[1].channel[1].d`: found a capacity of 0.600 g in steps of \
         0.100 g; expected at least ten steps; read the plate again, and check both units",
    ),
    (
        "sheet = \"a-sheet\"",
        "sheet = \"a-sheet\"\nbaud = 9",
        "bench.toml, line 6, `instrument[1].baud`: found the bare number 9; expected a whole \
         number from 110 to 1000000; correct it, without quotes",
    ),
    (
        "sheet = \"a-sheet\"",
        "sheet = \"a-sheet\"\nparity = \"evn\"",
        "bench.toml, line 6, `instrument[1].parity`: found `evn`; expected one of none, even, odd; \
         did you mean `even`?",
    ),
    (
        "sheet = \"a-sheet\"",
        "sheet = \"a-sheet\"\ndata_bits = 9",
        "bench.toml, line 6, `instrument[1].data_bits`: found the bare number 9; expected a whole \
         number from 7 to 8; correct it, without quotes",
    ),
    (
        "sheet = \"a-sheet\"",
        "",
        "bench.toml, line 2, `instrument[1].sheet`: found nothing; expected the wire sheet that \
         says how it speaks; add it",
    ),
    (
        "role = \"pot\"",
        "role = \"pot\"\nd = \"1 g\"",
        "bench.toml, line 18, `instrument[2].channel[1].d`: found an unknown key; expected one of \
         name, role, source, period, unit; remove it, or use one of the known keys",
    ),
    (
        "role = \"pot\"",
        "role = \"pot\"\nperiod = \"2 h\"",
        "bench.toml, line 18, `instrument[2].channel[1].period`: found 2 h 00 min; expected more \
         than 0 s and at most 60 s; check the unit",
    ),
    (
        "material = \"stainless steel\"",
        "material = \"aluminum\"",
        "bench.toml, line 23, `vessel[1].material`: found `aluminum` for a pot; expected stainless \
         steel, polypropylene or another that caustic leaves alone; aluminium dissolves in \
         caustic, foams, and gives off hydrogen; use another vessel",
    ),
    (
        "material = \"stainless steel\"",
        "material = \"galvanised steel\"",
        "bench.toml, line 23, `vessel[1].material`: found `galvanised steel` for a pot; expected \
         stainless steel, polypropylene or another that caustic leaves alone; zinc dissolves in \
         caustic and gives off hydrogen; use another vessel",
    ),
    (
        "for = \"pot\"",
        "for = \"pots\"",
        "bench.toml, line 20, `vessel[1].for`: found `pots`; expected one of pot, caustic cup, lye \
         jug, cup, mould, mold; did you mean `pot`?",
    ),
    (
        "tare = \"1240 g\"",
        "tare = \"-1 g\"",
        "bench.toml, line 21, `vessel[1].tare`: found −1.000 g; expected more than 0 g; weigh it \
         empty",
    ),
    (
        "volume = \"5 l\"",
        "volume = \"5 cups\"",
        "bench.toml, line 22, `vessel[1].volume`: found `5 cups`, and `cups` is no unit here; \
         expected a volume with its unit, like `4 l`, `750 ml` or `2 qt`; correct the unit",
    ),
    (
        "[[vessel]]",
        "[[vessel]]\nname = \"Big Pot\"\nfor = \"cup\"\ntare = \"3 g\"\nmaterial = \
         \"glass\"\n[[vessel]]",
        "bench.toml, line 23, `vessel[2]`: found a second vessel called `big pot`; expected a name \
         of its own for each; rename one of them",
    ),
    (
        "[[vessel]]",
        "[alarm]\ncomand = [\"bell\"]\n[[vessel]]",
        "bench.toml, line 19, `alarm.comand`: found an unknown key; expected one of command; did \
         you mean `command`?",
    ),
    (
        "[[vessel]]",
        "[vessel]",
        "bench.toml, line 18, `vessel`: found a table; expected one heading [[vessel]] for each; \
         write the heading with two brackets on each side",
    ),
];

fn read(text: &str) -> Result<BenchFile, String> {
    BenchFile::read(Source { file: "bench.toml", text }).map_err(|problems| problems.to_string())
}

#[test]
fn every_refusal_says_line_field_found_expected_and_what_to_do() {
    read(BASE).unwrap();
    for (from, to, says) in REFUSALS {
        assert!(BASE.contains(from), "{from}");
        let text = BASE.replacen(from, to, 1);
        assert_eq!(read(&text).expect_err(to), *says, "with {to}");
    }
}

#[test]
fn the_example_is_read_as_it_says() {
    let bench = read(bench_file::EXAMPLE).unwrap();
    assert_eq!(bench.altitude_m, 240);
    let (channel, scale) = bench.scale().unwrap();
    assert_eq!(channel.channel.as_str(), "scale");
    let verified = scale.facts.verified.unwrap();
    assert_eq!((verified.class, verified.e), (AccuracyClass::II, Mass::parse("1 g").unwrap()));
    assert_eq!(bench.instruments[1].channels[2].source.as_deref(), Some("T3"));
    let jug = bench.only_vessel(Purpose::LyeJug).unwrap();
    assert_eq!((jug.volume, &jug.material), (Volume::parse("2 l").ok(), &Material::Polypropylene));
    assert_eq!(bench.vessel("BIG pot").unwrap().tare, Mass::parse("1243.6 g").unwrap());
}

#[test]
fn the_setup_names_channels_roles_and_usual_periods() {
    let setup = read(BASE).unwrap().setup();
    assert_eq!(setup.digest.len(), 64);
    let (scale, facts) = setup.scale().unwrap();
    assert_eq!((scale.instrument.as_str(), scale.period), ("scale box", Span::from_millis(200)));
    assert_eq!(facts.d, Mass::parse("0.1 g").unwrap());
    let pot = setup.probe(ProbeAt::Pot).unwrap();
    assert!(matches!(pot.role, Role::Probe { at: ProbeAt::Pot, .. }));
    assert_eq!(pot.period, Span::from_secs(1));
    let stated = BASE.replace("role = \"pot\"", "role = \"pot\"\nperiod = \"2 s\"");
    let setup = read(&stated).unwrap().setup();
    assert_eq!(setup.probe(ProbeAt::Pot).unwrap().period, Span::from_secs(2));
}

#[test]
fn the_demonstration_bench_is_read() {
    let bench = read(include_str!("../../src/demo/bench.toml")).unwrap();
    let names: Vec<&str> = bench.vessels.iter().map(|vessel| vessel.name.as_str()).collect();
    assert_eq!(names, ["pot", "cup", "jug", "beaker"]);
}

#[test]
fn the_law_can_be_moved_but_no_guard_put_to_sleep() {
    let bench = read(&format!("{BASE}[law]\nlook_grace = \"3 min\"\nrest_spread_d = 3\n")).unwrap();
    let settings = &bench.setup().settings;
    assert_eq!(settings.look_grace, Span::from_minutes(3));
    assert_eq!(settings.rest_spread_d, 3);
    let refused = read(&format!("{BASE}[law]\nguard_delay = \"10 s\"\n")).unwrap_err();
    assert_eq!(
        refused,
        "bench.toml, line 25, `law.guard_delay`: found 10 s; expected 0.1 s to 1.0 s; further \
         than that a guard would sleep, or cry wolf"
    );
}

/// The usual figures lie inside the range that a maker may set.
#[test]
fn every_usual_figure_of_the_law_may_be_written_down() {
    let text = format!(
        "{BASE}[law]\nrest_window = \"2 s\"\nguard_delay = \"500 ms\"\nscale_silence = \"3 s\"\n\
         probe_silence = \"5 s\"\nlift_delay = \"500 ms\"\ndwell = \"2 s\"\nsilence_max = \"60 s\"\n\
         temperature_deadband = \"1 K\"\nheating_max_per_minute = \"2.5 K\"\n\
         residue_share = \"0.5 %\"\nmoisture_per_minute = \"0.5 %\"\nvessel_match_d = 3\n"
    );
    assert_eq!(read(&text).unwrap().settings, panroom::bench::Settings::default());
}
