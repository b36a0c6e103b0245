use serde::{Deserialize, Serialize};

use crate::quantity::Ph;

/// A test of the soap that a cook has to pass before it ends.
///
/// Which tests and which limits are right is common practice, no source: the recipe declares them,
/// and nothing is tested that it does not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CookTest {
    /// Unique in the recipe: "ph-of-a-1-solution".
    pub key: String,
    pub name: String,
    pub method: TestMethod,
    /// How the sample is made: "1 g of soap in 99 g of distilled water".
    pub sample: String,
    pub limit: TestLimit,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TestMethod {
    /// A pH meter, calibrated.
    Meter,
    /// Test strips: to half a pH at best.
    Strip,
    /// Drops that change colour.
    Indicator,
    /// The tongue on the soap. Never the default, never after too much caustic.
    Zap,
    /// As its name and its preparation say.
    Other,
}

/// What passes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TestLimit {
    /// Both ends pass.
    Ph { low: Ph, high: Ph },
    /// Any of these words.
    Words(Vec<String>),
}

/// What came out of one test.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TestValue {
    Ph(Ph),
    Word(String),
}

/// Soap's own pH, common practice, no source: why an indicator says little on a bar.
/// (Phenolphthalein turns between pH 8.2 and 10; from memory.)
pub const INDICATOR_NOTE: &str = "soap's own pH is about 9 to 10.5, so an indicator on a wet bar \
                                  pinks anyway: use it on the prepared sample only";
/// What to mind with the tongue.
pub const ZAP_NOTE: &str = "the zap is a tongue on what may be caustic: touch, do not lick, rinse \
                            at once; never after too much caustic";

impl TestMethod {
    pub const WORDS: [(&'static str, TestMethod); 5] = [
        ("meter", TestMethod::Meter),
        ("strip", TestMethod::Strip),
        ("indicator", TestMethod::Indicator),
        ("zap", TestMethod::Zap),
        ("other", TestMethod::Other),
    ];

    pub fn words(self) -> &'static str {
        TestMethod::WORDS.iter().find(|(_, known)| *known == self).map_or("other", |(word, _)| word)
    }

    /// It gives a number, not a word.
    pub const fn gives_ph(self) -> bool {
        matches!(self, TestMethod::Meter | TestMethod::Strip)
    }

    pub const fn note(self) -> Option<&'static str> {
        match self {
            TestMethod::Indicator => Some(INDICATOR_NOTE),
            TestMethod::Zap => Some(ZAP_NOTE),
            TestMethod::Meter | TestMethod::Strip | TestMethod::Other => None,
        }
    }
}

impl TestLimit {
    /// `None`: the value is of another kind than the limit.
    pub fn passes(&self, value: &TestValue) -> Option<bool> {
        match (self, value) {
            (TestLimit::Ph { low, high }, TestValue::Ph(ph)) => Some((low..=high).contains(&ph)),
            (TestLimit::Words(pass), TestValue::Word(word)) => {
                Some(pass.iter().any(|passes| passes.eq_ignore_ascii_case(word)))
            }
            _ => None,
        }
    }

    pub fn words(&self) -> String {
        match self {
            TestLimit::Ph { low, high } => format!("pH {low} to {high}"),
            TestLimit::Words(pass) => pass.join(" or "),
        }
    }
}

impl TestValue {
    /// A number is a pH, anything else a word.
    pub fn parse(text: &str) -> TestValue {
        let text = text.trim();
        Ph::parse(text).map_or_else(|_| TestValue::Word(text.to_owned()), TestValue::Ph)
    }

    pub fn words(&self) -> String {
        match self {
            TestValue::Ph(ph) => format!("pH {ph}"),
            TestValue::Word(word) => word.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_have_edges() {
        let limit = TestLimit::Ph { low: Ph::from_tenths(90), high: Ph::from_tenths(105) };
        let passes = |text: &str| limit.passes(&TestValue::parse(text));
        for (value, so) in [("9", true), ("8.99", false), ("10.5", true), ("10.51", false)] {
            assert_eq!(passes(value), Some(so), "{value}");
        }
        assert_eq!(passes("pink"), None, "a word is no pH");
        let words = TestLimit::Words(vec!["clear".to_owned()]);
        assert_eq!(words.passes(&TestValue::parse("Clear")), Some(true));
        assert_eq!(words.passes(&TestValue::parse("pink")), Some(false));
        assert_eq!(words.passes(&TestValue::parse("9.8")), None);
    }
}
