//! The fuzzer's corpus, replayed without the fuzzer.

use std::fs;
use std::path::Path;

#[path = "../../fuzz/trial.rs"]
mod trial;

#[test]
fn nothing_in_the_corpus_upsets_a_decoder() {
    // the measure of coverage runs this within fuzz/
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = if root.ends_with("fuzz") { root.to_owned() } else { root.join("fuzz") };
    let folder = root.join("corpus/decoders");
    let mut count = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let bytes = fs::read(&path).unwrap();
        assert!(bytes.len() <= 4096, "{} is not small", path.display());
        trial::trial(&bytes);
        count += 1;
    }
    assert!((100..=200).contains(&count), "{count} files");
}
