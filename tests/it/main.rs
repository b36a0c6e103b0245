#[test]
fn x() {}
