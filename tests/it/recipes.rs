use panroom::chemistry::FatTable;
use panroom::problem::Source;
use panroom::recipe::Recipe;
const BASE: &str = include_str!("../golden/base-recipe.toml");
#[test]
fn probe() {
    let edits: Vec<(String, String)> =
        serde_json::from_str(&std::fs::read_to_string("/tmp/edits.json").unwrap()).unwrap();
    let mut out = Vec::new();
    for (from, to) in edits {
        assert!(BASE.contains(&from), "{from}");
        let text = BASE.replacen(&from, &to, 1);
        let source = Source { file: "soap.toml", text: &text };
        let words = match Recipe::read(source, FatTable::built_in()) {
            Ok(_) => "OK".to_string(),
            Err(p) => p.to_string(),
        };
        out.push((from, to, words));
    }
    std::fs::write("/tmp/out.json", serde_json::to_string(&out).unwrap()).unwrap();
}
