//! The fuzzer's corpus, replayed without the fuzzer.

use std::fs;
use std::path::Path;

#[path = "../../fuzz/trial.rs"]
mod trial;

#[test]
fn nothing_in_the_corpus_upsets_a_decoder() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/decoders");
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
