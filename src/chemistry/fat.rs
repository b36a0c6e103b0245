use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::quantity::Share;

/// One oil, butter, free acid or wax, with where each of its figures comes from.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(try_from = "FatRow")]
pub struct Fat {
    /// As recipes name it: "palm_kernel".
    pub key: String,
    pub name: String,
    pub aliases: Vec<String>,
    pub inci: String,
    pub kind: FatKind,
    /// Saponification value, mg KOH per g of fat (ISO 3657): published range and working value.
    pub sap_low: f64,
    pub sap: f64,
    pub sap_high: f64,
    /// The part of the saponification value that a soap pot really reaches.
    pub reacting: Reacting,
    /// How the working value was chosen.
    pub basis: Basis,
    /// The range above: the document it stands in and how that was seen.
    pub range: Figures,
    /// Iodine value, g iodine per 100 g of fat.
    pub iodine: Option<Figures>,
    /// What other documents say.
    pub also: Vec<Figures>,
    pub note: Option<String>,
    pub usual_acids: Vec<AcidShare>,
    pub usual_unsaponifiable: Share,
    /// The certificate that replaced the published figures, if one did.
    pub certificate: Option<LotCertificate>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum FatKind {
    #[serde(rename = "triglyceride")]
    Triglyceride,
    #[serde(rename = "fatty acid")]
    FattyAcid,
    #[serde(rename = "wax ester")]
    WaxEster,
}

/// The rule by which a working value was chosen; the head of `fats.toml` states it in full.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The middle of the published range, rounded down.
    Middle,
    /// Computed from the usual fatty acids, since the range is wide or missing.
    Theory,
    /// Only one figure is published.
    Single,
    /// A lot's certificate or the maker's own figure.
    #[default]
    Maker,
}

/// A published range of one property.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figures {
    pub low: f64,
    pub high: f64,
    pub source: String,
    #[serde(default)]
    pub seen: Seen,
}

/// How a source was seen by those who wrote the figure down.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Seen {
    #[serde(rename = "text")]
    Text,
    #[serde(rename = "trade reproduction")]
    TradeReproduction,
    #[serde(rename = "from memory")]
    FromMemory,
    #[serde(rename = "theory")]
    Theory,
    /// On paper in the maker's hand.
    #[default]
    #[serde(rename = "certificate")]
    Certificate,
}

/// The part of a fat's saponification value that reacts in water, least to most. A wax's value is
/// measured by hours of reflux in alcohol; a pot reaches only some of it, and how much is not
/// published, so the span goes into the uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reacting {
    pub low: Share,
    pub working: Share,
    pub high: Share,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AcidShare {
    /// As `theory` names it: "oleic".
    pub acid: String,
    pub share: Share,
}

/// What a supplier's paper says of one lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotCertificate {
    pub lot: String,
    /// As printed on the paper.
    pub date: String,
    /// mg KOH per g of fat.
    pub sap: f64,
    /// The half-width of the lot's own uncertainty, mg KOH per g; the last printed digit at least.
    pub sap_half_width: f64,
}

/// Why a fat's figures cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FatError {
    #[error(
        "the saponification value of `{key}` is {sap}; expected {SAP_LEAST} to {SAP_MOST} mg KOH \
         per g, as on a supplier's paper (a value near 0.13 is grams of NaOH per gram: multiply it \
         by 1402.7)"
    )]
    Implausible { key: String, sap: f64 },
    #[error(
        "the saponification range of `{key}` is {low} to {high} about {sap}; expected low, \
         working value and high in this order"
    )]
    Order { key: String, low: f64, sap: f64, high: f64 },
    #[error(
        "the uncertainty of `{key}`, lot {lot}, is {half_width} mg KOH per g; expected more than \
         nothing and at most 20, such as one step of the last printed digit"
    )]
    HalfWidth { key: String, lot: String, half_width: f64 },
    #[error("`{name}` is already the name of `{taken_by}`; give the new fat another key or alias")]
    NameTaken { name: String, taken_by: String },
    #[error(
        "the reacting part of `{key}` is {low} to {high} about {working}; expected 0 % to 100 %, \
         low, working value and high in this order"
    )]
    ReactingOrder { key: String, low: Share, working: Share, high: Share },
}

/// Below this lie only waxes that are mostly hydrocarbon.
const SAP_LEAST: f64 = 20.0;
/// Above this nothing on a soap bench lies: tricaprylin has 357.6, caprylic acid 389.1.
const SAP_MOST: f64 = 400.0;
const CERTIFICATE_HALF_WIDTH_MOST: f64 = 20.0;

impl Reacting {
    pub const WHOLE: Reacting =
        Reacting { low: Share::WHOLE, working: Share::WHOLE, high: Share::WHOLE };

    pub const fn is_whole(&self) -> bool {
        self.low.millionths() == Share::WHOLE.millionths()
    }
}

impl Default for Reacting {
    fn default() -> Reacting {
        Reacting::WHOLE
    }
}

impl Fat {
    /// The same fat with the value of one lot instead of the published ones.
    pub fn with_certificate(&self, certificate: LotCertificate) -> Result<Fat, FatError> {
        let half_width = certificate.sap_half_width;
        if !(half_width > 0.0 && half_width <= CERTIFICATE_HALF_WIDTH_MOST) {
            let (key, lot) = (self.key.clone(), certificate.lot);
            return Err(FatError::HalfWidth { key, lot, half_width });
        }
        let (low, high) = (certificate.sap - half_width, certificate.sap + half_width);
        let source = format!("certificate of lot {}, {}", certificate.lot, certificate.date);
        let fat = Fat {
            sap_low: low,
            sap: certificate.sap,
            sap_high: high,
            basis: Basis::Maker,
            range: Figures { low, high, source, seen: Seen::Certificate },
            also: std::iter::once(&self.range).chain(&self.also).cloned().collect(),
            certificate: Some(certificate),
            ..self.clone()
        };
        fat.check()?;
        Ok(fat)
    }

    /// A certificate outside every published range is worth a second look: a wrong paper, or a
    /// wrong oil in the drum.
    pub fn certificate_lies_outside(&self) -> bool {
        self.certificate.as_ref().is_some_and(|paper| {
            !self.also.iter().any(|range| (range.low..=range.high).contains(&paper.sap))
        })
    }

    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        [self.key.as_str(), self.name.as_str()]
            .into_iter()
            .chain(self.aliases.iter().map(String::as_str))
    }

    pub(super) fn check(&self) -> Result<(), FatError> {
        let key = self.key.clone();
        for sap in [self.sap_low, self.sap, self.sap_high] {
            // not-a-number lies in no range and is refused here
            if !(SAP_LEAST..=SAP_MOST).contains(&sap) {
                return Err(FatError::Implausible { key, sap });
            }
        }
        if !(self.sap_low <= self.sap && self.sap <= self.sap_high) {
            let (low, sap, high) = (self.sap_low, self.sap, self.sap_high);
            return Err(FatError::Order { key, low, sap, high });
        }
        let Reacting { low, working, high } = self.reacting;
        if low < Share::ZERO || low > working || working > high || high > Share::WHOLE {
            return Err(FatError::ReactingOrder { key, low, working, high });
        }
        Ok(())
    }
}

/// A fat as it stands in a file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FatRow {
    key: String,
    name: String,
    #[serde(default)]
    aliases: Vec<String>,
    #[serde(default)]
    inci: String,
    kind: FatKind,
    sap: f64,
    #[serde(default)]
    basis: Basis,
    range: Figures,
    iodine: Option<Figures>,
    #[serde(default)]
    also: Vec<Figures>,
    #[serde(default)]
    reacting: Reacting,
    note: Option<String>,
    #[serde(default)]
    usual_acids: Vec<AcidShare>,
    #[serde(default)]
    usual_unsaponifiable: Share,
}

impl TryFrom<FatRow> for Fat {
    type Error = FatError;
    fn try_from(row: FatRow) -> Result<Fat, FatError> {
        let fat = Fat {
            key: row.key,
            name: row.name,
            aliases: row.aliases,
            inci: row.inci,
            kind: row.kind,
            sap_low: row.range.low,
            sap: row.sap,
            sap_high: row.range.high,
            reacting: row.reacting,
            basis: row.basis,
            range: row.range,
            iodine: row.iodine,
            also: row.also,
            note: row.note,
            usual_acids: row.usual_acids,
            usual_unsaponifiable: row.usual_unsaponifiable,
            certificate: None,
        };
        fat.check()?;
        Ok(fat)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::FatTable;

    fn paper(sap: f64, sap_half_width: f64) -> LotCertificate {
        LotCertificate { lot: "C-17".into(), date: "2026-03-02".into(), sap, sap_half_width }
    }

    #[test]
    fn a_certificate_replaces_the_published_range() {
        let coconut = FatTable::built_in().find("coconut").unwrap();
        let lot = coconut.with_certificate(paper(257.1, 0.5)).unwrap();
        assert_eq!((lot.sap_low, lot.sap, lot.sap_high), (256.6, 257.1, 257.6));
        assert_eq!(lot.range.source, "certificate of lot C-17, 2026-03-02");
        assert!(!lot.certificate_lies_outside());
        assert!(coconut.with_certificate(paper(235.0, 0.5)).unwrap().certificate_lies_outside());
    }

    #[test]
    fn a_certificate_in_the_wrong_unit_is_refused() {
        let olive = FatTable::built_in().find("olive").unwrap();
        let words = olive.with_certificate(paper(0.1353, 0.0005)).unwrap_err().to_string();
        assert!(words.contains("multiply it by 1402.7"), "{words}");
        for half_width in [0.0, -1.0, 25.0, f64::NAN] {
            let refused = olive.with_certificate(paper(190.0, half_width));
            assert!(matches!(refused, Err(FatError::HalfWidth { .. })), "{half_width}");
        }
        assert!(olive.with_certificate(paper(f64::NAN, 0.5)).is_err());
    }
}
