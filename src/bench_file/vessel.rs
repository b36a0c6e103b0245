use serde::{Deserialize, Serialize};

use crate::bench::KnownVessel;
use crate::problem::{Form, Table};
use crate::quantity::{Mass, Volume};

/// A vessel that is known by its empty mass.
#[derive(Clone, Debug, PartialEq)]
pub struct VesselFile {
    pub name: String,
    pub purpose: Purpose,
    pub tare: Mass,
    pub volume: Option<Volume>,
    pub material: Material,
    pub line: Option<usize>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    Pot,
    CausticCup,
    LyeJug,
    Cup,
    Mould,
}

/// What a vessel is made of, as far as caustic cares.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Material {
    StainlessSteel,
    Polypropylene,
    Hdpe,
    Glass,
    Enamel,
    Silicone,
    /// Dissolves in caustic and gives off hydrogen.
    Aluminium,
    /// Dissolves in caustic and gives off hydrogen; a galvanised pail is zinc outside.
    Zinc,
    /// Dissolves in caustic.
    Tin,
    Other(String),
}

impl VesselFile {
    /// As the bench law knows it.
    pub(super) fn known(&self) -> KnownVessel {
        KnownVessel {
            name: self.name.clone(),
            purpose: self.purpose,
            tare: self.tare,
            volume: self.volume,
            material: self.material.clone(),
        }
    }
}

impl Purpose {
    const WORDS: [(&'static str, Purpose); 6] = [
        ("pot", Purpose::Pot),
        ("caustic cup", Purpose::CausticCup),
        ("lye jug", Purpose::LyeJug),
        ("cup", Purpose::Cup),
        ("mould", Purpose::Mould),
        ("mold", Purpose::Mould),
    ];

    /// Caustic or lye comes into it.
    pub const fn meets_caustic(self) -> bool {
        matches!(self, Purpose::Pot | Purpose::CausticCup | Purpose::LyeJug)
    }
}

impl Material {
    pub fn from_words(words: &str) -> Material {
        let plain = words.trim().to_lowercase();
        let has = |part: &str| plain.contains(part);
        match () {
            () if has("alumin") => Material::Aluminium,
            () if has("zinc") || has("galvani") => Material::Zinc,
            () if plain == "tin" || has("tinned") || has("tin plate") => Material::Tin,
            () if has("stainless") => Material::StainlessSteel,
            () if has("polypropylene") || plain == "pp" => Material::Polypropylene,
            () if has("hdpe") => Material::Hdpe,
            () if has("glass") => Material::Glass,
            () if has("enamel") => Material::Enamel,
            () if has("silicone") => Material::Silicone,
            () => Material::Other(words.trim().to_owned()),
        }
    }

    /// Why caustic must not come into it, if so.
    pub const fn attacked(&self) -> Option<&'static str> {
        match self {
            Material::Aluminium => {
                Some("aluminium dissolves in caustic, foams, and gives off hydrogen")
            }
            Material::Zinc => Some("zinc dissolves in caustic and gives off hydrogen"),
            Material::Tin => Some("tin dissolves in caustic"),
            Material::Glass => {
                Some("caustic etches glass, and etched glass breaks with hot lye in it")
            }
            _ => None,
        }
    }

    /// Not merely a risk: the vessel itself goes into solution.
    pub const fn dissolves(&self) -> bool {
        matches!(self, Material::Aluminium | Material::Zinc | Material::Tin)
    }
}

pub(super) fn vessel<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<VesselFile> {
    let line = Some(form.line(&table.placed().place));
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "a name for it, like `big pot`", "add it");
    let purpose = form.word(&mut table, "for", &Purpose::WORDS);
    let words = "one of pot, caustic cup, lye jug, cup, mould";
    form.need(&table, "for", words, "add it");
    let tare = form.quantity(&mut table, "tare", Mass::parse);
    form.need(&table, "tare", "its empty mass, like `812.4 g`", "weigh it empty and add it");
    let volume = form.quantity(&mut table, "volume", Volume::parse);
    let material = form.text(&mut table, "material");
    form.need(&table, "material", "what it is made of, like `stainless steel`", "add it");
    form.close(table);
    let tare = tare.filter(|tare| {
        let good = tare.value > Mass::ZERO;
        if !good {
            form.refuse(tare, tare.value.to_string(), "more than 0 g", "weigh it empty");
        }
        good
    });
    let volume = match volume {
        Some(volume) if volume.value <= Volume::ZERO => {
            form.refuse(&volume, volume.value.to_string(), "more than 0 l", "check the digits");
            return None;
        }
        volume => volume.map(|volume| volume.value),
    };
    let (purpose, material) = (purpose?.value, material?);
    let words = Material::from_words(&material.value);
    if let Some(why) = words.attacked()
        && words.dissolves()
        && purpose.meets_caustic()
    {
        let expected = "stainless steel, polypropylene or another that caustic leaves alone";
        let found = format!("`{}` for a {}", material.value, purpose.words());
        form.refuse(&material, found, expected, format!("{why}; use another vessel"));
    }
    Some(VesselFile {
        name: name?.value,
        purpose,
        tare: tare?.value,
        volume,
        material: words,
        line,
    })
}

impl Purpose {
    pub const fn words(self) -> &'static str {
        match self {
            Purpose::Pot => "pot",
            Purpose::CausticCup => "caustic cup",
            Purpose::LyeJug => "lye jug",
            Purpose::Cup => "cup",
            Purpose::Mould => "mould",
        }
    }
}
