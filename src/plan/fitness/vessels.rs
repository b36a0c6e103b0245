//! The vessels: room for a climbing cook and a foaming lye, and what they are made of.

use crate::bench_file::Purpose;
use crate::plan::DENSITY_ASSUMED_G_PER_ML;
use crate::quantity::{Mass, Share, Volume};

use super::{Findings, Situation};

impl Situation<'_> {
    pub(super) fn vessels(&self, found: &mut Findings) {
        let contents: Mass = self.planned.values().copied().sum();
        let volume = Volume::from_millilitres_rounded(contents.grams() / DENSITY_ASSUMED_G_PER_ML);
        if let Some(pot) = self.pot
            && let Some(whole) = pot.volume
        {
            let share = volume.millilitres() / whole.millilitres();
            let words = format!(
                "about {volume} in {} of {whole} ({} full, at {DENSITY_ASSUMED_G_PER_ML:.1} g/ml, \
                 common practice)",
                pot.name,
                Share::from_fraction_rounded(share).show(0)
            );
            if share > 2.0 / 3.0 {
                let needed = Volume::from_millilitres_rounded(volume.millilitres() * 2.0);
                found.unfit(format!(
                    "{words}: it climbs over; a pot of {needed}, or a batch of {} of this one, \
                     would do",
                    Share::from_fraction_rounded(0.5 / share).show(0)
                ));
            } else if share > 0.5 {
                found.warn(format!("{words}: more than half, and a hot pot can climb; stay by it"));
            }
        }
        let Some(bench) = self.bench else { return };
        if self.pot.is_none() {
            found.note(
                "no pot is known: neither its mass on the scale nor its room for a climbing cook \
                 is judged; name one in recipe and bench file"
                    .to_owned(),
            );
        }
        for vessel in bench.vessels.iter().filter(|v| v.purpose.meets_caustic()) {
            if let Some(why) = vessel.material.attacked() {
                found.warn(format!("{}: {why}; use another", vessel.name));
            }
        }
        let lye = (self.outlook.lye.caustic + self.outlook.lye.liquid).grams();
        if let Some(jug) = bench.only_vessel(Purpose::LyeJug)
            && let Some(whole) = jug.volume
            && whole.millilitres() < 2.0 * lye
        {
            found.warn(format!(
                "{} of {whole} for about {} of lye: less than twice the volume, and lye foams",
                jug.name,
                Volume::from_millilitres_rounded(lye)
            ));
        }
    }
}
