//! Recipe and bench files: what is read, and every refusal by its exact words.

use panroom::bench_file::{self, BenchFile};
use panroom::chemistry::FatTable;
use panroom::plan::{Options, Severity, plan};
use panroom::problem::Source;
use panroom::recipe::{self, Recipe};

fn read(text: &str) -> Result<Recipe, String> {
    let source = Source { file: "soap.toml", text };
    Recipe::read(source, FatTable::built_in()).map_err(|problems| problems.to_string())
}

fn bench(text: &str) -> Result<BenchFile, String> {
    BenchFile::read(Source { file: "bench.toml", text }).map_err(|problems| problems.to_string())
}

#[test]
fn probe() {
    let recipe = read(recipe::EXAMPLE).unwrap();
    let bench = bench(bench_file::EXAMPLE).unwrap();
    let plan = plan(&recipe, FatTable::built_in(), Some(&bench), &Options::default()).unwrap();
    for step in &plan.control.steps { eprintln!("{} {} {:?}", step.key, step.title, step.kind); }
    for f in &plan.control.findings { eprintln!("{:?} {}", f.severity, f.words); }
    eprintln!("{:#?}", plan.planned);
    eprintln!("{:#?}", plan.outlook);
    panic!("{}", plan.is_unfit());
}
